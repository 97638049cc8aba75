"""Lumped chamber of the simulated motor: gas in from the grain, gas out through the nozzle.

One pressure, one temperature (that of c*), rate law r = rate_at_ref·(p/ref)^n with absolute p.
Free volume grows with the burned web. The outflow is integrated exactly over a step (exponential),
so any step is stable. Ignition: some time after the igniter has fired the surface lights over a
ramp. What faults may do to a motor stands here as plain attributes (throat_factor, surface_factor,
leak, burst); none of them can stop a lit grain, as nothing on a stand can.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Self

from simulators.gas import ThrustCoefficient, vandenkerckhove
from simulators.grain import Grain, Surface

STANDARD_PA: Final = 101_325.0
BURST_AREA_FACTOR: Final = 8.0
BURST_CF: Final = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class MotorSpec:
    """Numbers of one motor; all SI. `rate_factor` > 1 is a hot grain."""

    grain: Grain
    rate_at_ref_m_s: float
    ref_pa: float
    n: float
    density_kg_m3: float
    c_star_m_s: float
    gamma: float
    throat_m: float
    exit_m: float
    thrust_efficiency: float
    free_volume_m3: float
    ignition_delay_s: float
    flame_spread_s: float = 0.03
    rate_factor: float = 1.0
    burst_pa: float = math.inf

    def __post_init__(self) -> None:
        if not 0.0 <= self.n < 1.0:
            raise ValueError(f"motor n: must be in [0, 1), got {self.n}")
        for name in ("rate_at_ref_m_s", "ref_pa", "density_kg_m3", "c_star_m_s", "throat_m"):
            if getattr(self, name) <= 0.0:
                raise ValueError(f"motor {name}: must be > 0, got {getattr(self, name)}")
        if self.free_volume_m3 <= 0.0 or self.flame_spread_s <= 0.0:
            raise ValueError("motor: free_volume_m3 and flame_spread_s must be > 0")

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        """From the plain numbers of the stand's start message; KeyError names a missing one."""
        must = {
            name: float(raw[name])
            for name in (
                "rate_at_ref_m_s",
                "ref_pa",
                "n",
                "density_kg_m3",
                "c_star_m_s",
                "gamma",
                "throat_m",
                "exit_m",
                "thrust_efficiency",
                "free_volume_m3",
                "ignition_delay_s",
            )
        }
        may = {
            name: float(raw[name])
            for name in ("flame_spread_s", "rate_factor", "burst_pa")
            if raw.get(name) is not None
        }
        return cls(grain=Grain.from_json(raw), **must, **may)

    @property
    def throat_m2(self) -> float:
        return 0.25 * math.pi * self.throat_m**2

    @property
    def propellant_kg(self) -> float:
        return self.density_kg_m3 * self.grain.volume_m3

    def steady_pa(self, surface_m2: float) -> float:
        """Equilibrium pressure at a constant surface, volume filling neglected."""
        a = self.rate_at_ref_m_s * self.rate_factor / self.ref_pa**self.n
        kn = surface_m2 / self.throat_m2
        return float((a * self.density_kg_m3 * self.c_star_m_s * kn) ** (1.0 / (1.0 - self.n)))


