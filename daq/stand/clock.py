"""The only clocks of the product: host monotonic nanoseconds that may step in a rehearsal, and UTC labels.

`perf_counter_ns` because `monotonic` ticks at 15.6 ms on Windows before Python 3.13. On Linux both
stand still while the machine sleeps; `boot_ns` keeps counting there, so their difference is the
time the tool was blind.
"""

import time
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

BREAK_NS = 100_000_000


@dataclass(slots=True)
class HostClock:
    """Monotonic nanoseconds plus the sum of all rehearsal steps taken so far."""

    stepped_ns: int = 0

    def now_ns(self) -> int:
        return time.perf_counter_ns() + self.stepped_ns

    def step(self, seconds: float) -> None:
        """Jump forward (rehearsal only); the caller records it as a CLOCK fact."""
        self.stepped_ns += round(seconds * 1e9)


@dataclass(slots=True)
class ManualClock:
    """A clock that tests own."""

    at_ns: int = 1_000_000_000

    def now_ns(self) -> int:
        return self.at_ns

    def step(self, seconds: float) -> None:
        self.at_ns += round(seconds * 1e9)


def utc_ns() -> int:
    """UTC as nanoseconds; a label, never used for a timer."""
    return time.time_ns()


def boot_ns() -> int:
    """A clock that also counts while the machine sleeps, where the platform has one."""
    clock = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if clock is None else time.clock_gettime_ns(clock)


def boot_id_hash() -> int:
    """64 bits that differ between two starts of the operating system; 0 where it does not tell."""
    source = Path("/proc/sys/kernel/random/boot_id")
    if not source.exists():
        return 0
    text = source.read_bytes().strip()
    return crc32(text) << 32 | crc32(text[::-1])


@dataclass(slots=True)
class SleepWatch:
    """Finds the time during which this machine slept: boot clock against monotonic clock."""

    offset_ns: int | None = None

    def blind_s(self, mono_ns: int, boot_at_ns: int) -> float:
        """Seconds asleep since the last call, 0.0 if less than the limit of design.md (100 ms)."""
        offset, self.offset_ns = self.offset_ns, boot_at_ns - mono_ns
        if offset is None or self.offset_ns - offset < BREAK_NS:
            return 0.0
        return (self.offset_ns - offset) / 1e9
