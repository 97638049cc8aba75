"""The only writer of the record: `put` hands over in well under a microsecond and never waits.

Two daemon threads work behind it. The *writer* empties the queue into the file every 10 ms. The
*syncer* marks, pads and syncs every sync period; it alone opens, changes and closes files. When a
write or a sync fails, the segment is abandoned and everything since the last good sync is written
again, from memory, into the next one; when that fails too, the record lives in memory only, the
state says so, and the disk is tried again now and then. The record never stops anything else.
"""

import json
import os
import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Lock, Thread
from typing import Final, Literal, NamedTuple

from daq.errors import JournalError
from daq.journal.files import Fs, RealFs
from daq.journal.format import MAX_BODY, RecordFlag, RecordType, SegmentFlag, SegmentHeader
from daq.journal.segment import (
    Continuation,
    HeaderUnsyncedError,
    OpenSegment,
    Pending,
    continuation,
)

BATCH_S: Final = 0.010
SLOW_SYNC_S: Final = 1.0
FAST_SYNC_S: Final = 0.050
SEGMENT_BYTES: Final = 64 << 20
SEGMENT_S: Final = 600.0
LATE_SYNC_S: Final = 1.0
TRUST_AGAIN_S: Final = 60.0
RETRY_S: Final = 10.0
RETRY_MOST_S: Final = 300.0
MEMORY_BYTES: Final = 256 << 20
JOINED_BYTES: Final = 64 << 10
FREE_SPACE_S: Final = 5.0
DESIGN_RATE: Final = 120_000
"""Bytes per second to reckon free minutes with: 25 kB/s of data and a 4 KiB block 20 times a second."""

_STREAMS: Final = frozenset({RecordType.RX, RecordType.TX})
_EXPENDABLE: Final = _STREAMS | {RecordType.STATUS}
_NS: Final = 1_000_000_000

State = Literal["running", "suspect", "ram only"]
Item = tuple[int, bytes, int]


class Synced(NamedTuple):
    """Everything numbered below `seq` is on the medium, in `segment` up to `offset` or before it."""

    segment: str
    offset: int
    seq: int


