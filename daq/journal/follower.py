"""Follow a journal while it is being written, across its segments: the reader of every live chart.

It opens files read-only and unbuffered, never trusts a file size, stops at the first record that
does not verify and tries it again at the next poll. Only where the writer says that it has synced
further, or where a later segment exists, is such a place damage: then reading resumes behind it.
"""

from bisect import bisect_right
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import JournalError
from daq.journal.format import HEADER_LEN, RecordFlag, RecordType, SegmentHeader, ordinal_of
from daq.journal.recover import (
    Damage,
    LostSegment,
    Record,
    end_of,
    segment_files,
    standby_files,
    walk,
)

if TYPE_CHECKING:
    from io import FileIO

CHUNK: Final = 4 << 20
"""Bytes per poll at most; more than the longest record, so that every poll gets on."""


class Follower:
    """Not for two threads at once. `damage` and `lost` grow as they are found; the caller shows them."""

    def __init__(self, folder: Path, *, newest: bool = False) -> None:
        """Begin with the first segment of `folder`, or with the `newest`; there need not be one yet."""
        self._folder = folder
        self._newest = newest
        self._file: FileIO | None = None
        self._header: SegmentHeader | None = None
        self._journal_id: bytes | None = None
        self._name = ""
        self._at = 0
        self._expected = 0
        self._sealed = False
        self._seen = NumberRanges()
        self.damage: list[Damage] = []
        self.lost: list[LostSegment] = []

    @property
    def position(self) -> tuple[str, int]:
        """Segment and offset up to which everything has been read."""
        return self._name, self._at

    def poll(self, synced_to: tuple[str, int] | None = None) -> list[Record]:
        """Content records that have come since the last poll, each number once; at most 4 MiB a time.

        `synced_to` is the segment and offset that the newest status names as safe on the medium.
        Never raises on what it reads; a folder that is not there yet has no records.
        """
        out: list[Record] = []
        budget = CHUNK
        while budget > 0:
            if self._header is None and not self._open_next():
                break
            taken = self._read(out, synced_to)
            budget -= taken
            if taken == 0 and not self._pass_on(out):
                break
        return out

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
        self._file = self._header = None

    def _read(self, out: list[Record], synced_to: tuple[str, int] | None) -> int:
        """Take what verifies; how many bytes that was."""
        start, data = self._at, self._bytes(CHUNK)
        if synced_to is not None and synced_to[0] == self._name and synced_to[1] > start:
            safe = synced_to[1] - start
            if len(data) >= safe:
                self._take(data[:safe], out, resync=True)
                data = data[self._at - start :]
        self._take(data, out, resync=False)
        return self._at - start

    def _bytes(self, limit: int = -1) -> bytes:
        if self._file is None:
            return b""
        try:
            self._file.seek(self._at)
            return self._file.read(limit) or b""
        except OSError:
            return b""

    def _take(self, data: bytes, out: list[Record], *, resync: bool) -> None:
        assert self._header is not None
        where = {"base": self._at, "expected": self._expected}
        for item in walk(data, self._header, self._at, name=self._name, resync=resync, **where):
            if isinstance(item, Damage):
                self.damage.append(item)
                self._at = max(self._at, item.end)
                continue
            self._at = end_of(item)
            self._expected = item.seq + item.is_content
            self._sealed = item.kind == RecordType.SEAL
            if item.is_content and self._is_new(item):
                out.append(item)

    def _is_new(self, record: Record) -> bool:
        """A repeated copy counts only if its number never came; two different records both count."""
        return self._seen.add(record.seq) or not record.flags & RecordFlag.REPEATED

    def _pass_on(self, out: list[Record]) -> bool:
        """Nothing more verifies here: if a later segment exists, finish this one and go there.

        The later one was seen first and this one read to its end afterwards, so nothing that the
        writer put here before it went on can be overlooked.
        """
        if self._header is None or self._later(self._header.ordinal)[1] is None:
            return False
        if not self._sealed:
            self._take(self._bytes(), out, resync=True)
        ordinal = self._header.ordinal
        self.close()
        return self._open_next(ordinal)

    def _open_next(self, after: int = -1) -> bool:
        skipped, found = self._later(after)
        if found is None:
            return False
        path, header = found
        try:
            self._file = path.open("rb", buffering=0)
        except OSError:
            return False
        if after >= 0:
            known = {item.segment[:8] for item in skipped}
            absent = (f"{n:08d}" for n in self._absent(after, header.ordinal))
            skipped += [
                LostSegment(n, 0, "is not in this folder") for n in absent if n not in known
            ]
        self.lost += skipped
        self._header, self._name, self._newest = header, path.name, False
        self._journal_id = header.journal_id
        self._at, self._expected, self._sealed = HEADER_LEN, 0, False
        return True

    def _absent(self, after: int, found: int) -> list[int]:
        """Ordinals between the two that are not here, other than idle ones dropped on purpose."""
        gone = (
            {each.ordinal for each in standby_files(self._folder)[0]} if found > after + 1 else ()
        )
        return [ordinal for ordinal in range(after + 1, found) if ordinal not in gone]

    def _later(self, after: int) -> tuple[list[LostSegment], tuple[Path, SegmentHeader] | None]:
        """The next readable segment with a higher ordinal, and the unreadable ones before it."""
        skipped: list[LostSegment] = []
        for path in self._candidates(after):
            try:
                with path.open("rb", buffering=0) as file:
                    header = SegmentHeader.unpack(file.read(HEADER_LEN) or b"")
                    size = path.stat().st_size
            except OSError as error:
                skipped.append(LostSegment(path.name, 0, f"cannot be read: {error.strerror}"))
            except ValueError as error:
                with suppress(OSError):
                    size = path.stat().st_size
                    skipped.append(LostSegment(path.name, size, str(error)))
            else:
                if self._journal_id in (None, header.journal_id) and header.ordinal > after:
                    return skipped, (path, header)
                skipped.append(LostSegment(path.name, size, "belongs to another journal"))
        return skipped, None

    def _candidates(self, after: int) -> list[Path]:
        try:
            files = segment_files(self._folder)
        except JournalError:
            return []
        later = [path for path in files if (ordinal_of(path.name) or 0) > after or after < 0]
        return later[::-1] if self._newest else later


class NumberRanges:
    """Which numbers have come, as ranges: an unbroken row of numbers costs no memory."""

    def __init__(self) -> None:
        self._starts: list[int] = []
        self._stops: list[int] = []

    def add(self, number: int) -> bool:
        """Note a number; False if it was there."""
        starts, stops = self._starts, self._stops
        at = bisect_right(starts, number) - 1
        if at >= 0 and number < stops[at]:
            return False
        if at >= 0 and number == stops[at]:
            stops[at] += 1
        else:
            at += 1
            starts.insert(at, number)
            stops.insert(at, number + 1)
        if at + 1 < len(starts) and stops[at] == starts[at + 1]:
            del stops[at], starts[at + 1]
        return True
