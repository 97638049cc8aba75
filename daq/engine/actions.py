"""What the core wants done: it returns these, in order, and somebody else does them.

Sends come first in every step, records after them: act first, record second.
"""

import json
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from daq.journal.format import RecordType

Lane = Literal["urgent", "ordered", "periodic"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Send:
    """Bytes for the board. `key` names the slot of a periodic frame."""

    data: bytes
    lane: Lane = "ordered"
    key: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One journal record."""

    kind: RecordType
    body: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """The answer to one wish."""

    client: int
    ok: bool
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Publish:
    """The newest status, one JSON line."""

    line: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """Something outside the core: "sync" (period), "rotate" (allowed), "step", "figures", "copy", "run over"."""

    what: Literal["sync", "rotate", "config", "step", "figures", "copy", "run over"]
    value: float = 0.0
    client: int = 0


Action = Send | Record | Reply | Publish | Ask

BODY_ENCODER: Final = json.JSONEncoder(separators=(",", ":"), sort_keys=True, ensure_ascii=False)


def body(data: dict[str, Any]) -> bytes:
    """Canonical JSON of a record body."""
    return BODY_ENCODER.encode(data).encode()


@dataclass(slots=True)
class Outbox:
    """Collects the actions of one step."""

    sends: list[Send] = field(default_factory=list)
    rest: list[Action] = field(default_factory=list)

    def send(self, data: bytes, lane: Lane = "ordered", key: str = "") -> None:
        self.sends.append(Send(data=data, lane=lane, key=key))

    def record(self, kind: RecordType, data: dict[str, Any]) -> None:
        self.rest.append(Record(kind=kind, body=body(data)))

    def reply(self, client: int, text: str = "") -> None:
        """An empty text is yes, a sentence is no and why."""
        self.rest.append(Reply(client=client, ok=not text, text=text))

    def ask(self, ask: Ask) -> None:
        self.rest.append(ask)

    def take(self) -> list[Action]:
        actions: list[Action] = [*self.sends, *self.rest]
        self.sends, self.rest = [], []
        return actions
