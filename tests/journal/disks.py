"""Disks that misbehave on purpose, and a writer that is stepped by hand instead of by threads.

`DyingFs` keeps, for every file, how much was written and how much was synced. `power_cut` leaves what
a real disk may leave: everything synced, any part of the rest, zeros or rubbish behind it, and no
file whose name was not synced.
"""

import errno
import os
from enum import Enum
from pathlib import Path
from random import Random

from daq.journal.files import RealFile
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter

CAMPAIGN = int(os.environ.get("BERM_CAMPAIGN", "1"))
"""How many times as long as in the suite the random courses run: BERM_CAMPAIGN=50 for a night."""


class Bad(Enum):
    """What one call of a bad disk does."""

    SHORT = "takes half of the bytes"
    EIO = "input/output error"
    ENOSPC = "no space"
    TORN = "writes half of the bytes, then fails"
    SLOW = "takes two seconds of the clock"


class ManualClock:
    def __init__(self) -> None:
        self.now_ns = 1_000_000_000

    def __call__(self) -> int:
        return self.now_ns

    def step(self, seconds: float) -> None:
        self.now_ns += int(seconds * 1e9)


class DyingFile:
    def __init__(self, fs, path: Path) -> None:
        self._fs = fs
        self._file = RealFile(path)
        self.path = path
        self.written = 0
        self.synced = 0
        self.is_open = True

    def write(self, data: bytes) -> int:
        assert self.is_open
        bad = self._fs.next_fault("write")
        if bad in (Bad.EIO, Bad.ENOSPC):
            raise OSError(errno.EIO if bad is Bad.EIO else errno.ENOSPC, bad.value)
        taken = data[: (len(data) + 1) // 2] if bad in (Bad.SHORT, Bad.TORN) else data
        self.written += self._file.write(taken)
        if bad is Bad.TORN:
            raise OSError(errno.EIO, bad.value)
        return len(taken)

    def sync(self) -> None:
        assert self.is_open
        bad = self._fs.next_fault("sync")
        if bad not in (None, Bad.SLOW):
            raise OSError(errno.EIO, Bad.EIO.value)
        self.synced = self.written

    def close(self) -> None:
        assert self.is_open
        self.is_open = False
        self._file.close()


class DyingFs:
    """`plan` maps (`write` | `sync` | `create` | `folder`, nth call from 0) to what goes wrong."""

    def __init__(self, clock=None, plan=None, always=None) -> None:
        self.clock = clock
        self.plan = dict(plan or {})
        self.always = always  # what every call does while it is set
        self.calls = {"write": 0, "sync": 0, "create": 0, "folder": 0}
        self.files: list[DyingFile] = []
        self.named: set[Path] = set()

    def next_fault(self, call: str):
        number = self.calls[call]
        self.calls[call] += 1
        bad = self.plan.get((call, number), self.always)
        if bad is Bad.SLOW and self.clock:
            self.clock.step(2.0)
        return bad

    def _maybe(self, call: str) -> None:
        bad = self.next_fault(call)
        if bad not in (None, Bad.SLOW):
            raise OSError(errno.EIO, bad.value)

    def make_folder(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)

    def create(self, path: Path) -> DyingFile:
        self._maybe("create")
        self.files.append(DyingFile(self, path))
        return self.files[-1]

    def discard(self, path: Path) -> None:
        path.unlink(missing_ok=True)
        self.files = [file for file in self.files if file.path != path]

    def sync_folder(self, folder: Path) -> None:
        self._maybe("folder")
        self.named |= {file.path for file in self.files}

    def free_bytes(self, folder: Path) -> int:
        if self.always is Bad.EIO:
            raise OSError(errno.EIO, Bad.EIO.value)
        return 0 if self.always is Bad.ENOSPC else 720_000_000

    def power_cut(self, chance: Random) -> None:
        for file in self.files:
            if file.path not in self.named:
                file.path.unlink(missing_ok=True)
                continue
            data = file.path.read_bytes()
            left = chance.randint(file.synced, file.written)
            tail = chance.choice([b"", bytes(chance.randint(0, 5000)), chance.randbytes(100)])
            file.path.write_bytes(data[:left] + tail)


class SteppedWriter(JournalWriter):
    """The same writer without its threads: the test takes their turns, in any order it likes."""

    def __init__(self, folder: Path, fs=None, **more) -> None:
        self.clock = fs.clock if fs and fs.clock else ManualClock()
        super().__init__(
            folder, rehearsal=True, utc_ns=lambda: 0, host_ns=self.clock, fs=fs, **more
        )

    def start(self) -> None:
        self._begin()

    def write(self) -> None:
        self.clock.step(0.010)
        with self._lock:
            self._write_out()

    def turn(self) -> None:
        self.clock.step(0.001)
        self._turn()

    def close(self, timeout_s: float = 0) -> bool:
        self._finish()
        return super().close()


KINDS = (RecordType.RX, RecordType.FACT, RecordType.TX, RecordType.STATUS, RecordType.WISH)


def body_of(number: int) -> bytes:
    """A body that tells its number and has a length of its own."""
    return b"%d;" % number + bytes(range(number * 7 % 50))


def put_some(writer: JournalWriter, first: int, count: int) -> None:
    """Records that are never joined: neighbours differ in type."""
    for number in range(first, first + count):
        writer.put(KINDS[number % len(KINDS)], body_of(number), number)


def put_numbers(records) -> list[int]:
    """The numbers that `put_some` gave, of the records that it put; checks each body and type."""
    numbers = []
    for record in records:
        if record.kind in KINDS:
            number = record.host_ns
            assert (record.kind, record.body) == (KINDS[number % len(KINDS)], body_of(number))
            numbers.append(number)
    return numbers
