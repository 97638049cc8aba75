"""Offer, arming and grip: every step answers the one before, and each challenge is used once."""

from dataclasses import dataclass, field
from typing import Final
from zlib import crc32

from firmware_protocol.messages import Reason
from firmware_protocol.numbers import ECHO_AGE_MS, GRIP_RUN_MS, GRIP_SILENCE_MS

STATUSES_REMEMBERED: Final = 64


class Challenges:
    """Numbers that never come twice in one boot: a CRC over a counter is one-to-one for a fixed seed."""

    def __init__(self, secret: int) -> None:
        self._secret = secret
        self._counter = 0

    def draw(self) -> int:
        while True:
            self._counter += 1
            challenge = crc32(self._counter.to_bytes(4, "little"), self._secret)
            if challenge:
                return challenge


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOffer:
    challenge: int
    limits_crc: int
    until: int


class Echo:
    """When each STATUS was sent, so that the board can tell how old the one the host has seen is."""

    def __init__(self, ticks_per_ms: int) -> None:
        self._age = ECHO_AGE_MS * ticks_per_ms
        self._sent: dict[int, int] = {}

    def forget(self) -> None:
        self._sent.clear()

    def note(self, number: int, tick: int) -> None:
        self._sent[number] = tick
        if len(self._sent) > STATUSES_REMEMBERED:
            del self._sent[next(iter(self._sent))]

    def is_fresh(self, number: int, tick: int) -> bool:
        sent = self._sent.get(number)
        return sent is not None and tick - sent <= self._age


@dataclass(slots=True)
class GripRun:
    """Fresh GRIPs in a row. A gap above 200 ms ends the run; GO needs one second of it."""

    ticks_per_ms: int
    n: int = 0
    many: int = 0
    _start: int = 0
    _last: int | None = None

    def take(self, n: int, tick: int) -> bool:
        """One GRIP whose echo is fresh; False if its number is not new."""
        if n <= self.n:
            return False
        self.n = n
        if not self.is_fresh(tick):
            self._start, self.many = tick, 0
        self._last = tick
        self.many += 1
        return True

    def is_fresh(self, tick: int) -> bool:
        return self._last is not None and tick - self._last <= GRIP_SILENCE_MS * self.ticks_per_ms

    def judge(self, tick: int) -> Reason:
        """Whether the run is long enough for GO at this tick."""
        if not self.is_fresh(tick):
            return Reason.GRIP_STALE
        assert self._last is not None
        long_enough = self._last - self._start >= GRIP_RUN_MS * self.ticks_per_ms
        return Reason.OK if long_enough else Reason.GRIP_SHORT


@dataclass(slots=True, kw_only=True)
class Arming:
    """One arming, from ARM_TAKE to the first thing that ends it; its GO can be judged once."""

    challenge: int
    limits_crc: int
    until: int
    grip: GripRun
    go_used: bool = False


@dataclass(slots=True, kw_only=True)
class Pulse:
    """The line is on since `start`, at the latest until `until`."""

    start: int
    until: int


@dataclass(slots=True)
class SeqWatch:
    """Commands must come in rising order within a session: repeated and overtaken ones die."""

    last: int | None = field(default=None)

    def take(self, seq: int) -> bool:
        if self.last is not None and not 0 < (seq - self.last & 0xFFFF) < 0x8000:
            return False
        self.last = seq
        return True
