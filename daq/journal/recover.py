"""Read a journal back, whole or torn: pure over bytes, plus a thin walk through a folder.

Any bytes in: no exception, no record that was not written, and reading resumes at the first record
behind the damage. Nothing is repaired in place. Everything that is not there is reported: bytes that
do not verify, numbers that are missing, segments that cannot be read.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from struct import Struct
from typing import Any, Final, NamedTuple
from zlib import crc32

from daq.errors import JournalError
from daq.journal.format import (
    ALIGN,
    FIRST_SEQ,
    HEADER_LEN,
    LAYOUT,
    RECORD_HEAD_LEN,
    SUFFIX,
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


class LostSegment(NamedTuple):
    """A segment of which nothing could be used: `nbytes` is 0 where the file itself is missing."""

    segment: str
    nbytes: int
    why: str


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A whole journal. `records` are the content records in the order of their numbers, each once.

    `missing` are ranges of numbers, first and one behind the last. `conflicts` are numbers under
    which two different records verify: both are in `records`. `findings` are sentences about the
    order of the segments. Nothing of this stops a reader.
    """

    segments: tuple[SegmentReading, ...]
    records: tuple[Record, ...]
    damage: tuple[Damage, ...]
    lost: tuple[LostSegment, ...]
    missing: tuple[tuple[int, int], ...]
    conflicts: tuple[int, ...]
    findings: tuple[str, ...]
    next_seq: int

    @property
    def is_whole(self) -> bool:
        """Nothing is missing, damaged, contradictory or out of order."""
        return not (self.damage or self.lost or self.missing or self.conflicts or self.findings)

    @property
    def missing_count(self) -> int:
        return sum(stop - start for start, stop in self.missing)

    def of_kind(self, kind: int) -> Iterator[Record]:
        return (record for record in self.records if record.kind == kind)


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


def segment_files(folder: Path) -> list[Path]:
    """The segment files of a journal folder, a run folder or a site; JournalError if there is none.

    A folder without segments of its own stands for its `journal` folder.
    """
    try:
        names = sorted(path for path in folder.iterdir() if path.suffix == SUFFIX)
        inner = folder / "journal"
        if not names and inner.is_dir():
            names = sorted(path for path in inner.iterdir() if path.suffix == SUFFIX)
    except OSError as error:
        raise JournalError(f"{folder}: cannot be read as a journal: {error.strerror}") from error
    return names


def read_folder(folder: Path, *, newest: int | None = None) -> Reading:
    """Read a journal (or only its `newest` segments); JournalError if the folder cannot be listed.

    A missing journal is an empty reading. A file that cannot be read is a lost segment.
    """
    files = segment_files(folder)
    return join(_read_file(path) for path in (files if newest is None else files[-newest:]))


def _read_file(path: Path) -> SegmentReading:
    try:
        data = path.read_bytes()
    except OSError as error:
        return SegmentReading(name=path.name, header=None, why=f"cannot be read: {error.strerror}")
    return read_segment(data, path.name)


def join(readings: Iterable[SegmentReading]) -> Reading:
    """One journal out of its segments, in any order; segments of another journal count as lost."""
    every = list(readings)
    ours, lost = _own_segments(every)
    findings = [*_chain(ours, lost)]
    records, conflicts = _first_copies(ours)
    next_seq = max((segment.next_seq for segment in ours), default=0) or FIRST_SEQ
    from_start = bool(ours and ours[0].header and ours[0].header.ordinal == 0)
    first = FIRST_SEQ if from_start else (records[0].seq if records else next_seq)
    return Reading(
        segments=tuple(ours),
        records=tuple(records),
        damage=tuple(damage for segment in ours for damage in segment.damage),
        lost=tuple(lost),
        missing=tuple(_gaps(records, first, next_seq)),
        conflicts=tuple(conflicts),
        findings=tuple(findings),
        next_seq=next_seq,
    )


def _own_segments(every: list[SegmentReading]) -> tuple[list[SegmentReading], list[LostSegment]]:
    """Segments of the journal that most files belong to, by ordinal; the others as lost."""
    counts: dict[bytes, int] = {}
    for segment in every:
        if segment.header:
            counts[segment.header.journal_id] = counts.get(segment.header.journal_id, 0) + 1
    journal_id = max(counts, key=lambda key: counts[key], default=b"")
    ours: list[SegmentReading] = []
    lost: list[LostSegment] = []
    for segment in every:
        if segment.header is None:
            lost.append(LostSegment(segment.name, segment.length, segment.why))
        elif segment.header.journal_id != journal_id:
            lost.append(LostSegment(segment.name, segment.length, "belongs to another journal"))
        else:
            ours.append(segment)
    return sorted(ours, key=_place), lost


def _place(segment: SegmentReading) -> tuple[int, int, str]:
    assert segment.header is not None
    return segment.header.ordinal, segment.header.utc_ns, segment.name


def _chain(ours: list[SegmentReading], lost: list[LostSegment]) -> Iterator[str]:
    """Sentences about segments that do not follow each other; adds the absent ones to `lost`."""
    before: SegmentReading | None = None
    for segment in ours:
        assert segment.header is not None
        if segment.name != segment.header.name:
            yield f"{segment.name}: its header says that its name is {segment.header.name}"
        if before is not None:
            yield from _follows(before, segment, lost)
        before = segment


def _follows(
    before: SegmentReading, segment: SegmentReading, lost: list[LostSegment]
) -> Iterator[str]:
    assert before.header is not None
    assert segment.header is not None
    absent = range(before.header.ordinal + 1, segment.header.ordinal)
    known = {item.segment[:8] for item in lost}
    lost.extend(
        LostSegment(f"{ordinal:08d}", 0, "is not in this folder")
        for ordinal in absent
        if f"{ordinal:08d}" not in known
    )
    if absent:
        return
    if segment.header.previous_id != before.header.segment_id:
        yield f"{segment.name}: does not continue {before.name}"
    elif before.end < segment.header.previous_end:
        cut = segment.header.previous_end - before.end
        yield f"{before.name}: {cut} bytes at its end were there when the next one was begun"


def _first_copies(ours: list[SegmentReading]) -> tuple[list[Record], list[int]]:
    kept: list[Record] = []
    first: dict[int, Record] = {}
    conflicts: set[int] = set()
    for segment in ours:
        for record in segment.records:
            if record.kind in LAYOUT:
                continue
            copy = first.setdefault(record.seq, record)
            if copy is not record:
                if _same(copy, record):
                    continue
                conflicts.add(record.seq)
            kept.append(record)
    kept.sort(key=lambda record: record.seq)
    return kept, sorted(conflicts)


def _same(one: Record, other: Record) -> bool:
    return (one.kind, one.host_ns, one.body) == (other.kind, other.host_ns, other.body)


def _gaps(records: list[Record], first: int, stop: int) -> Iterator[tuple[int, int]]:
    expected = first
    for record in records:
        if record.seq > expected:
            yield expected, record.seq
        expected = max(expected, record.seq + 1)
    if stop > expected:
        yield expected, stop
