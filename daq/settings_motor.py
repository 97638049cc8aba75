"""`motor.toml`: the motor under test: what is expected of it, and numbers for the simulator.

Four pressures, one word each: expected peak (nominal), MEOP (the highest believable: hot grain,
ignition peak, small throat); the casing adds the allowable and the rated burst.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi
from typing import Annotated, Literal

from daq.settings_table import Bound, Count, Fault, NotNegative, Positive, Share, Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
    """Design rate of rise: twice the steepest predicted above 80 % of peak, never below the
    steepest ever seen in this family.
    """

    design_pa_s: Positive
    steepest_predicted_pa_s: Positive
    steepest_seen_pa_s: Positive
    source: Text

    def faults(self) -> Iterator[Fault]:
        least = max(2 * self.steepest_predicted_pa_s, self.steepest_seen_pa_s)
        if self.design_pa_s < least:
            yield Fault(
                "design_pa_s",
                f"at least {least / 1e6:g} MPa/s (twice the predicted, never below the seen)",
                f"{self.design_pa_s / 1e6:g} MPa/s",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedPoint:
    """One point of the predicted curve; time runs from first pressure."""

    at_s: NotNegative
    pressure_pa: NotNegative
    thrust_n: NotNegative


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulation:
    """Numbers for the simulated motor only: hollow cylinders, r = rate_at_ref (p / ref)^n.

    `burning_ends` per segment; the flame reaches the whole surface `flame_spread_s` after first
    light, which comes `ignition_delay_s` after the line current.
    """

    outer_m: Positive
    core_m: Positive
    segment_length_m: Positive
    segments: Count
    burning_ends: Literal[0, 1, 2]
    density_kg_m3: Positive
    rate_at_ref_m_s: Positive
    ref_pa: Positive
    n: Annotated[float, Bound(low=0.0, high=0.9)]
    c_star_m_s: Positive
    gamma: Annotated[float, Bound(low=1.0, high=1.67)]
    thrust_efficiency: Share
    free_volume_m3: Positive
    ignition_delay_s: NotNegative
    flame_spread_s: Positive

    def faults(self) -> Iterator[Fault]:
        if self.core_m >= self.outer_m:
            yield Fault("core_m", f"less than the outer {self.outer_m * 1e3:g} mm", "more")

    def burning_area_m2(self, web_m: float) -> float:
        """Burning surface when `web_m` has burnt from every face; 0 when it is gone."""
        core = self.core_m + 2 * web_m
        length = self.segment_length_m - self.burning_ends * web_m
        if core >= self.outer_m or length <= 0:
            return 0.0
        face = pi / 4 * (self.outer_m**2 - core**2)
        return self.segments * (pi * core * length + self.burning_ends * face)

    def propellant_kg(self) -> float:
        face = pi / 4 * (self.outer_m**2 - self.core_m**2)
        return self.segments * face * self.segment_length_m * self.density_kg_m3

    def steady_pa(self, web_m: float, throat_area_m2: float) -> float:
        """Equilibrium pressure (absolute) at that web: what burns leaves through the throat."""
        made = self.density_kg_m3 * self.rate_at_ref_m_s * self.burning_area_m2(web_m)
        level: float = made * self.c_star_m_s / (throat_area_m2 * self.ref_pa)
        pressure: float = self.ref_pa * level ** (1 / (1 - self.n))
        return pressure


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """One motor ready for a test. `steady_*` values are what the crew expects to see."""

    name: Text
    serial: Text
    nozzle_serial: Text
    propellant_kg: Positive
    loaded_kg: Positive
    throat_m: Positive
    exit_m: Positive
    divergence_half_angle_deg: Annotated[float, Bound(low=0.0, high=45.0, closed="low")]
    expected_peak_pa: Positive
    meop_pa: Positive
    meop_source: Text
    expected_thrust_n: Positive
    expected_burn_s: Positive
    expected_impulse_n_s: Positive
    thrust_coefficient: Positive
    least_thrust_coefficient: Positive
    rise: Rise
    predicted: tuple[PredictedPoint, ...]
    simulation: Simulation

    @property
    def throat_area_m2(self) -> float:
        return pi / 4 * self.throat_m**2

    @property
    def area_ratio(self) -> float:
        return (self.exit_m / self.throat_m) ** 2

    def faults(self) -> Iterator[Fault]:
        if self.meop_pa < self.expected_peak_pa:
            yield Fault("meop_pa", "at least the expected peak", f"{self.meop_pa / 1e6:g} MPa")
        if self.exit_m <= self.throat_m:
            yield Fault("exit_m", f"more than the throat {self.throat_m * 1e3:g} mm", "less")
        if self.loaded_kg <= self.propellant_kg:
            yield Fault("loaded_kg", "more than the propellant alone", f"{self.loaded_kg:g} kg")
        if self.least_thrust_coefficient > self.thrust_coefficient:
            yield Fault("least_thrust_coefficient", "at most thrust_coefficient", "more")
        times = [point.at_s for point in self.predicted]
        if len(times) < 2 or times != sorted(set(times)):
            yield Fault("predicted", "at least two points with rising times", f"{times}")
