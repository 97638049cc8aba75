"""One segment file being written, and where the next one continues.

Nothing here is safe for two threads at once: the writer's lock guards it. Any call may raise OSError;
the segment is then to be abandoned, never written to again.
"""

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from daq.errors import JournalError
from daq.journal.files import Fs, StoreFile
from daq.journal.format import (
    FIRST_SEQ,
    LAST_SEQ,
    Mark,
    RecordType,
    Seal,
    SegmentHeader,
    encode_record,
    ordinal_of,
    pad_length,
)
from daq.journal.recover import SegmentReading, read_segment, segment_files


class Pending(NamedTuple):
    """A numbered content record on its way to the disk."""

    kind: int
    seq: int
    host_ns: int
    body: bytes
    flags: int = 0


class HeaderUnsyncedError(OSError):
    """The header was written but not synced: the segment exists and its ordinal is used up."""


class OpenSegment:
    """A segment whose header and name are on the medium; records are appended to it until sealed."""

    def __init__(self, fs: Fs, folder: Path, header: SegmentHeader) -> None:
        self.header = header
        self.name = header.name
        self.offset = 0
        self._records = 0
        self._marked_at = 0
        self._since_mark = sha256()
        self._whole = sha256()
        path = folder / self.name
        self._file: StoreFile = fs.create(path)
        try:
            self._write(header.pack())
        except OSError:
            self.abandon()
            with contextlib.suppress(OSError):
                fs.discard(path)
            raise
        try:
            self._file.sync()
            fs.sync_folder(folder)
        except OSError as error:
            self.abandon()
            raise HeaderUnsyncedError(error.errno, error.strerror) from error

    def append(self, records: Sequence[Pending], flags: int = 0) -> None:
        """Write these records behind each other in one call."""
        piece = bytearray()
        for kind, seq, host_ns, body, own in records:
            at = self.offset + len(piece)
            piece += encode_record(
                kind, body, seq, host_ns, self.header.segment_id, at, own | flags
            )
        self._write(bytes(piece))
        self._records += len(records)

    def mark(self, next_seq: int, host_ns: int, tick: int, first_index: int) -> None:
        """MARK, and PAD up to a block boundary, so that no later write touches a synced block."""
        body = Mark(self._marked_at, next_seq, tick, first_index, self._since_mark.digest()).pack()
        at = self.offset
        self._since_mark = sha256()
        piece = self._layout(RecordType.MARK, body, next_seq, host_ns, at)
        length = pad_length(at + len(piece))
        if length is not None:
            zeros = bytes(length)
            piece += self._layout(RecordType.PAD, zeros, next_seq, host_ns, at + len(piece))
        self._write(piece)
        self._marked_at = at

    def seal(self, next_seq: int, host_ns: int) -> None:
        """Totals of the segment; nothing may be appended behind them."""
        next_ordinal = self.header.ordinal + 1
        body = Seal(self._records, next_ordinal, self.offset, self._whole.digest()).pack()
        self._write(self._layout(RecordType.SEAL, body, next_seq, host_ns, self.offset))

    def sync(self) -> None:
        self._file.sync()

    def close(self) -> None:
        self._file.close()

    def abandon(self) -> None:
        """Let go of the file, whatever its state."""
        with contextlib.suppress(OSError):
            self._file.close()

    def _layout(self, kind: int, body: bytes, seq: int, host_ns: int, at: int) -> bytes:
        return encode_record(kind, body, seq, host_ns, self.header.segment_id, at)

    def _write(self, piece: bytes) -> None:
        """All of it. A short write is followed up once per rest; no progress at all is an error."""
        rest = memoryview(piece)
        while rest:
            taken = self._file.write(bytes(rest) if len(rest) < len(piece) else piece)
            if taken <= 0:
                raise OSError(None, "the disk takes no more data")
            rest = rest[taken:]
        self.offset += len(piece)
        self._whole.update(piece)
        self._since_mark.update(piece)


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
    return Continuation(
        journal_id=found.journal_id,
        ordinal=found.ordinal,
        previous_id=found.previous_id,
        previous_end=found.previous_end,
        next_seq=next_seq,
        rehearsal=found.rehearsal,
        unclean=found.unclean,
    )
