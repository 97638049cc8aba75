"""Which samples never came, and asking the board's memory for them once the motor is quiet; pure.

Only indices count: samples that follow each other under one boot nonce. Another nonce, another
memory: nothing of the boot before can be filled. What is answered goes into the record as received
bytes and nowhere else; no live decision ever sees it. One range is asked at a time.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from firmware_protocol.messages import Backfill, BackfillData, Samples

PIECE: Final = 1000
PATIENCE_NS: Final = 1_000_000_000
MOST_TRIES: Final = 5

Range = tuple[int, int]


@dataclass(slots=True)
class BackfillKeeper:
    """`missing` by group: ranges of indices, first and one behind the last, oldest first."""

    nonce: int | None = None
    missing: dict[int, list[Range]] = field(default_factory=dict)
    filled: int = 0
    lost: int = 0
    _next: dict[int, int] = field(default_factory=dict)
    _asked: tuple[int, Range] | None = None
    _asked_ns: int = 0
    _tries: int = 0
    _told: bool = True
    _from_tick: int = 0

    def heard(self, nonce: int) -> int:
        """A board said who it is; how many samples are gone for good because it restarted."""
        if nonce == self.nonce:
            return 0
        gone = self.waiting
        self.nonce = nonce
        self.missing.clear()
        self._next.clear()
        self._asked, self._told, self._from_tick = None, True, 0
        return gone

    def note(self, block: Samples) -> None:
        """A live block: a jump of the index is a range that never came."""
        if block.tick < self._from_tick:
            return
        expected = self._next.get(block.group)
        if expected is not None and block.first_index > expected:
            self.missing.setdefault(block.group, []).append((expected, block.first_index))
            self._told = False
        self._next[block.group] = max(expected or 0, block.first_index + block.n)

    def stepped(self, tick: int) -> None:
        """The rehearsal clock jumped to `tick`: what it jumped over was never measured."""
        self._next.clear()
        self._from_tick = tick

    @property
    def waiting(self) -> int:
        """Samples that are missing and may still come."""
        return sum(stop - start for ranges in self.missing.values() for start, stop in ranges)

    def answer(self, data: BackfillData, now_ns: int) -> None:
        """A block out of the memory, or word that a range is lost for good."""
        block = data.block
        before = self.waiting
        self._take_out(block.group, (block.first_index, block.first_index + (data.lost or block.n)))
        settled = before - self.waiting
        if data.lost:
            self.lost += settled
        else:
            self.filled += settled
        if settled:
            self._asked_ns, self._tries = now_ns, 0
        if self._asked is not None and not self._left(*self._asked):
            self._asked = None

    def refused(self, now_ns: int) -> None:
        """Not now: asked again later, as often as it takes."""
        self._asked_ns, self._tries = now_ns, 0

    def ask(self, now_ns: int) -> Backfill | None:
        """The next question, if it is time for one."""
        if self._asked is not None:
            if now_ns - self._asked_ns < PATIENCE_NS:
                return None
            if self._tries >= MOST_TRIES:
                self._give_up(*self._asked)
        first = next(self._ranges(), None)
        if first is None:
            self._asked = None
            return None
        group, (start, stop) = first
        stop = min(stop, start + PIECE)
        self._tries = self._tries + 1 if self._asked == (group, (start, stop)) else 1
        self._asked, self._asked_ns = (group, (start, stop)), now_ns
        return Backfill(group=group, first_index=start, count=stop - start)

    def summary(self) -> dict[str, Any] | None:
        """Once, when nothing is missing any more that could still come."""
        if self._told or self.waiting:
            return None
        self._told = True
        said = {"nonce": self.nonce, "filled": self.filled, "lost": self.lost}
        self.filled = self.lost = 0
        return said

    def _ranges(self) -> Iterator[tuple[int, Range]]:
        return ((group, each) for group, ranges in self.missing.items() for each in ranges)

    def _left(self, group: int, within: Range) -> bool:
        return any(a < within[1] and b > within[0] for a, b in self.missing.get(group, ()))

    def _give_up(self, group: int, within: Range) -> None:
        before = self.waiting
        self._take_out(group, within)
        self.lost += before - self.waiting
        self._asked, self._tries = None, 0

    def _take_out(self, group: int, gone: Range) -> None:
        self.missing[group] = [
            piece
            for a, b in self.missing.get(group, ())
            for piece in ((a, min(b, gone[0])), (max(a, gone[1]), b))
            if piece[0] < piece[1]
        ]
