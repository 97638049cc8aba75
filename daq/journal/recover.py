"""Read a journal back, whole or torn: pure over bytes, plus a thin walk through a folder.

Any bytes in: no exception, no record that was not written, and reading resumes at the first record
behind the damage. Nothing is repaired in place. Everything that is not there is reported: bytes that
do not verify, numbers that are missing, segments that cannot be read.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from daq.errors import JournalError
from daq.journal.format import FIRST_SEQ, LAYOUT, SUFFIX
from daq.journal.standby import STANDBY, Standby, read_standby, without
from daq.journal.walk import Damage, Record, SegmentReading, end_of, read_segment, walk

__all__ = ["Damage", "Record", "SegmentReading", "end_of", "read_segment", "walk"]


class LostSegment(NamedTuple):
    """A segment of which nothing could be used: `nbytes` is 0 where the file itself is missing."""

    segment: str
    nbytes: int
    why: str


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
    dropped: tuple[Standby, ...] = ()
    """Idle segments that were dropped on purpose: what was kept of them."""

    @property
    def is_whole(self) -> bool:
        """Nothing is missing, damaged, contradictory or out of order."""
        return not (self.damage or self.lost or self.missing or self.conflicts or self.findings)

    @property
    def missing_count(self) -> int:
        return sum(stop - start for start, stop in self.missing)

    def of_kind(self, kind: int) -> Iterator[Record]:
        return (record for record in self.records if record.kind == kind)


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
    read = [_read_file(path) for path in (files if newest is None else files[-newest:])]
    dropped, bad = standby_files(files[0].parent) if files else ([], [])
    return join(read, dropped, bad)


def standby_files(folder: Path) -> tuple[list[Standby], list[str]]:
    """The remainders of dropped segments in a journal folder, and sentences about bad ones."""
    found, bad = [], []
    for path in sorted(folder.glob(f"*{STANDBY}")):
        try:
            found.append(read_standby(path.read_text(encoding="utf-8")))
        except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
            bad.append(f"{path.name}: what was kept of a dropped segment cannot be read: {error}")
    return found, bad


def _read_file(path: Path) -> SegmentReading:
    try:
        data = path.read_bytes()
    except OSError as error:
        return SegmentReading(name=path.name, header=None, why=f"cannot be read: {error.strerror}")
    return read_segment(data, path.name)


def join(
    readings: Iterable[SegmentReading],
    dropped: Iterable[Standby] = (),
    findings: Iterable[str] = (),
) -> Reading:
    """One journal out of its segments, in any order; segments of another journal count as lost.

    `dropped` are idle segments that are gone on purpose: neither they nor their numbers are missing.
    """
    ours, lost = _own_segments(list(readings))
    gone = [each for each in dropped if ours and each.journal_id == _journal(ours[0])]
    findings = [*findings, *_chain(ours, lost, {each.ordinal for each in gone})]
    records, conflicts = _first_copies(ours)
    next_seq = max((segment.next_seq for segment in ours), default=0) or FIRST_SEQ
    from_start = bool(ours and ours[0].header and ours[0].header.ordinal == 0)
    first = FIRST_SEQ if from_start else (records[0].seq if records else next_seq)
    return Reading(
        segments=tuple(ours),
        records=tuple(records),
        damage=tuple(damage for segment in ours for damage in segment.damage),
        lost=tuple(lost),
        missing=tuple(without(_gaps(records, first, next_seq), gone)),
        conflicts=tuple(conflicts),
        findings=tuple(findings),
        next_seq=next_seq,
        dropped=tuple(gone),
    )


def _journal(segment: SegmentReading) -> str:
    return segment.header.journal_id.hex() if segment.header else ""


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


def _chain(ours: list[SegmentReading], lost: list[LostSegment], gone: set[int]) -> Iterator[str]:
    """Sentences about segments that do not follow each other; adds the absent ones to `lost`."""
    before: SegmentReading | None = None
    for segment in ours:
        assert segment.header is not None
        if segment.name != segment.header.name:
            yield f"{segment.name}: its header says that its name is {segment.header.name}"
        if before is not None:
            yield from _follows(before, segment, lost, gone)
        before = segment


def _follows(
    before: SegmentReading, segment: SegmentReading, lost: list[LostSegment], gone: set[int]
) -> Iterator[str]:
    assert before.header is not None
    assert segment.header is not None
    absent = range(before.header.ordinal + 1, segment.header.ordinal)
    known = {item.segment[:8] for item in lost}
    lost.extend(
        LostSegment(f"{ordinal:08d}", 0, "is not in this folder")
        for ordinal in absent
        if f"{ordinal:08d}" not in known and ordinal not in gone
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
