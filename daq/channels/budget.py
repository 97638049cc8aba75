"""The uncertainty budget of one channel (JCGM 100:2008): which parts, how large, how well known.

A part is a standard uncertainty (k = 1), either constant (`of = "zero"`, Pa or N) or a share of the
value (`of = "value"`). Scale parts are common to all samples and never average out; only parts
marked `averages` fall with the square root of the number of samples. The lag of a sensing line is
an error in time, not a spread: it is stated apart and never hidden in U (practice 6.5).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from daq.channels.student import coverage_factor
from daq.channels.uncertainty import Component, combined, effective_freedom, quantisation
from daq.settings_stand import BudgetPart

PROBABILITY: Final = 0.9545  # k = 2 for infinite freedom
SAMPLES_OF_NOISE: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Parts of one channel; `step_si` is what one count is worth, `lag_s` the sensing line's."""

    channel: str
    unit: str
    parts: tuple[BudgetPart, ...]
    step_si: float = 0.0
    lag_s: float = 0.0
    notes: tuple[str, ...] = field(default_factory=tuple)

    def components(self, si: float, samples: int = 1) -> tuple[Component, ...]:
        """Every part in Pa or N at a value, for a mean of `samples` samples."""
        made = [
            Component(
                name=part.name,
                standard=part.u * (abs(si) if part.of == "value" else 1.0) / _less(part, samples),
                freedom=part.freedom or math.inf,
            )
            for part in self.parts
        ]
        if self.step_si:
            made.append(Component(name="resolution", standard=quantisation(self.step_si)))
        return tuple(made)

    def standard_u(self, si: float, samples: int = 1) -> float:
        """Combined standard uncertainty at a value."""
        return combined(self.components(si, samples))

    def freedom(self, si: float, samples: int = 1) -> float:
        """Effective degrees of freedom at a value, not rounded (check 2.2)."""
        return effective_freedom(self.components(si, samples))

    def k(self, si: float, samples: int = 1) -> float:
        """Coverage factor for 95.45 % with the freedom cut to a whole number (GUM G.4.1)."""
        freedom = self.freedom(si, samples)
        whole = freedom if math.isinf(freedom) else max(1, math.floor(freedom))
        return coverage_factor(PROBABILITY, whole)

    def expanded_u(self, si: float, samples: int = 1) -> float:
        """Expanded uncertainty at a value: what the redline subtracts and a figure carries."""
        parts = self.components(si, samples)
        return self.k(si, samples) * combined(parts) if combined(parts) > 0 else 0.0

    def text(self, si: float) -> str:
        """The budget as a table, in the unit of the channel, with the lag apart."""
        rows = [f"Uncertainty of {self.channel} at {si:.6g} {self.unit}, k = 1:"]
        for part in self.components(si):
            freedom = "∞" if math.isinf(part.freedom) else f"{part.freedom:.0f}"
            rows.append(f"  {part.name:<34} {part.standard:>12.5g} {self.unit}   ν {freedom}")
        total = self.freedom(si)
        shown = "∞" if math.isinf(total) else f"{total:.1f}"
        rows.append(f"  {'combined':<34} {self.standard_u(si):>12.5g} {self.unit}   ν {shown}")
        rows.append(
            f"  U = {self.expanded_u(si):.4g} {self.unit} (k = {self.k(si):.2f}, 95.45 %). "
            "Scale parts do not average out over samples."
        )
        if self.lag_s:
            rows.append(
                f"  Apart from U: the line lags by {self.lag_s * 1e3:.3g} ms; at a rise of "
                f"40 MPa/s it reads {40e6 * self.lag_s:.3g} Pa low. U is for steady values."
            )
        return "\n".join([*rows, *(f"  {note}" for note in self.notes)])


def _less(part: BudgetPart, samples: int) -> float:
    return math.sqrt(samples) if part.averages else 1.0


def expanded_share(parts: Iterable[BudgetPart], of: str) -> float:
    """Expanded uncertainty of the constant ("zero") or the relative ("value") parts alone."""
    chosen = tuple(part for part in parts if part.of == of)
    if not any(part.u for part in chosen):
        return 0.0
    return Budget(channel="", unit="", parts=chosen).expanded_u(1.0)