class JournalWriter:
    """Appends to the journal in `folder`. `host_ns` is a monotonic clock that no rehearsal step jumps.

    Segments are 64 MiB or 10 min long at most, except that none is changed while `set_may_rotate`
    forbids it and it is not full. `boot_id` names this run of the operating system.
    """

    def __init__(
        self,
        folder: Path,
        *,
        rehearsal: bool,
        utc_ns: Callable[[], int] = time.time_ns,
        host_ns: Callable[[], int] = time.perf_counter_ns,
        boot_id: str = "",
        fs: Fs | None = None,
        segment_bytes: int = SEGMENT_BYTES,
        segment_s: float = SEGMENT_S,
    ) -> None:
        self.folder = folder
        self._flags = int(SegmentFlag.REHEARSAL) if rehearsal else 0
        self._utc_ns = utc_ns
        self._host_ns = host_ns
        self._boot_hash = int.from_bytes(sha256(boot_id.encode()).digest()[:8], "little")
        self._fs: Fs = fs or RealFs()
        self._segment_bytes = segment_bytes
        self._segment_ns = int(segment_s * _NS)

        self._queue: SimpleQueue[Item] = SimpleQueue()
        self._period_s = SLOW_SYNC_S
        self._may_rotate = True
        self._sample = (0, 0)
        self._config: bytes | None = None

        self._lock = Lock()  # guards everything below
        self._journal_id = os.urandom(16)
        self._next = Continuation()
        self._seq = self._next.next_seq
        self._segment: OpenSegment | None = None
        self._broken: OSError | None = None
        self._held: deque[Pending] = deque()
        self._held_bytes = 0
        self._dropped = 0
        self._trouble: list[str] = []
        self._failed_ns: int | None = None
        self._retry_ns = 0
        self._retry_s = RETRY_S
        self._synced = Synced("", 0, 0)
        self._synced_ns = self._written_ns = host_ns()
        self._free_bytes: int | None = None
        self._free_ns = 0

        self._stop = Event()
        self._wake = Event()
        self._threads: list[Thread] = []

    # -- for any thread, never waiting ------------------------------------------------------------

    def put(self, kind: RecordType, body: bytes, host_ns: int) -> None:
        """Hand over one record; the bytes must not change afterwards. ValueError above 1 MiB."""
        if len(body) > MAX_BODY:
            raise ValueError(f"a record body has at most {MAX_BODY} bytes, got {len(body)}")
        if kind is RecordType.CONFIG:
            self._config = body
        self._queue.put((kind, body, host_ns))

    def set_config(self, body: bytes) -> None:
        """The CONFIG that heads every new segment from now on; `put` of a CONFIG sets it too."""
        self._config = body

    def note_sample(self, tick: int, index: int) -> None:
        """The newest sample received, for the next MARK."""
        self._sample = (tick, index)

    def set_sync_period(self, seconds: float) -> None:
        self._period_s = seconds
        self._wake.set()

    def set_may_rotate(self, allowed: bool) -> None:
        self._may_rotate = allowed

    @property
    def state(self) -> State:
        """`suspect`: a failure in the last minute, or the last sync is late. No arming but in `running`."""
        if self._threads and self._segment is None and self._retry_ns:
            return "ram only"
        late = self.synced_ns_ago(self._host_ns()) > (self._period_s + LATE_SYNC_S) * _NS
        return "suspect" if late or self._failed_ns is not None or self._broken else "running"

    @property
    def trouble(self) -> tuple[str, ...]:
        """What failed since the start, a sentence each, oldest first."""
        return tuple(self._trouble)

    @property
    def synced_to(self) -> Synced:
        return self._synced

    def synced_ns_ago(self, now_ns: int) -> int:
        """Everything put up to this long ago is on the medium; `now_ns` by the clock of the writer."""
        return max(0, now_ns - self._synced_ns)

    @property
    def queued_s(self) -> float:
        """How long the oldest record may have been waiting for the writer thread."""
        return max(0, self._host_ns() - self._written_ns) / _NS if self._threads else 0.0

    @property
    def segment_name(self) -> str:
        segment = self._segment
        return segment.name if segment else ""

    @property
    def written_offset(self) -> int:
        """File length of the current segment; 0 while there is none."""
        segment = self._segment
        return segment.offset if segment else 0

    @property
    def next_seq(self) -> int:
        return self._seq

    @property
    def held_bytes(self) -> int:
        """Body bytes in memory that are not on the medium yet."""
        return self._held_bytes

    @property
    def free_bytes(self) -> int | None:
        """Free space of the disk at most some seconds ago; None if it cannot be told."""
        return self._free_bytes

    @property
    def free_min(self) -> float | None:
        """Minutes of recording that fit, at the rate of an armed stand."""
        return None if self._free_bytes is None else self._free_bytes / DESIGN_RATE / 60

    # -- life -------------------------------------------------------------------------------------

    def start(self) -> None:
        """Open a new segment behind what the folder holds, then run the threads.

        JournalError if the folder holds a journal of the other kind (rehearsal or real) or one whose
        numbers are used up. A disk that refuses does not stop the start: the state is `ram only`.
        """
        self._continue()
        self._replace(first=True)
        jobs = (("journal-writer", self._run_writer), ("journal-syncer", self._run_syncer))
        self._threads = [Thread(target=job, name=name, daemon=True) for name, job in jobs]
        for thread in self._threads:
            thread.start()

    def close(self, timeout_s: float = 10.0) -> bool:
        """Write, seal and sync the rest; True if everything ever put is on the medium."""
        self._stop.set()
        self._wake.set()
        for thread in self._threads:
            thread.join(timeout_s)
        done = not any(thread.is_alive() for thread in self._threads)
        self._threads = []
        return done and not self._held and not self._dropped

    def save_held(self, folder: Path) -> int:
        """Write what is in memory only as a closed segment into another folder; how many records.

        For a dead disk: the crew names a second medium after the test. Raises OSError if that fails.
        """
        with self._lock:
            held = list(self._held)
            self._fs.make_folder(folder)
            segment = OpenSegment(self._fs, folder, self._header())
            segment.append(held, RecordFlag.REPEATED)
            segment.seal(self._seq, self._host_ns())
            segment.sync()
            segment.close()
        return len(held)

    # -- the writer thread ------------------------------------------------------------------------

    def _run_writer(self) -> None:
        while not self._stop.wait(BATCH_S):
            with self._lock:
                self._write_out()

    def _write_out(self) -> None:
        """Number everything in the queue, keep it in memory, append it to the file if there is one."""
        now = self._host_ns()
        items = [self._queue.get() for _ in range(self._queue.qsize())]
        fresh = [self._number(*item) for item in joined(items)]
        if fresh and self._segment and not self._broken:
            try:
                self._segment.append(fresh)
            except OSError as error:
                self._broken = error
                self._wake.set()
        self._written_ns = now

    def _number(self, kind: int, body: bytes, host_ns: int, flags: int = 0) -> Pending:
        record = Pending(kind, self._seq, host_ns, body, flags)
        self._seq += 1
        self._held.append(record)
        self._held_bytes += len(body)
        if self._held_bytes > MEMORY_BYTES:
            self._drop_oldest()
        return record

    def _drop_oldest(self) -> None:
        """Memory is full: the older half of the streams goes, facts stay; the next LOSS says so."""
        half = self._held[len(self._held) // 2].seq
        kept = [r for r in self._held if r.seq >= half or r.kind not in _EXPENDABLE]
        self._dropped += len(self._held) - len(kept)
        self._held = deque(kept)
        self._held_bytes = sum(len(record.body) for record in kept)

    # -- the syncer thread ------------------------------------------------------------------------

    def _run_syncer(self) -> None:
        while not self._stop.is_set():
            self._wake.wait(self._period_s)
            self._wake.clear()
            self._turn()
        self._threads[0].join()
        self._finish()

    def _turn(self) -> None:
        """One sync period's work."""
        if self._broken:
            self._fail(self._broken)
        if self._segment is None:
            if self._host_ns() >= self._retry_ns:
                self._replace()
        elif self._sync() and self._rotation_is_due():
            self._rotate()
        self._look_at_free_space()

    def _sync(self) -> bool:
        with self._lock:
            now = self._host_ns()
            self._write_out()
            segment = self._segment
            if segment is None or self._broken:
                return False
            try:
                if segment.offset > self._synced.offset or segment.name != self._synced.segment:
                    segment.mark(self._seq, now, *self._sample)
            except OSError as error:
                self._broken = error
                self._wake.set()
                return False
            point = Synced(segment.name, segment.offset, self._seq)
        try:
            segment.sync()
        except OSError as error:
            self._fail(error)
            return False
        self._publish(point, now)
        return True

    def _publish(self, point: Synced, through_ns: int) -> None:
        with self._lock:
            while self._held and self._held[0].seq < point.seq:
                self._held_bytes -= len(self._held.popleft().body)
        self._synced, self._synced_ns = point, through_ns
        if self._failed_ns is not None and through_ns - self._failed_ns > TRUST_AGAIN_S * _NS:
            self._failed_ns = None
            self._retry_s = RETRY_S

    def _fail(self, error: OSError) -> None:
        """Abandon the segment. At once a new one, unless the last failure is too fresh: then wait."""
        with self._lock:
            now = self._host_ns()
            name = self._segment.name if self._segment else "new segment"
            self._trouble.append(f"{name}: {error.strerror or error}")
            if self._segment:
                self._segment.abandon()
                end = self._synced.offset if self._synced.segment == name else 0
                self._next = replace(self._next, previous_end=end)
            self._segment = self._broken = None
            self._retry_ns = 0
            if self._failed_ns is not None:
                self._retry_ns = now + int(self._retry_s * _NS)
                self._retry_s = min(2 * self._retry_s, RETRY_MOST_S)
            self._failed_ns = now
        self._wake.set()

    def _replace(self, *, first: bool = False) -> None:
        """Open a segment and write all that is in memory into it, with its old numbers, and sync."""
        try:
            with self._lock:
                segment = self._open()
                try:
                    self._fill(segment, first=first)
                except OSError:
                    segment.abandon()
                    raise
                self._segment = segment
        except OSError as error:
            self._fail(error)
        else:
            self._sync()

    def _fill(self, segment: OpenSegment, *, first: bool) -> None:
        held = list(self._held)
        segment.append(held, RecordFlag.REPEATED)
        head = []
        loss = self._loss(len(held), first=first)
        if loss is not None:
            head.append(self._number(RecordType.LOSS, loss, self._host_ns()))
        if self._config is not None:
            head.append(self._carry(self._config))
        segment.append(head)

    def _carry(self, config: bytes) -> Pending:
        return self._number(RecordType.CONFIG, config, self._host_ns(), RecordFlag.CARRIED)

    def _loss(self, repeated: int, *, first: bool) -> bytes | None:
        """Body of the LOSS at the head of a segment that does not follow a sealed one."""
        fact: dict[str, object] = {"loss": "unclean end", "text": self._next.unclean}
        if not first:
            text = self._trouble[-1] if self._trouble else ""
            fact = {"loss": "segment abandoned", "text": text, "repeated": repeated}
            fact["dropped"] = self._dropped
        elif self._next.unclean is None:
            return None
        return json.dumps(fact, sort_keys=True, separators=(",", ":")).encode()

    def _rotation_is_due(self) -> bool:
        segment = self._segment
        if segment is None:
            return False
        if segment.offset >= self._segment_bytes:
            return True
        age = self._host_ns() - segment.header.host_ns
        return self._may_rotate and age >= self._segment_ns

    def _rotate(self) -> None:
        try:
            with self._lock:
                self._write_out()
                self._seal()
                segment = self._open()
                self._segment = segment
                if self._config is not None:
                    segment.append([self._carry(self._config)])
        except OSError as error:
            self._fail(error)
        else:
            self._sync()

    def _seal(self) -> None:
        """Close the current segment for good; OSError if it may not be whole on the medium."""
        segment = self._segment
        if segment is None or self._broken:
            raise self._broken or OSError(None, "there is no segment")
        segment.seal(self._seq, self._host_ns())
        segment.sync()
        self._synced = Synced(segment.name, segment.offset, self._seq)
        self._next = replace(self._next, previous_end=segment.offset)
        self._segment = None
        self._held.clear()
        self._held_bytes = 0
        segment.close()

    def _finish(self) -> None:
        self._turn()
        if self._segment is None:
            self._replace()
        try:
            with self._lock:
                self._write_out()
                self._seal()
        except OSError as error:
            self._fail(error)

    def _look_at_free_space(self) -> None:
        now = self._host_ns()
        if self._free_bytes is not None and now - self._free_ns < FREE_SPACE_S * _NS:
            return
        try:
            self._free_bytes, self._free_ns = self._fs.free_bytes(self.folder), now
        except OSError:
            self._free_bytes = None

    # -- segments ---------------------------------------------------------------------------------

    def _continue(self) -> None:
        found = continuation(self.folder)
        if found.rehearsal is not None and found.rehearsal != bool(self._flags):
            kinds = ("a real stand", "a rehearsal")
            raise JournalError(
                f"{self.folder}: holds the journal of {kinds[found.rehearsal]}, "
                f"expected one of {kinds[not found.rehearsal]}: use its own site folder"
            )
        self._next = found
        self._seq = found.next_seq
        self._journal_id = found.journal_id or self._journal_id

    def _header(self) -> SegmentHeader:
        return SegmentHeader(
            journal_id=self._journal_id,
            segment_id=os.urandom(16),
            ordinal=self._next.ordinal,
            flags=self._flags,
            previous_id=self._next.previous_id,
            previous_end=self._next.previous_end,
            utc_ns=self._utc_ns(),
            host_ns=self._host_ns(),
            boot_hash=self._boot_hash,
        )

    def _open(self) -> OpenSegment:
        header = self._header()
        self._fs.make_folder(self.folder)
        try:
            segment = OpenSegment(self._fs, self.folder, header)
        except HeaderUnsyncedError:
            self._use_up(header)
            raise
        self._use_up(header)
        return segment

    def _use_up(self, header: SegmentHeader) -> None:
        self._next = replace(
            self._next,
            ordinal=header.ordinal + 1,
            previous_id=header.segment_id,
            previous_end=0,
        )


def joined(items: list[Item]) -> list[Item]:
    """Neighbouring wire bytes of one direction and of 10 ms become one record with the first time."""
    out: list[Item] = []
    pieces: list[bytes] = []
    for kind, body, host_ns in items:
        if kind in _STREAMS and pieces and _belongs(out[-1], kind, host_ns, pieces, body):
            pieces.append(body)
            continue
        _join_last(out, pieces)
        out.append((kind, body, host_ns))
        pieces = [body] if kind in _STREAMS else []
    _join_last(out, pieces)
    return out


def _belongs(last: Item, kind: int, host_ns: int, pieces: list[bytes], body: bytes) -> bool:
    near = 0 <= host_ns - last[2] < BATCH_S * _NS
    return kind == last[0] and near and sum(map(len, pieces)) + len(body) <= JOINED_BYTES


def _join_last(out: list[Item], pieces: list[bytes]) -> None:
    if len(pieces) > 1:
        kind, _, host_ns = out[-1]
        out[-1] = (kind, b"".join(pieces), host_ns)
