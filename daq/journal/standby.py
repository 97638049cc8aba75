"""What is kept of an idle segment when it is dropped: its facts whole, its samples as rows; pure.

A `.standby` file is text, one JSON object a line. The first names the segment; then each FACT, WISH,
CLOCK, LOSS and RUN, and one row per second and group with the count, the lowest, the mean and the
highest raw count of each channel; the last is the sha256 of all bytes before it. A file whose sum is
right proves that its segment was dropped on purpose.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Final

from daq.journal.format import RecordFlag, RecordType, SegmentHeader
from daq.journal.tap import WireTap
from daq.journal.walk import SegmentReading
from firmware_protocol.link import Received
from firmware_protocol.messages_board import Identity, Samples

STANDBY: Final = ".standby"
KEPT: Final = frozenset(
    {
        RecordType.FACT,
        RecordType.WISH,
        RecordType.CLOCK,
        RecordType.LOSS,
        RecordType.RUN,
        RecordType.CONFIG,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standby:
    """A dropped segment: `numbers` are its content numbers, first and one behind the last."""

    segment: str
    journal_id: str
    ordinal: int
    numbers: tuple[int, int]
    facts: tuple[dict[str, Any], ...]
    rows: tuple[dict[str, Any], ...]
    text: str


@dataclass(slots=True)
class Second:
    """One second of one group, by the board's ticks."""

    n: int = 0
    low: list[int] = field(default_factory=list)
    total: list[int] = field(default_factory=list)
    high: list[int] = field(default_factory=list)

    def take(self, rows: list[tuple[int, ...]]) -> None:
        columns = list(zip(*rows, strict=True))
        if not self.n:
            self.low, self.high = [c[0] for c in columns], [c[0] for c in columns]
            self.total = [0] * len(columns)
        self.n += len(rows)
        for at, column in enumerate(columns):
            self.low[at] = min(self.low[at], *column)
            self.high[at] = max(self.high[at], *column)
            self.total[at] += sum(column)

    def as_json(self) -> dict[str, Any]:
        mean = [round(total / self.n, 3) for total in self.total]
        return {"n": self.n, "min": self.low, "mean": mean, "max": self.high}


def condense(segment: SegmentReading, tap: WireTap | None = None) -> str:
    """The text that stands for this segment from now on; it has a header, ValueError if not."""
    header = segment.header
    if header is None:
        raise ValueError(f"{segment.name}: has no header")
    lines = [_line(_head(segment, header))]
    for record in segment.records:
        if record.kind in KEPT and not record.flags & RecordFlag.CARRIED:
            word = RecordType(record.kind).name
            said = {"kind": word, "seq": record.seq, "host_ns": record.host_ns}
            lines.append(_line(said | {"body": record.body.decode("utf-8", "replace")}))
    lines += [_line(row) for row in _rows(segment, tap or WireTap())]
    return _closed(lines)


def rewritten(text: str, journal_id: bytes) -> str:
    """The same remainder in a copy of the journal that has an identity of its own."""
    head, *rest, _ = text.splitlines()
    return _closed([_line(json.loads(head) | {"journal_id": journal_id.hex()}), *rest])


def _closed(lines: list[str]) -> str:
    text = "\n".join(lines) + "\n"
    return text + _line({"sha256": sha256(text.encode()).hexdigest()}) + "\n"


def _head(segment: SegmentReading, header: SegmentHeader) -> dict[str, Any]:
    content = [record.seq for record in segment.records if record.is_content]
    return {
        "standby": segment.name,
        "journal_id": header.journal_id.hex(),
        "segment_id": header.segment_id.hex(),
        "ordinal": header.ordinal,
        "numbers": [min(content, default=segment.next_seq), segment.next_seq],
        "utc_ns": header.utc_ns,
        "host_ns": header.host_ns,
        "bytes": segment.length,
    }


def _rows(segment: SegmentReading, tap: WireTap) -> Iterator[dict[str, Any]]:
    """In order of boot, group and second."""
    hz, nonce = 1_000_000, 0
    seconds: dict[tuple[int, int, int], Second] = {}
    for record in segment.records:
        for event in tap.take(record):
            if not isinstance(event, Received):
                continue
            if isinstance(event.message, Identity):
                hz, nonce = event.message.tick_hz, event.message.boot_nonce
            elif isinstance(event.message, Samples) and event.message.n:
                block = event.message
                key = (nonce, block.group, block.tick // hz)
                seconds.setdefault(key, Second()).take(list(block.rows()))
    for (boot, group, second), found in sorted(seconds.items()):
        yield {"boot": boot, "group": group, "second": second} | found.as_json()


def _line(what: dict[str, Any]) -> str:
    return json.dumps(what, sort_keys=True, separators=(",", ":"))


def read_standby(text: str) -> Standby:
    """ValueError if it is not whole."""
    body, _, last = text.rstrip("\n").rpartition("\n")
    body += "\n"
    if json.loads(last).get("sha256") != sha256(body.encode()).hexdigest():
        raise ValueError("its sum is wrong")
    head, *rest = [json.loads(line) for line in body.splitlines()]
    return Standby(
        segment=str(head["standby"]),
        journal_id=str(head["journal_id"]),
        ordinal=int(head["ordinal"]),
        numbers=(int(head["numbers"][0]), int(head["numbers"][1])),
        facts=tuple(each for each in rest if "kind" in each),
        rows=tuple(each for each in rest if "second" in each),
        text=text,
    )


def without(gaps: Iterable[tuple[int, int]], dropped: Iterable[Standby]) -> list[tuple[int, int]]:
    """What of these ranges of numbers is not explained by segments that were dropped."""
    left = list(gaps)
    for start, stop in (each.numbers for each in dropped):
        left = [
            piece
            for a, b in left
            for piece in ((a, min(b, start)), (max(a, stop), b))
            if piece[0] < piece[1]
        ]
    return left
