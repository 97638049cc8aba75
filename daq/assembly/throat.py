"""A throat that grows from firing to firing, and what that does to the predicted pressure.

p ∝ (1/At)^(1/(1-n)) at one burning surface (Sutton & Biblarz). The exponent is the user's own number.
"""

from collections.abc import Sequence
from dataclasses import dataclass


def pressure_share(before_m: float, after_m: float, exponent: float) -> float:
    """Share of the predicted pressure left when the throat has grown from one diameter to another."""
    if not 0 <= exponent < 1:
        raise ValueError(f"pressure exponent: expected 0 to below 1, got {exponent:g}")
    share: float = (before_m / after_m) ** (2 / (1 - exponent))
    return share


@dataclass(frozen=True, slots=True, kw_only=True)
class Throat:
    """A nozzle's throat by its measurements: lengths in m."""

    predicted_m: float
    now_m: float
    growth_each_m: float
    exponent: float
    growth_limit: float

    @property
    def pressure_share(self) -> float:
        return pressure_share(self.predicted_m, self.now_m, self.exponent)

    @property
    def next_share(self) -> float:
        """Share at the end of the next firing, if it grows as the last ones did."""
        return pressure_share(self.predicted_m, self.now_m + self.growth_each_m, self.exponent)

    def refusal(self) -> str | None:
        """Why the prediction no longer holds, in a sentence; both growth and shrinkage count."""
        change = self.now_m / self.predicted_m - 1
        if abs(change) <= self.growth_limit:
            return None
        return (
            f"throat {self.now_m * 1e3:.2f} mm is {100 * change:+.1f} % off the "
            f"{self.predicted_m * 1e3:.2f} mm of the prediction, limit "
            f"{100 * self.growth_limit:.1f} %: the pressure would be {self.pressure_share:.2f} times "
            "the predicted; predict anew"
        )


def growth_each(diameters_m: Sequence[float]) -> float:
    """Mean growth per firing of a series of diameters, one after each firing; 0 for a single one."""
    if len(diameters_m) < 2:
        return 0.0
    return max((diameters_m[-1] - diameters_m[0]) / (len(diameters_m) - 1), 0.0)
