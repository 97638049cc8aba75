"""`stand.toml`: the board, its channels with their calibrations, the firing circuit, the delays.

Windows of resistance are what the board measures at its terminals: line and igniter together.
`u_scale` and `u_zero_*` are expanded (k = 2) and hold drift and temperature over the day.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Final, Literal

from daq.settings_table import Bound, Count, Fault, Index, NotNegative, Positive, Text

PULSE_CEILING_S: Final = 3.0  # compiled into the board as well
ARMED_CEILING_S: Final = 300.0
CONTINUITY_CEILING_A: Final = 0.050  # practice 2.15, check 7.17
CONTINUITY_SHARE: Final = 0.1  # of the igniter's no-fire current

Fraction = Annotated[float, Bound(low=0.02, high=0.98)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Port:
    """Where the board hangs; an empty device means that the operator names it at start."""

    device: str
    baud: Count


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Channels converted together: one rate, one sample index."""

    index: Annotated[int, Bound(low=0, high=7, closed="low high")]
    rate_hz: Positive


@dataclass(frozen=True, slots=True, kw_only=True)
class Latency:
    """Delays of the trip path; sample step and vote follow from the rate of the group.

    filter, loop (board) and output stage count for the board's trip; adapter, block and reply
    for the engine's, which is the second watcher.
    """

    filter_s: NotNegative
    loop_s: Positive
    output_s: NotNegative
    adapter_s: NotNegative
    block_s: NotNegative
    reply_s: NotNegative


