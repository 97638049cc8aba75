"""One segment file being written.

Nothing here is safe for two threads at once: the writer's lock guards it. Any call may raise OSError;
the segment is then to be abandoned, never written to again.
"""

import contextlib
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

from daq.journal.files import Fs, StoreFile
from daq.journal.format import (
    Mark,
    RecordType,
    Seal,
    SegmentHeader,
    encode_record,
    pad_length,
)


class Pending(NamedTuple):
    """A numbered content record on its way to the disk."""

    kind: int
    seq: int
    host_ns: int
    body: bytes
    flags: int = 0


class Synced(NamedTuple):
    """Everything numbered below `seq` is on the medium, in `segment` up to `offset` or before it."""

    segment: str
    offset: int
    seq: int


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
