"""Records on their way to the disk: joined, numbered, and kept in memory until a sync has succeeded."""

from collections import deque
from collections.abc import Callable, Iterator
from typing import Final

from daq.journal.format import FIRST_SEQ, RecordType
from daq.journal.segment import Pending

JOIN_NS: Final = 10_000_000
JOINED_BYTES: Final = 64 << 10
MEMORY_BYTES: Final = 256 << 20
"""Two hours of a 36 kB/s stand; a burn is long over by then."""

_STREAMS: Final = frozenset({RecordType.RX, RecordType.TX})
_EXPENDABLE: Final = _STREAMS | {RecordType.STATUS}

Item = tuple[int, bytes, int]
"""What was put: type, body, host nanoseconds."""


class Held:
    """Everything since the last good sync, oldest first. The writer's lock guards it."""

    def __init__(
        self,
        memory_bytes: int = MEMORY_BYTES,
        on_number: Callable[[Pending], None] | None = None,
    ) -> None:
        self._on_number = on_number
        self.next_seq = FIRST_SEQ
        self.nbytes = 0
        self.dropped = 0
        self._memory_bytes = memory_bytes
        self._records: deque[Pending] = deque()

    def __len__(self) -> int:
        return len(self._records)

    def __iter__(self) -> Iterator[Pending]:
        return iter(self._records)

    def number(self, kind: int, body: bytes, host_ns: int, flags: int = 0) -> Pending:
        """Give the next number to a record and keep it."""
        record = Pending(kind, self.next_seq, host_ns, body, flags)
        self.next_seq += 1
        self._records.append(record)
        self.nbytes += len(body)
        if self._on_number is not None:
            self._on_number(record)
        if self.nbytes > self._memory_bytes:
            self._drop_oldest()
        return record

    def release(self, below_seq: int) -> None:
        """Let go of what is on the medium."""
        while self._records and self._records[0].seq < below_seq:
            self.nbytes -= len(self._records.popleft().body)

    def _drop_oldest(self) -> None:
        """Memory is full: the older half of the streams goes, facts stay; `dropped` counts."""
        half = self._records[len(self._records) // 2].seq
        kept = [r for r in self._records if r.seq >= half or r.kind not in _EXPENDABLE]
        self.dropped += len(self._records) - len(kept)
        self._records = deque(kept)
        self.nbytes = sum(len(record.body) for record in kept)


def joined(items: list[Item]) -> list[Item]:
    """Neighbouring wire bytes of one direction and of 10 ms become one record with the first time."""
    out: list[Item] = []
    pieces: list[bytes] = []
    size = 0
    for kind, body, host_ns in items:
        size += len(body)
        fits = pieces and kind == out[-1][0] and size <= JOINED_BYTES
        if fits and 0 <= host_ns - out[-1][2] < JOIN_NS:
            pieces.append(body)
            continue
        _close(out, pieces)
        out.append((kind, body, host_ns))
        pieces, size = ([body] if kind in _STREAMS else []), len(body)
    _close(out, pieces)
    return out


def _close(out: list[Item], pieces: list[bytes]) -> None:
    if len(pieces) > 1:
        kind, _, host_ns = out[-1]
        out[-1] = (kind, b"".join(pieces), host_ns)
