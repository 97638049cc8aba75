"""The only writer of the record: `put` hands over in well under a microsecond and never waits.

Two daemon threads work behind it. The *writer* empties the queue into the file every 10 ms. The
*syncer* marks, pads and syncs every sync period; it alone opens, changes and closes files. When a
write or a sync fails, the segment is abandoned and everything since the last good sync is written
again, from memory, into the next one; when that fails too, the record lives in memory only, the
state says so, and the disk is tried again now and then. The record never stops anything else.
"""

import json
import time
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Lock, Thread
from typing import Final, Literal

from daq.journal.chain import SegmentChain
from daq.journal.files import FreeSpace, Fs, RealFs
from daq.journal.format import MAX_BODY, RecordFlag, RecordType
from daq.journal.held import Held, Item, joined
from daq.journal.mirror import Mirror
from daq.journal.segment import OpenSegment, Pending, Synced
from daq.journal.trouble import RETRY_S, Trouble

BATCH_S: Final = 0.010
SLOW_SYNC_S: Final = 1.0
FAST_SYNC_S: Final = 0.050
SEGMENT_BYTES: Final = 64 << 20
SEGMENT_S: Final = 600.0
LATE_SYNC_S: Final = 1.0
LATE_QUEUE_S: Final = 0.5
PIECE: Final = 1024

_NS: Final = 1_000_000_000

