"""The row of segments: where a journal goes on after a start, and the header of each next segment."""

import os
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

from daq.errors import JournalError
from daq.journal.files import Fs
from daq.journal.format import FIRST_SEQ, LAST_SEQ, SegmentFlag, SegmentHeader, ordinal_of
from daq.journal.recover import SegmentReading, read_segment, segment_files
from daq.journal.segment import HeaderUnsyncedError, OpenSegment


@dataclass(frozen=True, slots=True, kw_only=True)
class Continuation:
    """Where a journal goes on: `journal_id` is None for a new one; `unclean` tells a torn end."""

    journal_id: bytes | None = None
    ordinal: int = 0
    previous_id: bytes = bytes(16)
    previous_end: int = 0
    next_seq: int = FIRST_SEQ
    rehearsal: bool | None = None
    unclean: str | None = None


def continuation(folder: Path) -> Continuation:
    """Find the newest readable segment of a journal. JournalError if the numbers are used up."""
    files = segment_files(folder) if folder.is_dir() else []
    names = [ordinal_of(path.name) for path in files]
    ordinal = max((number + 1 for number in names if number is not None), default=0)
    found = Continuation(ordinal=ordinal)
    for path in reversed(files):
        reading = _read(path)
        if reading.header is None:
            continue
        if found.journal_id is None:
            found = _after(reading, reading.header, ordinal)
        if reading.next_seq:
            return _numbered(found, reading.next_seq)
    return found


def _read(path: Path) -> SegmentReading:
    try:
        return read_segment(path.read_bytes(), path.name)
    except OSError as error:
        return SegmentReading(name=path.name, header=None, why=str(error.strerror))


def _after(reading: SegmentReading, header: SegmentHeader, ordinal: int) -> Continuation:
    tail = reading.length - reading.end
    return Continuation(
        journal_id=header.journal_id,
        ordinal=max(ordinal, header.ordinal + 1),
        previous_id=header.segment_id,
        previous_end=reading.end,
        rehearsal=header.is_rehearsal,
        unclean=None if reading.seal else f"{reading.name} was not closed; {tail} torn bytes",
    )


def _numbered(found: Continuation, next_seq: int) -> Continuation:
    if next_seq > LAST_SEQ:
        raise JournalError("the record numbers of this journal are used up: begin a new folder")
    return replace(found, next_seq=next_seq)


class SegmentChain:
    """Opens one segment after the other in `folder`, each naming the one before it."""

    def __init__(
        self,
        fs: Fs,
        folder: Path,
        *,
        rehearsal: bool,
        boot_id: str,
        host_ns: Callable[[], int],
        utc_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self._fs = fs
        self._folder = folder
        self._rehearsal = rehearsal
        self._boot_hash = int.from_bytes(sha256(boot_id.encode()).digest()[:8], "little")
        self._host_ns = host_ns
        self._utc_ns = utc_ns
        self._journal_id = os.urandom(16)
        self._next = Continuation()
        self._has_folder = False

    def resume(self) -> Continuation:
        """Look where the folder's journal ends. JournalError if it is of the other kind or used up."""
        found = continuation(self._folder)
        if found.rehearsal is not None and found.rehearsal != self._rehearsal:
            kinds = ("a real stand", "a rehearsal")
            raise JournalError(
                f"{self._folder}: holds the journal of {kinds[found.rehearsal]}, "
                f"expected one of {kinds[self._rehearsal]}: use its own site folder"
            )
        self._next = found
        self._journal_id = found.journal_id or self._journal_id
        return found

    def header(self) -> SegmentHeader:
        """The header that the next segment would have."""
        return SegmentHeader(
            journal_id=self._journal_id,
            segment_id=os.urandom(16),
            ordinal=self._next.ordinal,
            flags=int(SegmentFlag.REHEARSAL) if self._rehearsal else 0,
            previous_id=self._next.previous_id,
            previous_end=self._next.previous_end,
            utc_ns=self._utc_ns(),
            host_ns=self._host_ns(),
            boot_hash=self._boot_hash,
        )

    def open(self) -> OpenSegment:
        """The next segment, its header and name on the medium. OSError if the disk refuses."""
        header = self.header()
        if not self._has_folder:
            self._fs.make_folder(self._folder)
            self._has_folder = True  # never again: a stick that was pulled must not become a folder
        try:
            segment = OpenSegment(self._fs, self._folder, header)
        except HeaderUnsyncedError:
            self._use_up(header)
            raise
        self._use_up(header)
        return segment

    def ended_at(self, offset: int) -> None:
        """How far the segment opened last is known to be on the medium."""
        self._next = replace(self._next, previous_end=offset)

    def _use_up(self, header: SegmentHeader) -> None:
        self._next = replace(
            self._next,
            ordinal=header.ordinal + 1,
            previous_id=header.segment_id,
            previous_end=0,
        )
