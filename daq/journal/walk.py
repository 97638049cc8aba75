"""Read the records of one segment out of its bytes, whole or torn; pure.

Any bytes in: no exception, no record that was not written, and reading resumes at the first record
behind the damage. What is in a whole folder of segments is `recover`'s business.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from struct import Struct
from typing import Any, Final, NamedTuple
from zlib import crc32

from daq.journal.format import (
    ALIGN,
    HEADER_LEN,
    LAYOUT,
    RECORD_HEAD_LEN,
    SYNC_BYTES,
    RecordType,
    Seal,
    SegmentHeader,
    decode_head,
    padded,
)

_OFFSET: Final = Struct("<Q")
_CRC_AT: Final = RECORD_HEAD_LEN - 4


class Record(NamedTuple):
    """One verified record. `kind` is a RecordType, or a plain int that this version does not know.

    `seq` numbers the content records through the whole journal without a gap; `ordinal` and
    `offset` say which segment and byte it was read from. `host_ns`: host monotonic clock.
    """

    kind: int
    flags: int
    seq: int
    host_ns: int
    body: bytes
    ordinal: int
    offset: int

    @property
    def is_content(self) -> bool:
        return self.kind not in LAYOUT

    def json(self) -> Any:
        """The body of a FACT, STATUS, WISH, CONFIG, CLOCK, RUN or LOSS; ValueError if it is not JSON."""
        return json.loads(self.body)


class Damage(NamedTuple):
    """Bytes `start` to `end` (exclusive) of a segment file that cannot be trusted.

    `missing` are the numbers lost there, first and one behind the last; None where the next record
    does not tell.
    """

    segment: str
    start: int
    end: int
    why: str
    missing: tuple[int, int] | None = None

    @property
    def nbytes(self) -> int:
        return self.end - self.start


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentReading:
    """What one segment file holds; `records` includes PAD, MARK and SEAL; `end` is where data stop."""

    name: str
    header: SegmentHeader | None
    records: tuple[Record, ...] = ()
    damage: tuple[Damage, ...] = ()
    length: int = 0
    end: int = 0
    why: str = ""

    @property
    def seal(self) -> Seal | None:
        """The totals that closed the segment; None if it was never closed."""
        if self.records and self.records[-1].kind == RecordType.SEAL:
            return Seal.unpack(self.records[-1].body)
        return None

    @property
    def next_seq(self) -> int:
        """One more than the highest content number known to this segment; 0 if none is."""
        return max((r.seq + r.is_content for r in self.records), default=0)


class Cursor:
    """Reads records of one segment out of a piece of it that begins at file offset `base`."""

    def __init__(self, data: bytes, header: SegmentHeader, base: int = 0) -> None:
        self._data = data
        self._base = base
        self._ordinal = header.ordinal
        self._segment_crc = crc32(header.segment_id)

    def at(self, offset: int) -> Record | None:
        """The record that verifies at file offset `offset`; None if there is none."""
        data, at = self._data, offset - self._base
        head = decode_head(data, at)
        if head is None:
            return None
        start = at + RECORD_HEAD_LEN
        body = data[start : start + head.length]
        if len(body) != head.length:
            return None
        seed = crc32(_OFFSET.pack(offset), self._segment_crc)
        if crc32(body, crc32(data[at : at + _CRC_AT], seed)) != head.crc:
            return None
        return Record(head.kind, head.flags, head.seq, head.host_ns, body, self._ordinal, offset)

    def search(self, offset: int) -> Record | None:
        """The first record that verifies at or after `offset`, at a multiple of 8."""
        at = self._data.find(SYNC_BYTES, offset - self._base)
        while at >= 0:
            if (self._base + at) % ALIGN == 0:
                record = self.at(self._base + at)
                if record is not None:
                    return record
            at = self._data.find(SYNC_BYTES, at + 1)
        return None

    def filling_is_zero(self, record: Record) -> bool:
        """The bytes that align the record, as far as they are there, are zeros."""
        start = record.offset - self._base + RECORD_HEAD_LEN + len(record.body)
        return not any(self._data[start : end_of(record) - self._base])


def end_of(record: Record) -> int:
    """File offset behind a record and its alignment."""
    return record.offset + padded(len(record.body))


def read_segment(data: bytes, name: str = "") -> SegmentReading:
    """Everything that verifies in the bytes of one segment file, and what does not."""
    try:
        header = SegmentHeader.unpack(data)
    except ValueError as error:
        return SegmentReading(name=name, header=None, length=len(data), why=str(error))
    name = name or header.name
    found = list(walk(data, header, HEADER_LEN, name=name))
    records = tuple(item for item in found if isinstance(item, Record))
    end = end_of(records[-1]) if records else HEADER_LEN
    return SegmentReading(
        name=name,
        header=header,
        records=records,
        damage=tuple(item for item in found if isinstance(item, Damage)),
        length=len(data),
        end=min(end, len(data)),
    )


def walk(
    data: bytes,
    header: SegmentHeader,
    at: int,
    *,
    base: int = 0,
    expected: int = 0,
    name: str = "",
    resync: bool = True,
) -> Iterator[Record | Damage]:
    """Records and damage of a segment in file order, from file offset `at`; `data` begins at `base`.

    `expected` is the number the next record should carry, 0 if that is not known. Without `resync`
    it ends at the first record that does not verify: what stands there may still be being written.
    """
    cursor = Cursor(data, header, base)
    stop = base + len(data)
    while at < stop:
        record = cursor.at(at)
        if record is None:
            if not resync:
                return
            record = cursor.search(at + ALIGN)
            end = record.offset if record else stop
            why = _why(data[at - base : end - base])
            yield Damage(name, at, end, why, _between(expected, record))
            if record is None:
                return
        if not cursor.filling_is_zero(record):
            start = record.offset + RECORD_HEAD_LEN + len(record.body)
            yield Damage(name, start, min(end_of(record), stop), "filling is not zero")
        yield record
        at = end_of(record)
        expected = record.seq + record.is_content


def _why(piece: bytes) -> str:
    return "bytes that do not verify" if any(piece) else "zeros where records should be"


def _between(expected: int, record: Record | None) -> tuple[int, int] | None:
    if record is None or not expected or record.seq <= expected:
        return None
    return expected, record.seq
