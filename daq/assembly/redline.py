"""From a rating to the pressure at which the line is dropped, every subtraction on its own line.

p_trip = p_allow - U(p_trip) - R (t_f + t_s + t_v + t_l + t_a) - R τ. The path counted is the
board's; the engine is a second, slower watcher with the same number. A trip drops the line and
sounds the siren; it takes no pressure from a burning motor, so the table of rises says what it can
still tell anybody about, and what it only detects.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import ceil
from typing import Final, Protocol

from daq.assembly.movement import movements
from daq.assembly.rating import Rating
from daq.settings import Settings
from daq.settings_stand import PressureChannel, Stand

CLEAR_FACTOR: Final = 1.05
CLEAR_SIGMAS: Final = 4.0
RANGE_MOST: Final = 0.8  # of full range, practice 6.6
RANGE_LEAST: Final = 0.2
RANGE_WARNED: Final = 0.5
RATIO_LEAST: Final = 0.3  # MEOP over trip
RATIO_MOST: Final = 0.95
RISE_MULTIPLES: Final = (1.0, 3.0, 10.0, 25.0)
ENGINE_ROUNDING_S: Final = 0.005
DETECTS_ONLY: Final = "DETECTS ONLY, DOES NOT PROTECT: distance and relief device"


class Gauge(Protocol):
    """What the redline asks of a calibration."""

    def expanded_u(self, si: float) -> float:
        """Expanded uncertainty (k = 2) at a value."""

    @property
    def noise_si(self) -> float:
        """Noise, rms."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Delays:
    """The board's trip path and the engine's, in seconds."""

    filter_s: float
    step_s: float
    vote_s: float
    loop_s: float
    output_s: float
    engine_s: float

    @property
    def board_s(self) -> float:
        return self.filter_s + self.step_s + self.vote_s + self.loop_s + self.output_s

    def named(self) -> tuple[tuple[str, float], ...]:
        return (
            ("filter delay t_f", self.filter_s),
            ("sample step t_s", self.step_s),
            ("vote t_v", self.vote_s),
            ("board loop t_l", self.loop_s),
            ("output stage t_a", self.output_s),
        )


