"""Events of the board: the last 32 are kept and sent again until each is acknowledged."""

from collections import deque
from typing import Final

from firmware_protocol.messages import Event, EventKind
from firmware_protocol.numbers import EVENTS_KEPT

RESEND_MS: Final = 200
RESEND_AT_ONCE: Final = 8


class EventLog:
    """Numbers run from 1 through one boot; a number that never comes was pushed out unacknowledged."""

    def __init__(self, resend_ticks: int) -> None:
        self._resend_ticks = resend_ticks
        self._kept: deque[Event] = deque(maxlen=EVENTS_KEPT)
        self._number = 0
        self._due = 0

    def add(self, tick: int, kind: EventKind, value: int = 0) -> Event:
        self._number += 1
        signed = (value & 0xFFFFFFFF) - (1 << 32 if value & 0x80000000 else 0)
        event = Event(number=self._number, tick=tick, kind=kind, value=signed)
        self._kept.append(event)
        return event

    def acknowledge(self, number: int) -> None:
        for event in self._kept:
            if event.number == number:
                self._kept.remove(event)
                return

    def waiting(self) -> list[Event]:
        return list(self._kept)

    def due(self, tick: int) -> list[Event]:
        """Events to send again now, oldest first, a few at a time."""
        if not self._kept or tick < self._due:
            return []
        self._due = tick + self._resend_ticks
        kept = [e for e in self._kept if tick - e.tick >= self._resend_ticks]
        return kept[:RESEND_AT_ONCE]
