"""The fold: newest status + when it was received + the keys on this desk -> everything shown.

No Qt, no clock: `now_ns` is given. The only memory is that of the near-trip mark (its delay and its
hysteresis) and of how long board and engine have disagreed. State words come from the newest status,
never from the record; a stale screen says STALE by the age since it was *received*, whatever the
status says of itself.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from daq.console import caps, cells, gauges, instruments, people
from daq.console.moment import Local, Moment
from daq.console.readings import Status
from daq.console.view import ChartsCell, Frame, Line, View
from daq.console.wording import real_minus

DIFFER_NS: Final = 200_000_000
SECOND_NS: Final = 1_000_000_000
BURN_FRAME_FROM_S: Final = 10.0
"""From this T- on the charts stand in the burn frame."""


class Fold:
    """Newest status in (`take`), view out (`view`)."""

    def __init__(self) -> None:
        self._status = Status({})
        self._received_ns: int | None = None
        self._near = gauges.NearTrip()
        self._differ_since_ns: int | None = None

    @property
    def status(self) -> Status:
        """The newest status; empty before the first."""
        return self._status

    @property
    def number(self) -> int:
        """The number of the newest status, -1 before the first."""
        found = self._status.number("n")
        return -1 if found is None else int(found)

    def take(self, body: Mapping[str, Any], received_ns: int) -> None:
        """A status came in at `received_ns` of this process's monotonic clock."""
        self._status = Status(body)
        self._received_ns = received_ns
        self._near.push(
            self._status.number("pressure", "pa"),
            near_onset_pa(self._status),
            self._status.number("limits", "trip_pa"),
            received_ns,
        )
        if self._status.flag("board", "agrees") is not False:
            self._differ_since_ns = None
        elif self._differ_since_ns is None:
            self._differ_since_ns = received_ns

    def age_s(self, now_ns: int) -> float:
        """Seconds since the newest status was received; infinite before the first."""
        if self._received_ns is None:
            return float("inf")
        return max(0, now_ns - self._received_ns) / SECOND_NS

    def moment(self, now_ns: int, local: Local) -> Moment:
        return Moment(
            status=self._status,
            age_s=self.age_s(now_ns),
            seen=self._received_ns is not None,
            local=local,
        )

    def view(self, now_ns: int, local: Local | None = None) -> View:
        """Everything the screen says at `now_ns`."""
        now = self.moment(now_ns, local or Local())
        pressure = gauges.pressure(now, near=self._near.near)
        health = instruments.health(now)
        if health.differ and not self._differs_long(now_ns):
            health = replace(health, differ=False)
        made = View(
            n=self.number,
            age_s=now.age_s,
            stale=now.stale,
            phase_name=now.phase,
            mode=now.mode,
            band=cells.band(now),
            alarm=cells.alarm(now),
            phase=cells.phase(now),
            clock=cells.clock(now),
            circuit=cells.circuit(now),
            approach=cells.approach(now),
            pressure=pressure,
            thrust=gauges.thrust(now),
            health=health,
            people=people.panel(now),
            refusal=(self._status.text("refusal", "t"), self._status.text("refusal", "text")),
            events=events(now),
            keys=caps.keys(now),
            charts=charts(now, near=self._near.near),
        )
        return with_causes(made)

    def _differs_long(self, now_ns: int) -> bool:
        since = self._differ_since_ns
        return since is not None and now_ns - since >= DIFFER_NS


def near_onset_pa(s: Status) -> float | None:
    """The engine's onset (expected maximum + 4 sigma or 90 % of trip, the larger), at least 90 %."""
    trip = s.number("limits", "trip_pa")
    if trip is None:
        return None
    return max(0.9 * trip, s.number("limits", "near_trip_pa") or 0.0)


def events(now: Moment) -> tuple[tuple[str, str], ...]:
    """The last three, newest first; a stale screen adds its own line on top."""
    told = [(real_minus(row.text("t")), row.text("text")) for row in now.status.rows("events")]
    if now.stale:
        what = f"No status for {now.age_text}" if now.seen else "No engine answers"
        told.insert(0, ("this screen", what))
    return tuple(told[:3])


def charts(now: Moment, *, near: bool) -> ChartsCell:
    s = now.status
    seconds, kind = s.number("clock", "seconds"), s.text("clock", "kind")
    is_near_zero = kind == "count" and seconds is not None and seconds <= BURN_FRAME_FROM_S
    is_later = now.phase in {"FIRE", "BURNING", "WAIT", "MISFIRE", "ABORT", "INSPECT"}
    percent = gauges.percent_of_trip(s)
    stamp = {"REHEARSAL": "REHEARSAL", "DRY": "DRY"}.get(now.mode, "")
    return ChartsCell(
        frame="burn" if is_near_zero or is_later else "strip",
        burn_s=s.number("limits", "expected_burn_s") or 3.0,
        stamp=stamp,
        stale=f"STALE  {now.age_text}" if now.stale and now.seen else "STALE" if now.stale else "",
        band=now.mode not in {"DRY", "PROOF"},
        near=near,
        over=s.text("pressure", "word") == "OVER" or (percent or 0) >= 100,
    )


def with_causes(view: View) -> View:
    """The view with its coloured causes counted; a blue key and the blue frame are one cause."""
    found = []
    if view.alarm.rank:
        found.append(f"alarm {view.alarm.fill}")
    if view.phase.fill not in {"", "stale"}:
        found.append(f"phase {view.phase.fill}")
    if view.circuit.fill in {"yellow", "red"}:
        found.append(f"circuit {view.circuit.fill}")
    if view.approach.look == "open":
        found.append("approach green outline")
    if has_blue(view):
        found.append("frame blue")
    found += [
        f"{cell.name.lower()} {cell.mark_fill}"
        for cell in (view.pressure, view.thrust)
        if cell.mark_fill in {"yellow", "red"}
    ]
    found += [f"{row.label.lower()} {row.fill}" for row in view.health.rows if row.fill]
    if view.health.differ:
        found.append("board and engine yellow")
    found += [f"condition {row.text}" for row in view.people if isinstance(row, Line) and row.fill]
    return replace(view, causes=tuple(found))


def has_blue(view: View) -> bool:
    caps = (view.keys.fire_f, view.keys.fire_j, view.keys.enter)
    is_framed = any(isinstance(block, Frame) and block.live for block in view.people)
    return is_framed or view.alarm.framed or any(cap.look == "act" for cap in caps)
