"""Pressure and thrust: the big number, its verdict, the small lines, the ladder beside the chart."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from daq.console.moment import Moment
from daq.console.readings import Status
from daq.console.view import ChannelCell, Rung
from daq.console.wording import grouped, megapascal, newton, pounds, psi

NEAR_DELAY_NS: Final = 100_000_000
CLEAR_NS: Final = 1_000_000_000
CLEAR_BELOW: Final = 0.03
THRUST_SLACK: Final = 0.05
"""Thrust further above the expected maximum than this is marked (common practice, no source)."""
BEFORE: Final = frozenset({"SAFE", "ARM", "COUNTDOWN", "HOLD", "FIRE"})
WORDS: Final = {
    "NOT PROVEN": "NOT PROVEN",
    "STUCK": "NOT PROVEN, stuck",
    "BLIND": "BLIND, pressure not seen",
    "RAIL": "NOT PROVEN, on its rail",
    "OPEN": "NOT PROVEN, open",
    "GAP": "NOT PROVEN, samples missing",
}


@dataclass(slots=True, kw_only=True)
class NearTrip:
    """Near after 100 ms above its onset, clear after 1 s below onset − 3 % of trip.

    The delay keeps the ignition peak from crying wolf; the trip itself has none.
    """

    near: bool = False
    _since_ns: int | None = None

    def push(
        self, pa: float | None, onset_pa: float | None, trip_pa: float | None, now_ns: int
    ) -> bool:
        if pa is None or onset_pa is None or trip_pa is None:
            self._since_ns = None
            return self.near
        edge_pa = onset_pa - CLEAR_BELOW * trip_pa
        is_turning = pa < edge_pa if self.near else pa >= onset_pa
        if not is_turning:
            self._since_ns = None
            return self.near
        if self._since_ns is None:
            self._since_ns = now_ns
        if now_ns - self._since_ns >= (CLEAR_NS if self.near else NEAR_DELAY_NS):
            self.near, self._since_ns = not self.near, None
        return self.near


def figure(s: Status, definition: str) -> Status | None:
    """A result by its definition id (PP1, PF1)."""
    rows = s.rows("results", "figures")
    return next((row for row in rows if row.text("definition") == definition), None)


def spread(row: Status | None) -> str:
    """`4.74 ± 0.10 MPa` -> `± 0.10 MPa (k = 2)   PP1`."""
    if row is None or "±" not in row.text("text"):
        return ""
    return f"± {row.text('text').partition('±')[2].strip()} (k = 2)   {row.text('definition')}"


def is_review(s: Status) -> bool:
    return s.text("phase") == "INSPECT" and s.has("results")


def pressure(now: Moment, *, near: bool) -> ChannelCell:
    s = now.status
    review = is_review(s)
    pa = s.number("pressure", "max_pa" if review else "pa")
    trip = s.number("limits", "trip_pa")
    mark, fill = pressure_mark(now, near=near, review=review)
    channels = s.numbers("pressure", "channels")
    note = "higher of P1 and P2" if len(channels) > 1 else "gauge"
    return ChannelCell(
        name="Pressure",
        note=f"{note}, at peak" if review else note,
        digits=megapascal(pa),
        unit="MPa",
        hollow=now.blind,
        dim=now.dim or now.blind,
        mark=mark,
        mark_fill=fill,
        triangle=fill == "yellow",
        small=(pressure_line(pa, trip, near=near), channel_line(channels, review=review)),
        si=pa,
        top_si=top_pa(s),
        trip_si=trip,
        rungs=ladder(now),
    )


def pressure_mark(now: Moment, *, near: bool, review: bool) -> tuple[str, str]:
    s = now.status
    if now.blind:
        return old_mark(now), "stale"
    if review and (text := spread(figure(s, "PP1"))):
        return text, ""
    word = s.text("pressure", "word")
    percent = percent_of_trip(s)
    if word in WORDS:
        return WORDS[word], "yellow"
    if percent is None:
        return "trip not known", ""
    if word == "OVER" or percent >= 100:
        return f"{percent:.0f} % of trip, OVER TRIP", "red"
    if near and not review:
        return f"{percent:.0f} % of trip, NEAR TRIP", "yellow"
    return f"{grouped(percent)} % of trip", ""


def old_mark(now: Moment) -> str:
    """Numbers that are not of now say so, and since when."""
    if not now.seen:
        return "no number yet"
    return f"STALE, {now.age_text} old" if now.stale else f"NO SAMPLES, {now.link_age}"


def percent_of_trip(s: Status) -> float | None:
    """The engine's own figure, else number over trip."""
    said = s.number("pressure", "percent_of_trip")
    pa, trip = s.number("pressure", "pa"), s.number("limits", "trip_pa")
    return said if said is not None or pa is None or not trip else 100 * pa / trip