@dataclass(frozen=True, slots=True, kw_only=True)
class Votes:
    """Trip when `needed` of the last `of` samples are over."""

    needed: Annotated[int, Bound(low=2, high=15, closed="low high")]
    of: Annotated[int, Bound(low=3, high=15, closed="low high")]

    def faults(self) -> Iterator[Fault]:
        if self.needed > self.of:
            yield Fault("needed", f"at most of = {self.of}", f"{self.needed}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """The firing circuit and the timers that go to the board with the limits.

    no_fire_a and all_fire_a come from the igniter maker's sheet (`igniter_source`).
    """

    pulse_s: Annotated[float, Bound(low=0.0, high=PULSE_CEILING_S, closed="high")]
    armed_s: Annotated[float, Bound(low=60.0, high=ARMED_CEILING_S, closed="low high")]
    lit_within_s: Positive
    ring_post_s: Positive
    igniter_source: Text
    no_fire_a: Positive
    all_fire_a: Positive
    all_fire_factor: Annotated[float, Bound(low=1.0, closed="low")]
    continuity_a: Positive
    line_ohm: NotNegative
    igniter_ohm: Positive
    igniter_low_ohm: Positive
    igniter_high_ohm: Positive
    dummy_ohm: Positive
    dummy_low_ohm: Positive
    dummy_high_ohm: Positive
    supply_min_v: Positive
    supply_max_v: Positive

    def firing_a(self) -> float:
        """Least current of a pulse: lowest supply through the highest resistance allowed."""
        return self.supply_min_v / self.igniter_high_ohm

    def faults(self) -> Iterator[Fault]:
        yield from self._windows()
        most = min(CONTINUITY_SHARE * self.no_fire_a, CONTINUITY_CEILING_A)
        if self.continuity_a > most:
            yield Fault(
                "continuity_a",
                f"at most {most:g} A (a tenth of no_fire_a, never above 0.050 A)",
                f"{self.continuity_a:g} A",
            )
        least = self.all_fire_factor * self.all_fire_a
        if self.firing_a() < least:
            yield Fault(
                "supply_min_v",
                f"a supply that drives {least:g} A (all_fire_a x all_fire_factor) "
                f"through {self.igniter_high_ohm:g} Ω",
                f"{self.firing_a():.3g} A",
            )
        if self.all_fire_a <= self.no_fire_a:
            yield Fault("all_fire_a", f"more than no_fire_a {self.no_fire_a:g} A", "less")
        if self.lit_within_s < self.pulse_s + 0.5:
            yield Fault(
                "lit_within_s", f"at least pulse + 0.5 s = {self.pulse_s + 0.5:g} s", "less"
            )

    def _windows(self) -> Iterator[Fault]:
        total = self.line_ohm + self.igniter_ohm
        if not self.igniter_low_ohm < total < self.igniter_high_ohm:
            yield Fault("igniter_low_ohm", f"a window around line + igniter {total:g} Ω", "not so")
        total = self.line_ohm + self.dummy_ohm
        if not self.dummy_low_ohm < total < self.dummy_high_ohm:
            yield Fault("dummy_low_ohm", f"a window around line + dummy {total:g} Ω", "not so")
        if (
            self.dummy_low_ohm <= self.igniter_high_ohm
            and self.igniter_low_ohm <= self.dummy_high_ohm
        ):
            yield Fault("dummy_low_ohm", "a window apart from the igniter's", "an overlap")
        if self.supply_max_v <= self.supply_min_v:
            yield Fault("supply_max_v", f"more than {self.supply_min_v:g} V", "less")


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetPart:
    """One standard uncertainty (k = 1): Pa or N for "zero", a share of the value for "value".

    `freedom` 0 stands for infinite. `averages`: falls with the number of samples (noise only).
    """

    name: Text
    u: NotNegative
    of: Literal["zero", "value"]
    freedom: NotNegative = 0.0
    averages: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibrationCard(ABC):
    """What a calibration says beside its numbers; `place` is where it was done (practice 6.1).

    A card written by `berm calibrate` also holds its budget and the SHA-256 of its points file.
    """

    made: date
    valid_until: date
    certificate: Text
    reference: Text
    person: Text
    place: Literal["in place, hoses on", "bench"]
    u_scale: NotNegative
    u_bench: NotNegative = 0.0  # what a bench calibration leaves out, of the value (k = 2)
    counts_low: float
    counts_high: float
    board_channel: str = ""
    points_sha256: str = ""
    budget: tuple[BudgetPart, ...] = ()

    def faults(self) -> Iterator[Fault]:
        if self.valid_until < self.made:
            yield Fault("valid_until", f"a day after {self.made}", f"{self.valid_until}")
        if (self.place == "bench") != (self.u_bench > 0):
            yield Fault("u_bench", "a value for a bench calibration only", f"{self.u_bench:g}")
        if self.counts_high <= self.counts_low:
            yield Fault("counts_high", f"more than counts_low {self.counts_low:g}", "less")
        points, curve = self.given()
        if bool(points) == bool(curve):
            yield Fault("points", "either points or coefficients", "both or neither")
        elif curve and len(curve) not in (2, 3):
            yield Fault("coefficients", "two or three numbers c0, c1, c2", f"{len(curve)}")
        elif points and points < 3:
            yield Fault("points", "at least three points", f"{points}")

    @abstractmethod
    def given(self) -> tuple[int, tuple[float, ...]]:
        """Number of points, and the coefficients in SI per count."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressurePoint:
    counts: float
    applied_pa: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrustPoint:
    counts: float
    applied_n: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureCalibration(CalibrationCard):
    """p = c0 + c1 counts (+ c2 counts²), given, or fitted through the points (up and down)."""

    u_zero_pa: NotNegative
    coefficients_pa: tuple[float, ...] = ()
    points: tuple[PressurePoint, ...] = ()

    def given(self) -> tuple[int, tuple[float, ...]]:
        return len(self.points), self.coefficients_pa


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrustCalibration(CalibrationCard):
    """F = c0 + c1 counts (+ c2 counts²), given, or fitted through the points (up and down)."""

    u_zero_n: NotNegative
    coefficients_n: tuple[float, ...] = ()
    points: tuple[ThrustPoint, ...] = ()

    def given(self) -> tuple[int, tuple[float, ...]]:
        return len(self.points), self.coefficients_n


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One column of the board's samples.

    The signal runs from `low_fraction` of the converter's full count at zero to `high_fraction` at
    full range (a live zero: outside is a fault, practice 6.13). `noise_counts` is the rms at
    calibration, `stuck_s` how long equal counts are believed, `shunt_counts` the certified shunt
    step (0: none fitted).
    """

    name: Text
    role: Literal["trip", "record"]
    group: Index
    index: Index
    bits: Annotated[int, Bound(low=8, high=23, closed="low high")]
    signal: Literal["ratiometric", "bridge", "loop"]
    bridge_mv_per_volt: NotNegative = 0.0
    low_fraction: Fraction
    high_fraction: Fraction
    noise_counts: Positive
    stuck_s: Positive
    shunt_counts: NotNegative
    sensor_serial: Text
    cable_serial: Text
    amplifier_serial: Text

    @property
    def full_counts(self) -> int:
        """Counts of the converter's full scale."""
        return 1 << self.bits

    @property
    def rail_low(self) -> int:
        """Counts under which the channel is open or its live zero is lost (2 %)."""
        return int(0.02 * self.full_counts)

    @property
    def rail_high(self) -> int:
        """Counts over which the channel is at its rail (98 %)."""
        return int(0.98 * self.full_counts)

    def faults(self) -> Iterator[Fault]:
        if self.high_fraction <= self.low_fraction:
            yield Fault("high_fraction", f"more than {self.low_fraction:g}", "less")
        if (self.signal == "bridge") != (self.bridge_mv_per_volt > 0):
            yield Fault(
                "bridge_mv_per_volt", "a value for a bridge and for nothing else", self.signal
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureChannel(Channel):
    """`line_lag_s`: measured lag of the sense line (quick-release test)."""

    range_pa: Positive
    reference: Literal["gauge", "absolute"]
    line_lag_s: NotNegative
    calibration: PressureCalibration

    @property
    def quantity(self) -> Literal["pressure"]:
        return "pressure"

    @property
    def range_si(self) -> float:
        return self.range_pa


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrustChannel(Channel):
    range_n: Positive
    calibration: ThrustCalibration

    @property
    def quantity(self) -> Literal["thrust"]:
        return "thrust"

    @property
    def range_si(self) -> float:
        return self.range_n

    def faults(self) -> Iterator[Fault]:
        yield from Channel.faults(self)
        if self.role == "trip":
            yield Fault("role", '"record": only pressure trips', '"trip"')


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """One stand: board, channels, circuit. `board_uid` "" accepts a simulated board only."""

    name: Text
    board_uid: str
    port: Port
    groups: tuple[Group, ...]
    latency: Latency
    votes: Votes
    circuit: Circuit
    pressure: tuple[PressureChannel, ...]
    thrust: tuple[ThrustChannel, ...]

    @property
    def channels(self) -> tuple[PressureChannel | ThrustChannel, ...]:
        """All channels in the order of the board's columns."""
        return tuple(sorted((*self.pressure, *self.thrust), key=lambda c: (c.group, c.index)))

    def trip_channels(self) -> tuple[PressureChannel, ...]:
        return tuple(channel for channel in self.pressure if channel.role == "trip")

    def channel(self, name: str) -> PressureChannel | ThrustChannel:
        """The channel of that name; KeyError if there is none."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)

    def rate_hz(self, group: int) -> float:
        """Sample rate of a group; KeyError if there is none."""
        for entry in self.groups:
            if entry.index == group:
                return entry.rate_hz
        raise KeyError(group)

    def faults(self) -> Iterator[Fault]:
        names = [channel.name for channel in self.channels]
        if len(set(names)) < len(names):
            yield Fault("name", "another name for every channel", ", ".join(names))
        if not self.trip_channels():
            yield Fault("pressure", 'at least one channel with role = "trip"', "none")
        known = [group.index for group in self.groups]
        if len(set(known)) < len(known):
            yield Fault("groups", "another index for every group", f"{known}")
        for group in known:
            columns = [channel.index for channel in self.channels if channel.group == group]
            if columns != list(range(len(columns))) or not columns:
                yield Fault(f"groups {group}", "columns 0, 1, 2 ... of its channels", f"{columns}")
        for channel in self.channels:
            if channel.group not in known:
                yield Fault(channel.name, f"a group out of {known}", f"{channel.group}")
            elif channel.stuck_s * self.rate_hz(channel.group) < 100:
                yield Fault(
                    f"{channel.name} stuck_s", "at least 100 samples", f"{channel.stuck_s:g} s"
                )