def delays(stand: Stand, group: int) -> Delays:
    """Delays of a channel group; step and vote follow from its rate, the engine's is rounded up."""
    path, step = stand.latency, 1 / stand.rate_hz(group)
    vote = stand.votes.of * step
    engine = path.adapter_s + path.block_s + vote + path.reply_s
    return Delays(
        filter_s=path.filter_s,
        step_s=step,
        vote_s=vote,
        loop_s=path.loop_s,
        output_s=path.output_s,
        engine_s=ceil(round(engine / ENGINE_ROUNDING_S, 9)) * ENGINE_ROUNDING_S,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What the motor and the channel ask of a trip; pressures in Pa gauge, `rise` in Pa/s."""

    channel: str
    rise_pa_s: float
    rise_source: str
    expected_peak_pa: float
    meop_pa: float
    sigma_pa: float
    range_pa: float
    line_lag_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One subtraction from the allowable, in Pa, and how it came about."""

    name: str
    pa: float
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RiseRow:
    """True pressure when the board acts, and when only the engine acts, at one real rise."""

    rise_pa_s: float
    board_pa: float
    engine_pa: float
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Redline:
    """The trip of one assembly on one channel. Arming is refused while `refusals` is not empty."""

    channel: str
    casing: str
    allowable_pa: float
    allowable_mode: str
    rated_burst_pa: float
    rated_burst_mode: str
    terms: tuple[Term, ...]
    trip_pa: float
    u_pa: float
    rise_pa_s: float
    rise_source: str
    delays: Delays
    line_lag_s: float
    expected_peak_pa: float
    meop_pa: float
    sigma_pa: float
    range_pa: float
    needed_pa: float
    fastest_rise_pa_s: float
    rises: tuple[RiseRow, ...]
    refusals: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def margin_pa(self) -> float:
        """Trip minus what it must clear; negative = refused."""
        return self.trip_pa - self.needed_pa

    @property
    def near_trip_pa(self) -> float:
        """Where NEAR TRIP begins: the larger of 90 % of trip and MEOP + 4 σ."""
        return max(0.9 * self.trip_pa, self.meop_pa + CLEAR_SIGMAS * self.sigma_pa)


def trip(rating: Rating, demand: Demand, path: Delays, gauge: Gauge) -> Redline:
    """Derive the trip; never raises for a bad one, see `Redline.refusals`."""
    rise, lag = demand.rise_pa_s, demand.line_lag_s
    lost = [
        Term(name=name, pa=rise * seconds, how=f"{rise / 1e6:g} MPa/s x {seconds * 1e3:g} ms")
        for name, seconds in (*path.named(), ("sense line lag τ", lag))
    ]
    base = rating.allowable_pa - sum(term.pa for term in lost)
    trip_pa = base
    for _ in range(50):  # U belongs to the trip itself; it changes slowly, so this settles
        trip_pa = base - gauge.expanded_u(trip_pa)
    u_pa = base - trip_pa
    terms = (Term(name="uncertainty U", pa=u_pa, how="k = 2, at the trip"), *lost)
    needed = CLEAR_FACTOR * demand.meop_pa + CLEAR_SIGMAS * demand.sigma_pa
    fastest = (rating.rated_burst_pa - trip_pa - u_pa) / (path.board_s + lag)
    bare = Redline(
        channel=demand.channel,
        casing=rating.casing,
        allowable_pa=rating.allowable_pa,
        allowable_mode=rating.allowable_mode.name,
        rated_burst_pa=rating.rated_burst_pa,
        rated_burst_mode=rating.burst_mode.name,
        terms=terms,
        trip_pa=trip_pa,
        u_pa=u_pa,
        rise_pa_s=rise,
        rise_source=demand.rise_source,
        delays=path,
        line_lag_s=lag,
        expected_peak_pa=demand.expected_peak_pa,
        meop_pa=demand.meop_pa,
        sigma_pa=demand.sigma_pa,
        range_pa=demand.range_pa,
        needed_pa=needed,
        fastest_rise_pa_s=max(fastest, 0.0),
        rises=(),
        refusals=(),
        warnings=rating.warnings,
    )
    return replace(
        bare,
        rises=_rises(bare),
        refusals=(*rating.refusals, *_refusals(bare)),
        warnings=(*bare.warnings, *_warnings(bare)),
    )


def acts_at_pa(red: Redline, rise_pa_s: float, *, engine: bool) -> float:
    """True pressure when the board (or only the engine) acts, at a real rise."""
    delay = red.delays.engine_s if engine else red.delays.board_s
    return red.trip_pa + red.u_pa + rise_pa_s * (delay + red.line_lag_s)


def _rises(red: Redline) -> tuple[RiseRow, ...]:
    speeds = {red.rise_pa_s * multiple for multiple in RISE_MULTIPLES}
    if red.fastest_rise_pa_s > 0:
        speeds.add(red.fastest_rise_pa_s)
    return tuple(_rise_row(red, speed) for speed in sorted(speeds))


def _rise_row(red: Redline, rise: float) -> RiseRow:
    board, engine = (acts_at_pa(red, rise, engine=engine) for engine in (False, True))
    slack = 1e-9 * red.rated_burst_pa
    if rise == red.fastest_rise_pa_s:
        says = "the fastest rise the trip can outrun at all"
    elif board > red.rated_burst_pa + slack:
        says = DETECTS_ONLY
    elif board > red.allowable_pa + slack:
        says = "board late, below rated burst; " + _engine_says(red, engine)
    else:
        says = "covered by the board; " + _engine_says(red, engine)
    return RiseRow(rise_pa_s=rise, board_pa=board, engine_pa=engine, says=says)


def _engine_says(red: Redline, engine: float) -> str:
    if engine <= red.allowable_pa:
        return "engine in time"
    return "engine late" if engine <= red.rated_burst_pa else "engine too late"


def _mpa(pressure: float) -> str:
    return f"{pressure / 1e6:.2f} MPa"


def _refusals(red: Redline) -> list[str]:
    if red.trip_pa <= 0:
        lost = sum(term.pa for term in red.terms)
        allowable = f"allowable {_mpa(red.allowable_pa)} ({red.allowable_mode})"
        return [f"no trip is left: {allowable} minus {_mpa(lost)} of uncertainty and delay"]
    said = []
    if red.margin_pa < 0:
        said.append(
            f"trip {_mpa(red.trip_pa)} does not clear 1.05 x MEOP {_mpa(red.meop_pa)} + 4 x noise "
            f"{red.sigma_pa / 1e6:.3f} MPa = {_mpa(red.needed_pa)}: {_mpa(-red.margin_pa)} missing"
        )
    most, least = RANGE_MOST * red.range_pa, RANGE_LEAST * red.range_pa
    if red.trip_pa > most:
        said.append(
            f"trip {_mpa(red.trip_pa)} is above 80 % of the range of {red.channel} = {_mpa(most)}: "
            "take a sensor with a wider range"
        )
    if red.expected_peak_pa < least:
        said.append(
            f"expected peak {_mpa(red.expected_peak_pa)} is under 20 % of the range of "
            f"{red.channel} = {_mpa(least)}: take a sensor with a narrower range"
        )
    ratio = red.meop_pa / red.trip_pa
    if not RATIO_LEAST <= ratio <= RATIO_MOST:
        said.append(
            f"MEOP {_mpa(red.meop_pa)} over trip {_mpa(red.trip_pa)} is {ratio:.2f}, "
            f"expected {RATIO_LEAST:g} to {RATIO_MOST:g}: "
            + ("casing and motor do not fit" if ratio > 1 else "check units and motor")
        )
    return said


def _warnings(red: Redline) -> list[str]:
    said = []
    share = red.expected_peak_pa / red.range_pa
    if RANGE_LEAST <= share < RANGE_WARNED:
        said.append(
            f"expected peak is {100 * share:.0f} % of the range of {red.channel}, under 50 %"
        )
    return said


def demand_of(settings: Settings, channel: PressureChannel, gauge: Gauge) -> Demand:
    """What the motor of these settings asks of one pressure channel."""
    motor = settings.motor
    return Demand(
        channel=channel.name,
        rise_pa_s=motor.rise.design_pa_s,
        rise_source=motor.rise.source,
        expected_peak_pa=motor.expected_peak_pa,
        meop_pa=motor.meop_pa,
        sigma_pa=gauge.noise_si,
        range_pa=channel.range_pa,
        line_lag_s=channel.line_lag_s,
    )


def redline_of(settings: Settings, rating: Rating, gauges: Mapping[str, Gauge]) -> Redline:
    """The redline of a stand: the lowest trip of its trip channels, with what any of them refuses.

    `gauges` are the calibrations by channel name. One number goes to every channel, gauge.
    """
    lines = [
        trip(
            rating,
            demand_of(settings, channel, gauges[channel.name]),
            delays(settings.stand, channel.group),
            gauges[channel.name],
        )
        for channel in settings.stand.trip_channels()
    ]
    lowest = min(lines, key=lambda line: line.trip_pa)
    moved = tuple(
        text for move in movements(settings.casing, lowest.trip_pa) for text in move.refusals
    )
    return replace(
        lowest,
        refusals=_merged((*(line.refusals for line in lines), moved)),
        warnings=_merged(line.warnings for line in lines),
    )


def _merged(groups: Iterable[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for group in groups for text in group))


def indicated_pa(channel: PressureChannel, gauge_pa: float, ambient_pa: float) -> float:
    """What a channel reads at a gauge pressure: an absolute sensor adds the ambient once."""
    return gauge_pa + ambient_pa if channel.reference == "absolute" else gauge_pa
