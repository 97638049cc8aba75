"""`range.toml`: the range's own rules: waits, distances, weather. No rule has a default in code.

A misfire wait under 15 minutes is refused whatever the file says (practice section 8).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Final

from daq.settings_table import Bound, Fault, NotNegative, Positive, Text

MISFIRE_FLOOR_S: Final = 15 * 60.0
RANGE_CLEAR_CEILING_S: Final = 300.0
LAST_MINUTE_CEILING_S: Final = 120.0
STRAY_CEILING_A: Final = 0.05  # practice 2.12


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """Where the stand is; axis bearing and arcs are shown on the range page (practice 2.5)."""

    name: Text
    grid_reference: Text
    emergency_call: Text
    axis_bearing_deg: Annotated[float, Bound(low=0.0, high=360.0, closed="low")]
    keep_out_half_angle_deg: Annotated[float, Bound(low=0.0, high=90.0)]
    ambient_pa: Annotated[float, Bound(low=50e3, high=110e3)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Waits:
    """Waits before anybody goes forward, each with the rule it comes from."""

    normal_s: Positive
    normal_source: Text
    misfire_s: Annotated[float, Bound(low=MISFIRE_FLOOR_S, closed="low")]
    misfire_source: Text
    unproven_s: Positive
    unproven_source: Text
    ignition_seen_s: Positive
    ignition_seen_source: Text

    def faults(self) -> Iterator[Fault]:
        if self.unproven_s < self.normal_s:
            yield Fault("unproven_s", f"at least the normal wait {self.normal_s:g} s", "less")
        if self.ignition_seen_s < self.misfire_s:
            yield Fault(
                "ignition_seen_s", f"at least the misfire wait {self.misfire_s:g} s", "less"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Clear:
    """How long "range clear", the last warning and the tare stay good."""

    range_clear_s: Annotated[float, Bound(low=0.0, high=RANGE_CLEAR_CEILING_S, closed="high")]
    range_clear_last_minute_s: Annotated[
        float, Bound(low=0.0, high=LAST_MINUTE_CEILING_S, closed="high")
    ]
    warning_s: Annotated[float, Bound(low=0.0, high=LAST_MINUTE_CEILING_S, closed="high")]
    self_test_s: Annotated[float, Bound(low=0.0, high=600.0, closed="high")]
    tare_s: Annotated[float, Bound(low=0.0, high=1800.0, closed="high")]
    source: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    wind_max_m_s: Positive
    humidity_min_percent: Annotated[float, Bound(low=0.0, high=100.0, closed="low high")]
    coldest_k: Positive
    hottest_k: Positive
    storm_wait_s: Annotated[float, Bound(low=1800.0, closed="low")]
    source: Text

    def faults(self) -> Iterator[Fault]:
        if self.hottest_k <= self.coldest_k:
            yield Fault("hottest_k", f"more than coldest {self.coldest_k - 273.15:g} °C", "less")


@dataclass(frozen=True, slots=True, kw_only=True)
class Distances:
    """Crew, visitors and public are three numbers, measured on the ground, each above its rule."""

    crew_required_m: Positive
    crew_measured_m: Positive
    visitors_required_m: Positive
    visitors_measured_m: Positive
    public_required_m: Positive
    public_measured_m: Positive
    radio_required_m: NotNegative
    radio_source: Text
    source: Text

    def faults(self) -> Iterator[Fault]:
        for who in ("crew", "visitors", "public"):
            need, have = getattr(self, f"{who}_required_m"), getattr(self, f"{who}_measured_m")
            if have < need:
                yield Fault(f"{who}_measured_m", f"at least the required {need:g} m", f"{have:g} m")


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeRules:
    site: Site
    waits: Waits
    clear: Clear
    weather: Weather
    distances: Distances
    stray_current_max_a: Annotated[float, Bound(low=0.0, high=STRAY_CEILING_A, closed="high")]
    check_load_n: Positive
    check_load_max_share: Annotated[float, Bound(low=0.0, high=0.05, closed="high")]