State = Literal["running", "suspect", "ram only"]


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
        retry_s: float = RETRY_S,
        mirror: Mirror | None = None,
    ) -> None:
        self.folder, self.mirror, self._host_ns = folder, mirror, host_ns
        self._fs: Fs = fs or RealFs()
        self._segment_bytes, self._segment_ns = segment_bytes, int(segment_s * _NS)

        self._queue: SimpleQueue[Item] = SimpleQueue()
        self._period_s, self._may_rotate = SLOW_SYNC_S, True
        self._sample = (0, 0)
        self._carried: dict[RecordType, bytes] = {}

        self._lock = Lock()  # guards the chain, the segment and what is held
        self._chain = SegmentChain(
            self._fs, folder, rehearsal=rehearsal, boot_id=boot_id, host_ns=host_ns, utc_ns=utc_ns
        )
        self._segment: OpenSegment | None = None
        self._broken: OSError | None = None
        self._held = Held(on_number=mirror.give if mirror else None)

        self._synced = Synced("", 0, 0)
        self._synced_ns = self._written_ns = host_ns()
        self._trouble = Trouble(retry_s)
        self._free = FreeSpace(self._fs, folder)

        self._stop, self._wake = Event(), Event()
        self._threads: tuple[Thread, ...] = ()

    # -- for any thread, never waiting ------------------------------------------------------------

    def put(self, kind: RecordType, body: bytes, host_ns: int) -> None:
        """Hand over one record; the bytes must not change afterwards. ValueError above 1 MiB."""
        if len(body) > MAX_BODY:
            raise ValueError(f"a record body has at most {MAX_BODY} bytes, got {len(body)}")
        if kind is RecordType.CONFIG:
            self._carried[kind] = body
        self._queue.put((kind, body, host_ns))

    def carry(self, kind: RecordType, body: bytes) -> None:
        """What heads new segments: CONFIG (as `put` sets it), and RX with the board's IDENTITY frame."""
        self._carried[kind] = body

    def note_sample(self, tick: int, index: int) -> None:
        """The newest sample received, for the next MARK."""
        self._sample = (tick, index)

    def set_sync_period(self, seconds: float) -> None:
        """50 ms from ARM to the end of WAIT, else 1 s; a shorter one counts from now."""
        if seconds != self._period_s:
            self._period_s = seconds
            self._wake.set()

    def set_may_rotate(self, allowed: bool) -> None:
        self._may_rotate = allowed

    @property
    def state(self) -> State:
        """Arm in `running` only. `suspect`: a failure in the last minute, or syncs or writes are late.

        `ram only`: the disk failed again before it was trusted again; the record is in memory.
        """
        if self._trouble.ram_only:
            return "ram only"
        limit_ns = (self._period_s + LATE_SYNC_S) * _NS
        late = self.synced_ns_ago(self._host_ns()) > limit_ns or self.queued_s > LATE_QUEUE_S
        return "suspect" if late or self._trouble.is_fresh or self._broken else "running"

    @property
    def trouble(self) -> tuple[str, ...]:
        """What failed since the start, a sentence each, oldest first."""
        return tuple(self._trouble.sentences)

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
        """The number that the next record will carry."""
        return self._held.next_seq

    @property
    def held_bytes(self) -> int:
        """Body bytes in memory that are not on the medium yet."""
        return self._held.nbytes

    @property
    def free_bytes(self) -> int | None:
        """Free space of the disk at most some seconds ago; None if it cannot be told."""
        return self._free.nbytes

    @property
    def free_min(self) -> float | None:
        """Minutes of recording that fit, at the rate of an armed stand."""
        return self._free.minutes

    # -- life -------------------------------------------------------------------------------------

    def start(self) -> None:
        """Open a new segment behind what the folder holds, then run the threads.

        JournalError if the folder holds a journal of the other kind (rehearsal or real) or one whose
        numbers are used up. A disk that refuses does not stop the start: the state is `ram only`.
        """
        self._begin()
        if self.mirror is not None:
            self.mirror.start()
        writer = Thread(target=self._run_writer, name="journal-writer", daemon=True)
        syncer = Thread(target=self._run_syncer, args=(writer,), name="journal-syncer", daemon=True)
        self._threads = (writer, syncer)
        for thread in self._threads:
            thread.start()

    def _begin(self) -> None:
        found = self._chain.resume()
        self._held.next_seq = found.next_seq
        if found.unclean is not None:
            self._trouble.untold.append(found.unclean)
        self._replace()
        self._free.look(self._host_ns())

    def close(self, timeout_s: float = 10.0) -> bool:
        """Write, seal and sync the rest; True if everything ever put is on the medium."""
        self._stop.set()
        self._wake.set()
        for thread in self._threads:
            thread.join(timeout_s)
        if self.mirror is not None:
            self.mirror.close()
        done = not any(thread.is_alive() for thread in self._threads)
        self._threads = ()
        return done and not self._held and not self._held.dropped and not self._queue.qsize()

    def save_held(self, folder: Path) -> int:
        """Write what is in memory only as a closed segment into another folder; how many records.

        For a dead disk: the crew names a second medium after the test. OSError if that fails too.
        """
        with self._lock:
            self._write_out()
            held = list(self._held)
            self._fs.make_folder(folder)
            segment = OpenSegment(self._fs, folder, self._chain.header())
            segment.append(held, RecordFlag.REPEATED)
            segment.seal(self._held.next_seq, self._host_ns())
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
        fresh = [self._held.number(*item) for item in joined(items)]
        if fresh and self._segment and not self._broken:
            try:
                self._segment.append(fresh)
            except OSError as error:
                self._break(error)
        self._written_ns = now

    def _break(self, error: OSError) -> None:
        """Nothing more goes into this segment; the syncer sees to it at once."""
        self._broken = error
        self._wake.set()

    # -- the syncer thread ------------------------------------------------------------------------

    def _run_syncer(self, writer: Thread) -> None:
        while not self._stop.is_set():
            self._wake.wait(self._period_s)
            self._wake.clear()
            self._turn()
        writer.join()
        self._finish()

    def _turn(self) -> None:
        """One sync period's work."""
        if self._broken:
            self._fail(self._broken)
        if self._segment is None:
            if self._trouble.may_retry(self._host_ns()):
                self._replace()
        elif self._sync() and self._rotation_is_due():
            self._rotate()
        self._free.look(self._host_ns())

    def _sync(self) -> bool:
        """MARK and PAD under the lock, then the sync beside it; True if it succeeded."""
        with self._lock:
            now = self._host_ns()
            self._write_out()
            segment = self._segment
            if segment is None or self._broken:
                return False
            try:
                if (segment.name, segment.offset) != self._synced[:2]:
                    segment.mark(self._held.next_seq, now, *self._sample)
            except OSError as error:
                self._break(error)
                return False
            point = Synced(segment.name, segment.offset, self._held.next_seq)
        try:
            segment.sync()
        except OSError as error:
            self._fail(error)
            return False
        self._publish(point, now)
        return True

    def _publish(self, point: Synced, through_ns: int) -> None:
        with self._lock:
            self._held.release(point.seq)
        self._synced, self._synced_ns = point, through_ns
        self._trouble.good_sync(through_ns)

    def _fail(self, error: OSError) -> None:
        """Abandon the segment. At once a new one, unless the last failure is too fresh: then wait."""
        with self._lock:
            name = self._segment.name if self._segment else "a new segment"
            self._trouble.failed(f"{name}: {error.strerror or error}", self._host_ns())
            if self._segment:
                self._segment.abandon()
                self._chain.ended_at(self._synced.offset if self._synced.segment == name else 0)
            self._segment = self._broken = None
        self._wake.set()

    def _replace(self) -> None:
        """Open a segment and write all that is in memory into it, with its old numbers, and sync."""
        try:
            with self._lock:
                segment = self._chain.open()
                try:
                    self._fill(segment)
                except OSError:
                    segment.abandon()
                    raise
                self._segment = segment
        except OSError as error:
            self._fail(error)
        else:
            self._trouble.stands_again(self._host_ns())
            if self._sync():
                self._trouble.told()

    def _fill(self, segment: OpenSegment) -> None:
        repeated = list(self._held)
        for first in range(0, len(repeated), PIECE):
            segment.append(repeated[first : first + PIECE], RecordFlag.REPEATED)
        head = []
        if self._trouble.untold:
            head.append(self._loss(len(repeated)))
        segment.append(head + self._carry())

    def _loss(self, repeated: int) -> Pending:
        """The LOSS at the head of a segment that does not follow a sealed one: what happened."""
        fact = {"loss": self._trouble.untold, "repeated": repeated, "dropped": self._held.dropped}
        body = json.dumps(fact, sort_keys=True, separators=(",", ":")).encode()
        return self._held.number(RecordType.LOSS, body, self._host_ns())

    def _carry(self) -> list[Pending]:
        now, carried = self._host_ns(), sorted(self._carried.items(), reverse=True)
        return [self._held.number(kind, body, now, RecordFlag.CARRIED) for kind, body in carried]

    def _rotation_is_due(self) -> bool:
        segment = self._segment
        if segment is None:
            return False
        age = self._host_ns() - segment.header.host_ns
        return segment.offset >= self._segment_bytes or (
            self._may_rotate and age >= self._segment_ns
        )

    def _rotate(self) -> None:
        try:
            with self._lock:
                self._write_out()
                self._seal()
                self._segment = self._chain.open()
                self._segment.append(self._carry())
        except OSError as error:
            self._fail(error)
        else:
            self._sync()

    def _seal(self) -> None:
        """Close the current segment for good; OSError if it may not be whole on the medium."""
        segment = self._segment
        if segment is None or self._broken:
            raise self._broken or OSError(None, "there is no segment")
        now = self._host_ns()
        segment.seal(self._held.next_seq, now)
        segment.sync()
        self._synced = Synced(segment.name, segment.offset, self._held.next_seq)
        self._synced_ns = now
        self._chain.ended_at(segment.offset)
        self._held.release(self._held.next_seq)
        self._segment = None
        segment.close()

    def _finish(self) -> None:
        """Seal what there is; a disk that fails at this last moment gets one more segment."""
        for _ in range(2):
            self._turn()
            if self._segment is None:
                self._replace()
            try:
                with self._lock:
                    self._write_out()
                    self._seal()
            except OSError as error:
                self._fail(error)
            else:
                return