class Motor:
    """State of one motor on the stand; `step(dt)` moves it on. Pressure absolute, thrust true."""

    def __init__(self, spec: MotorSpec, ambient_pa: float = STANDARD_PA) -> None:
        self.spec = spec
        self.ambient_pa = ambient_pa
        self.pressure_pa = ambient_pa
        self.thrust_n = 0.0
        self.burned_m = 0.0
        self.burned_kg = 0.0
        self.lit_fraction = 0.0
        self.throat_factor = 1.0
        self.surface_factor = 1.0
        self.leak = 0.0
        self.burst = False
        self.light_in_s: float | None = None
        self.grows = True
        self._surface = Surface(spec.grain)
        self._cf = ThrustCoefficient(spec.gamma, (spec.exit_m / spec.throat_m) ** 2)
        self._volume_m3 = spec.free_volume_m3
        self._gas_rt = (spec.c_star_m_s * vandenkerckhove(spec.gamma)) ** 2
        self._rate = spec.rate_at_ref_m_s * spec.rate_factor
        self._throat_m2 = spec.throat_m2

    @property
    def lit(self) -> bool:
        return self.lit_fraction > 0.0 and self.burned_m < self._surface.end_m and not self.burst

    @property
    def active(self) -> bool:
        """Burning, about to light, or still above ambient by 0.1 %."""
        return (
            self.light_in_s is not None
            or self.lit
            or abs(self.pressure_pa - self.ambient_pa) > 1e-3 * self.ambient_pa
        )

    def ignite(self, after_s: float) -> None:
        """The igniter did its work: the surface begins to light `after_s` from now."""
        if self.light_in_s is None and self.burned_m < self._surface.end_m:
            self.light_in_s = after_s

    def quench(self) -> None:
        """The flame dies (chuffing); propellant is left and may light again."""
        self.lit_fraction = 0.0
        self.light_in_s = None

    def step(self, dt_s: float) -> None:
        """Move on by dt_s (0.25 ms or so); idle motors cost next to nothing."""
        if self.light_in_s is not None:
            self._spread_flame(dt_s)
        pa = self.ambient_pa
        pressure = self.pressure_pa
        if not self.lit and pressure - pa < 1e-6 * pa:
            self.pressure_pa = pa
            self.thrust_n = 0.0
            return
        throat = self._throat_m2 * self.throat_factor
        if self.burst:
            throat = self._throat_m2 * BURST_AREA_FACTOR
        self._balance(dt_s, pressure, throat + self._throat_m2 * self.leak)
        pressure = self.pressure_pa
        if pressure >= self.spec.burst_pa and not self.burst:
            self.break_case()
            throat = self._throat_m2 * BURST_AREA_FACTOR
        cf = BURST_CF if self.burst else self._cf.at(pa / pressure) * self.spec.thrust_efficiency
        self.thrust_n = cf * throat * (pressure - pa if self.burst else pressure)

    def _balance(self, dt_s: float, pressure: float, throat_m2: float) -> None:
        spec = self.spec
        surface = 0.0
        rate = 0.0
        if self.lit_fraction > 0.0 and not self.burst:
            surface = self._surface.at(self.burned_m)
            rate = self._rate * (pressure / spec.ref_pa) ** spec.n
            rate *= self.lit_fraction * self.surface_factor
        grow = surface * rate
        outflow = throat_m2 * self._cf.flow_factor(self.ambient_pa / pressure) / spec.c_star_m_s
        drain = (self._gas_rt * outflow + (grow if self.grows else 0.0)) / self._volume_m3
        feed = self._gas_rt * spec.density_kg_m3 * grow / self._volume_m3
        if drain > 0.0:
            goal = feed / drain
            pressure = goal + (pressure - goal) * math.exp(-drain * dt_s)
        else:
            pressure += feed * dt_s
        self.pressure_pa = max(self.ambient_pa, pressure)
        if self.grows:
            self.burned_m += rate * dt_s
            self._volume_m3 += grow * dt_s
        self.burned_kg += spec.density_kg_m3 * grow * dt_s

    def _spread_flame(self, dt_s: float) -> None:
        assert self.light_in_s is not None
        self.light_in_s -= dt_s
        if self.light_in_s > 0.0:
            return
        self.lit_fraction = min(1.0, self.lit_fraction + dt_s / self.spec.flame_spread_s)
        if self.lit_fraction >= 1.0:
            self.light_in_s = None

    def break_case(self) -> None:
        """The casing or a closure lets go: the rest of the grain is thrown out and goes out."""
        self.burst = True
        self.light_in_s = None
        self.lit_fraction = 0.0
