"""What the sensors make of the true thrust and pressure: lag, ringing, noise, drift, counts.

A channel is a chain: the mechanics (load cell and motor mass on a spring; sense line and filter as
first-order lags), the electrical signal with noise and drift, the converter with its rails. Faults
act on the chain's attributes. Every chain is seeded: the same seed gives the same counts.
"""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, Self

from simulators.motor import STANDARD_PA

Broken = Literal["", "stuck", "open", "rail_high", "rail_low"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelSpec:
    """One channel of the stand as it truly is (not as its certificate says).

    counts = counts_at_zero + value·counts_per_si, value in Pa (gauge or absolute) or N.
    """

    name: str
    kind: Literal["pressure", "thrust"]
    counts_at_zero: float
    counts_per_si: float
    counts_lo: int
    counts_hi: int
    noise_counts: float = 0.7
    drift_counts_per_s: float = 0.0
    reference: Literal["gauge", "absolute"] = "gauge"
    filter_s: float = 0.0005
    line_lag_s: float = 0.002
    natural_hz: float = 180.0
    damping: float = 0.04
    shunt_counts: float = 0.0

    def __post_init__(self) -> None:
        if self.counts_hi <= self.counts_lo:
            raise ValueError(f"channel {self.name}: counts_hi must be above counts_lo")
        if self.counts_per_si == 0.0:
            raise ValueError(f"channel {self.name}: counts_per_si must not be 0")
        if not 0.0 <= self.damping < 1.0 or self.natural_hz <= 0.0:
            raise ValueError(f"channel {self.name}: damping in [0, 1), natural_hz > 0")

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        """From the plain numbers of the start message; KeyError names what is missing."""
        may = {
            name: float(raw[name])
            for name in (
                "noise_counts",
                "drift_counts_per_s",
                "filter_s",
                "line_lag_s",
                "natural_hz",
                "damping",
                "shunt_counts",
            )
            if raw.get(name) is not None
        }
        return cls(
            name=str(raw["name"]),
            kind=raw["kind"],
            counts_at_zero=float(raw["counts_at_zero"]),
            counts_per_si=float(raw["counts_per_si"]),
            counts_lo=int(raw["counts_lo"]),
            counts_hi=int(raw["counts_hi"]),
            reference=raw.get("reference", "gauge"),
            **may,
        )


class Lag:
    """First-order lag, exact for a held input; ramp error = rate·tau (check 9.8 in the limit)."""

    __slots__ = ("_keep", "value")

    def __init__(self, tau_s: float, step_s: float, value: float) -> None:
        self._keep = math.exp(-step_s / tau_s) if tau_s > 0.0 else 0.0
        self.value = value

    def push(self, wanted: float) -> float:
        self.value = wanted + (self.value - wanted) * self._keep
        return self.value

    def retime(self, tau_s: float, step_s: float) -> None:
        self._keep = math.exp(-step_s / tau_s) if tau_s > 0.0 else 0.0


class MassSpring:
    """Load cell and what hangs on it: indicated force for a true force, exact for held input."""

    __slots__ = ("_a", "_b", "_c", "_d", "force", "slope")

    def __init__(self, natural_hz: float, damping: float, step_s: float) -> None:
        w = 2.0 * math.pi * natural_hz
        wd = w * math.sqrt(1.0 - damping * damping)
        fade = math.exp(-damping * w * step_s)
        sine, cosine = math.sin(wd * step_s), math.cos(wd * step_s)
        self._a = fade * (cosine + damping * w / wd * sine)
        self._b = fade * sine / wd
        self._c = -fade * w * w / wd * sine
        self._d = fade * (cosine - damping * w / wd * sine)
        self.force = 0.0
        self.slope = 0.0

    def push(self, true_n: float) -> float:
        off = self.force - true_n
        slope = self.slope
        self.force = true_n + self._a * off + self._b * slope
        self.slope = self._c * off + self._d * slope
        return self.force


class Channel:
    """One running channel; `sample()` gives the counts the converter would put on the wire."""

    def __init__(
        self, spec: ChannelSpec, step_s: float, seed: int, ambient_pa: float = STANDARD_PA
    ) -> None:
        self.spec = spec
        self.step_s = step_s
        self.ambient_pa = ambient_pa
        self.pickup_counts = 0.0
        self._pickup_keep = 0.0
        self.broken: Broken = ""
        self.offset_counts = 0.0
        self.gain = 1.0
        self.plugged = False
        self.spike_counts = 0.0
        self.noise_factor = 1.0
        self.drift_counts_per_s = spec.drift_counts_per_s
        self.shunt_on = False
        self._drift = 0.0
        self._noise = random.Random(seed)
        self._last = round(spec.counts_at_zero)
        rest = ambient_pa if spec.kind == "pressure" and spec.reference == "absolute" else 0.0
        self._line = Lag(spec.line_lag_s, step_s, rest)
        self._filter = Lag(spec.filter_s, step_s, rest)
        self._spring = MassSpring(spec.natural_hz, spec.damping, step_s)

    def sense(self, pressure_pa: float, force_n: float) -> float:
        """The mechanical part: filtered value in Pa or N for the true state (absolute Pa, N)."""
        if self.spec.kind == "thrust":
            return self._filter.push(self._spring.push(force_n))
        if self.spec.reference == "gauge":
            pressure_pa -= self.ambient_pa
        at_sensor = self._line.value if self.plugged else self._line.push(pressure_pa)
        return self._filter.push(at_sensor)

    def slow_line(self, tau_s: float) -> None:
        """The sense line gets narrow: its lag becomes tau_s."""
        self._line.retime(tau_s, self.step_s)

    def counts(self, value_si: float) -> int:
        """Electrical and converter part: value to counts, with noise, faults and rails."""
        spec = self.spec
        self._drift += self.drift_counts_per_s * self.step_s
        if self.broken:
            return self._broken_counts()
        signal = (
            spec.counts_at_zero
            + value_si * spec.counts_per_si * self.gain
            + self.offset_counts
            + self._drift
            + self._noise.gauss(0.0, spec.noise_counts * self.noise_factor)
        )
        if self.shunt_on:
            signal += spec.shunt_counts
        if self.pickup_counts:
            signal += self._fade_pickup()
        if self.spike_counts:
            signal += self.spike_counts
            self.spike_counts = 0.0
        count = math.floor(signal + 0.5)
        if count > spec.counts_hi:
            count = spec.counts_hi
        elif count < spec.counts_lo:
            count = spec.counts_lo
        self._last = count
        return count

    def sample(self, pressure_pa: float, force_n: float) -> int:
        return self.counts(self.sense(pressure_pa, force_n))

    def pick_up(self, counts: float, tau_s: float) -> None:
        """Disturbance from the firing line: `counts` now, fading with tau_s."""
        self.pickup_counts = counts
        self._pickup_keep = math.exp(-self.step_s / tau_s)

    def _fade_pickup(self) -> float:
        now = self.pickup_counts
        self.pickup_counts = now * self._pickup_keep if abs(now) > 1.0 else 0.0
        return now

    def _broken_counts(self) -> int:
        spec = self.spec
        if self.broken == "stuck":
            return self._last
        return spec.counts_hi if self.broken == "rail_high" else spec.counts_lo
