"""Alarms, events and the last refusal: what the crew is told, in the words of console.md.

An alarm needs an action; without one it is an event. Answering stops the sound, never the alarm:
it stays until its cause is gone and it was answered. From COUNTDOWN to burn-out nothing can be
answered.
"""

from collections import deque
from dataclasses import dataclass, field
from typing import Any, Literal

from daq.procedure.phases import Phase

Rank = Literal["URGENT", "HIGH"]
UNANSWERABLE = frozenset({Phase.COUNTDOWN, Phase.HOLD, Phase.FIRE, Phase.BURNING})


@dataclass(slots=True)
class Alarm:
    """One standing alarm."""

    key: str
    rank: Rank
    what: str
    do: str
    since: str
    active: bool = True
    answered_by: str | None = None

    def to_json(self) -> dict[str, Any]:
        return {
            "rank": self.rank,
            "what": self.what,
            "do": self.do,
            "since": self.since,
            "answered_by": self.answered_by,
        }


@dataclass(slots=True)
class Notices:
    """Everything that is told: alarms by key, the last events, the last refusal."""

    alarms: dict[str, Alarm] = field(default_factory=dict)
    events: deque[tuple[str, str]] = field(default_factory=lambda: deque(maxlen=12))
    refusal: tuple[str, str] | None = None

    def raise_(self, key: str, rank: Rank, what: str, do: str, at: str) -> bool:
        """Raise or renew an alarm; True if it is new."""
        known = self.alarms.get(key)
        if known is not None:
            was_active = known.active
            known.active, known.what, known.do = True, what, do
            return not was_active
        self.alarms[key] = Alarm(key=key, rank=rank, what=what, do=do, since=at)
        return True

    def clear(self, key: str) -> None:
        """The cause is gone; the alarm goes too once it was answered."""
        known = self.alarms.get(key)
        if known is None:
            return
        known.active = False
        if known.answered_by is not None:
            del self.alarms[key]

    def set(self, key: str, rank: Rank, stands: bool, what: str, do: str, at: str) -> bool:
        """Raise while `stands`, clear when not; True if newly raised."""
        if stands:
            return self.raise_(key, rank, what, do, at)
        self.clear(key)
        return False

    def answer(self, phase: Phase, by: str) -> str:
        """Answer the alarm that is shown; why not, or ""."""
        if phase in UNANSWERABLE:
            return "alarms are answered after burn-out; the sound has stopped by itself"
        shown = self.shown()
        if not shown or shown[0].answered_by is not None:
            return "no alarm waits for an answer"
        shown[0].answered_by = by
        if not shown[0].active:
            del self.alarms[shown[0].key]
        return ""

    def shown(self) -> list[Alarm]:
        """Highest rank first, unanswered before answered, then oldest."""
        return sorted(
            self.alarms.values(),
            key=lambda alarm: (alarm.answered_by is not None, alarm.rank != "URGENT"),
        )

    def tell(self, at: str, text: str) -> None:
        self.events.appendleft((at, text))

    def refuse(self, at: str, text: str) -> None:
        self.refusal = (at, text)
