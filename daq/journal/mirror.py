"""A second journal on another medium, written by a thread of its own; its stall or death slows nothing.

It gets every numbered record from memory, not from the first disk, so it goes on when that one dies.
Numbers, times and bodies are those of the first journal; segments are its own. What it cannot take
in time is let go, oldest first, and counted: the first journal never waits for it.
"""

from collections import deque
from collections.abc import Callable
from pathlib import Path
from threading import Event, Lock, Thread
from typing import Final, Literal

from daq.errors import JournalError
from daq.journal.chain import SegmentChain
from daq.journal.files import Fs, RealFs
from daq.journal.format import RecordFlag, RecordType
from daq.journal.segment import OpenSegment, Pending

SYNC_S: Final = 0.5
RETRY_S: Final = 10.0
LATE_S: Final = 3.0
MEMORY_BYTES: Final = 64 << 20
SEGMENT_BYTES: Final = 64 << 20
SEGMENT_S: Final = 600.0

_NS: Final = 1_000_000_000
_HEAD_KINDS: Final = frozenset({RecordType.CONFIG})

MirrorState = Literal["running", "behind", "failed"]


class Mirror:
    """`give` never waits. The folder must exist: a medium that is not there must not become a folder."""

    def __init__(
        self,
        folder: Path,
        *,
        rehearsal: bool,
        boot_id: str = "",
        host_ns: Callable[[], int],
        fs: Fs | None = None,
        memory_bytes: int = MEMORY_BYTES,
        segment_s: float = SEGMENT_S,
    ) -> None:
        self.folder = folder
        self._host_ns, self._memory_bytes, self._segment_ns = host_ns, memory_bytes, segment_s * _NS
        self._chain = SegmentChain(
            fs or RealFs(), folder, rehearsal=rehearsal, boot_id=boot_id, host_ns=host_ns
        )
        self._lock = Lock()  # held for moments only, never around a call of the disk
        self._waiting: deque[Pending] = deque()
        self._nbytes = 0
        self._heads: dict[int, Pending] = {}
        self._unsynced: list[Pending] = []
        self._segment: OpenSegment | None = None
        self._resumed = False
        self._next_seq = 0
        self._synced_ns = host_ns()
        self._retry_ns: int | None = None
        self._stop = Event()
        self._thread: Thread | None = None
        self.dropped = 0
        self.trouble: list[str] = []

    @property
    def state(self) -> MirrorState:
        """`behind`: its last sync is older than 3 s; `failed`: the medium refused, it is tried again."""
        if self._retry_ns is not None:
            return "failed"
        return "behind" if self._host_ns() - self._synced_ns > LATE_S * _NS else "running"

    def give(self, record: Pending) -> None:
        """Take note of one record; any thread, no waiting."""
        with self._lock:
            self._waiting.append(record)
            self._nbytes += len(record.body)
            if record.kind in _HEAD_KINDS or record.flags & RecordFlag.CARRIED:
                self._heads[record.kind] = record
            while self._nbytes > self._memory_bytes:
                self._nbytes -= len(self._waiting.popleft().body)
                self.dropped += 1

    def start(self) -> None:
        self._thread = Thread(target=self._run, name="journal-mirror", daemon=True)
        self._thread.start()

    def close(self, timeout_s: float = 2.0) -> bool:
        """Seal it if the medium lets us in time; True if all that was given is on the medium."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout_s)
            if self._thread.is_alive():
                return False
            self._thread = None
        return not (self._waiting or self._unsynced or self.dropped)

    # -- its own thread ---------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stop.wait(SYNC_S):
            self.turn()
        self.turn()
        if self._segment is not None:
            self._guarded(self._seal)

    def turn(self) -> None:
        """Write and sync what waits; a failing medium is left alone for 10 s."""
        if self._retry_ns is not None and self._host_ns() < self._retry_ns:
            return
        self._guarded(self._advance)

    def _guarded(self, work: Callable[[], None]) -> None:
        try:
            work()
        except (OSError, JournalError) as error:
            self._give_up(getattr(error, "strerror", None) or str(error))

    def _give_up(self, why: str) -> None:
        """The segment is suspect: never written again. What it had not synced comes again."""
        self.trouble.append(f"{self.folder}: {why}")
        if self._segment is not None:
            self._segment.abandon()
            self._segment = None
        with self._lock:
            self._waiting.extendleft(reversed(self._unsynced))
            self._nbytes += sum(len(record.body) for record in self._unsynced)
        self._unsynced = []
        self._retry_ns = self._host_ns() + int(RETRY_S * _NS)

    def _advance(self) -> None:
        now = self._host_ns()
        with self._lock:
            fresh, heads = list(self._waiting), list(self._heads.values())
            self._waiting.clear()
            self._nbytes = 0
        self._unsynced += fresh
        if self._segment is None:
            self._segment = self._open(heads)
        if fresh:
            self._segment.append(self._unsynced)
            self._next_seq = self._unsynced[-1].seq + 1
            self._segment.mark(self._next_seq, now, 0, 0)
            self._segment.sync()
        self._unsynced = []
        self._synced_ns, self._retry_ns = now, None
        age = now - self._segment.header.host_ns
        if self._segment.offset >= SEGMENT_BYTES or age >= self._segment_ns:
            self._seal()

    def _open(self, heads: list[Pending]) -> OpenSegment:
        if not self.folder.is_dir():
            raise OSError(None, "the medium of the second record is not there")
        if not self._resumed:
            self._chain.resume()
            self._resumed = True
        segment = self._chain.open()
        segment.append(heads, RecordFlag.REPEATED)
        return segment

    def _seal(self) -> None:
        segment = self._segment
        assert segment is not None
        segment.seal(self._next_seq, self._host_ns())
        segment.sync()
        self._chain.ended_at(segment.offset)
        segment.close()
        self._segment = None