def pressure_line(pa: float | None, trip: float | None, *, near: bool) -> str:
    if trip is None:
        return f"{psi(pa)} psi   no trip staged"
    if near and pa is not None and pa < trip:
        return f"{psi(pa)} psi   {megapascal(trip - pa)} MPa below trip"
    return f"{psi(pa)} psi   trip {megapascal(trip)} MPa = {psi(trip)} psi"


def channel_line(channels: dict[str, float], *, review: bool) -> str:
    if not channels:
        return "no channel reported"
    shown = "   ".join(f"{name.upper()} {megapascal(pa)}" for name, pa in sorted(channels.items()))
    if review:
        return f"now {shown} MPa"
    if len(channels) < 2:
        return f"{shown}   one channel"
    differ = max(channels.values()) - min(channels.values())
    return f"{shown}   differ {megapascal(differ)} MPa"


def top_pa(s: Status) -> float:
    """The scale ends a little above the allowable and never below the hatch over the trip."""
    trip = s.number("limits", "trip_pa")
    allowable = s.number("limits", "allowable_pa")
    tops = [trip * 1.12 if trip else 0.0, allowable * 1.075 if allowable else 0.0]
    return max(tops) or 10e6


def ladder(now: Moment) -> tuple[Rung, ...]:
    """Expected maximum, trip, allowable, rated burst; a dry count has the trip alone."""
    s = now.status
    trip = s.number("limits", "trip_pa")
    rungs = [Rung(text=f"TRIP {megapascal(trip)}", si=trip, heavy=True)] if trip else []
    if now.mode == "DRY":
        return tuple(rungs)
    expected = s.number("limits", "expected_max_pa")
    allowable = s.number("limits", "allowable_pa")
    burst = s.number("limits", "rated_burst_pa")
    mode = s.text("limits", "rated_burst_mode")
    named = f" ({mode.removesuffix(' as tested')})" if mode else ""
    return (
        *_rung(burst, f"rated burst {megapascal(burst)} MPa{named}", beyond=True),
        *_rung(allowable, f"allowable {megapascal(allowable)}"),
        *rungs,
        *_rung(expected, f"expected max {megapascal(expected)}"),
    )


def _rung(si: float | None, text: str, *, beyond: bool = False) -> Iterable[Rung]:
    return () if si is None else (Rung(text=text, si=si, beyond=beyond),)


def thrust(now: Moment) -> ChannelCell:
    s = now.status
    review = is_review(s)
    n = s.number("thrust", "max_n" if review else "n")
    expected = s.number("limits", "expected_thrust_n")
    mark, fill, triangle = thrust_mark(now, review=review)
    has_band = expected is not None and now.mode != "DRY"
    return ChannelCell(
        name="Thrust",
        note="at peak" if review else "",
        digits=newton(n),
        unit="N",
        hollow=now.blind,
        dim=now.dim or now.blind,
        mark=mark,
        mark_fill=fill,
        triangle=triangle,
        small=thrust_lines(now, n, review=review),
        si=n,
        top_si=top_n(expected),
        trip_si=None,
        rungs=(Rung(text=f"expected max\n{newton(expected)} N", si=expected),)
        if has_band and expected is not None
        else (),
    )


def thrust_mark(now: Moment, *, review: bool) -> tuple[str, str, bool]:
    s = now.status
    if now.blind:
        return old_mark(now), "stale", False
    if review and (text := spread(figure(s, "PF1"))):
        return text, "", False
    word = s.text("thrust", "word")
    if word in WORDS:
        return WORDS[word].replace("pressure", "thrust"), "yellow", True
    compare = s.text("thrust", "compare")
    expected = s.number("limits", "expected_thrust_n")
    if not compare and expected is not None and now.phase in BEFORE:
        compare = f"expected peak {newton(expected)} N"
    n = s.number("thrust", "n")
    is_over = n is not None and expected is not None and n > (1 + THRUST_SLACK) * expected
    return compare, "", is_over and "above" in compare


def thrust_lines(now: Moment, n: float | None, *, review: bool) -> tuple[str, ...]:
    s = now.status
    expected = s.number("limits", "expected_thrust_n")
    shown = f"{pounds(n)} lbf"
    if now.mode != "DRY" and expected is not None:
        shown += f"   expected max {newton(expected)} N"
    if review and (compare := s.text("thrust", "compare")):
        return shown, compare
    peak = s.number("thrust", "max_n")
    return (shown, f"most so far {newton(peak)} N") if peak is not None else (shown,)


def top_n(expected: float | None) -> float:
    """A third above the expected maximum, or 1 kN when nothing is expected."""
    return expected * 1.34 if expected else 1000.0
