"""Blocks of samples and the ring memory that keeps them.

An index counts conversion slots of its group since power-on: a slot without a sample shows as an
index that was skipped. A block is closed when it is full, 10 ms old, or when a slot was skipped.
"""

from collections import deque

from firmware_protocol.counts import pack_counts
from firmware_protocol.messages import BackfillData, Group, Samples, rows_per_block


class BlockMaker:
    """Gathers the samples of one group into blocks ready to send."""

    __slots__ = (
        "_counts",
        "_first",
        "_rows_max",
        "_start",
        "_ticks_max",
        "channels",
        "group",
        "last_tick",
        "next_index",
        "step",
    )

    def __init__(self, group: int, spec: Group, block_ticks: int) -> None:
        self.group = group
        self.channels = spec.channels
        self.step = spec.step
        fits = max(1, block_ticks // spec.step)
        self._rows_max = min(rows_per_block(spec.channels), fits)
        self._ticks_max = block_ticks
        self._counts: list[int] = []
        self._first = self._start = 0
        self.next_index = 0
        self.last_tick: int | None = None

    def add(self, tick: int, counts: tuple[int, ...]) -> list[Samples] | None:
        """Take one row; returns blocks that are complete now."""
        done = None
        if self.last_tick is not None:
            slots = (tick - self.last_tick + self.step // 2) // self.step
            if slots > 1:
                done = self.close()
                self.next_index += slots - 1
        self.last_tick = tick
        held = self._counts
        if not held:
            self._first, self._start = self.next_index, tick
        self.next_index += 1
        held.extend(counts)
        if self.next_index - self._first >= self._rows_max:
            last = self.close()
            return [*done, *last] if done else last
        return done

    def close(self) -> list[Samples]:
        """The block under way, if there is one."""
        held = self._counts
        if not held:
            return []
        block = Samples(
            group=self.group,
            first_index=self._first,
            tick=self._start,
            step=self.step,
            n=len(held) // self.channels,
            mask=(1 << self.channels) - 1,
            data=pack_counts(held),
        )
        held.clear()
        return [block]

    def close_old(self, tick: int) -> list[Samples]:
        """The block under way if it has waited its time."""
        if self._counts and tick - self._start >= self._ticks_max:
            return self.close()
        return []


class Ring:
    """The newest blocks of one group within `capacity` bytes of counts; stands still when frozen."""

    def __init__(self, group: int, spec: Group, capacity: int) -> None:
        self.group = group
        self.spec = spec
        self.capacity = capacity
        self.frozen = False
        self._blocks: deque[Samples] = deque()
        self._used = 0

    def keep(self, block: Samples) -> None:
        if self.frozen:
            return
        self._blocks.append(block)
        self._used += len(block.data)
        while self._used > self.capacity:
            self._used -= len(self._blocks.popleft().data)

    def forget(self) -> None:
        self._blocks.clear()
        self._used = 0
        self.frozen = False

    @property
    def end(self) -> int:
        """Index after the newest sample kept; 0 if there is none."""
        if not self._blocks:
            return 0
        newest = self._blocks[-1]
        return newest.first_index + newest.n

    def cut(self, first: int, count: int) -> list[BackfillData]:
        """Whole blocks that hold samples first .. first+count-1, and what is lost for good of them.

        Samples that were not converted yet are in no answer.
        """
        answer: list[BackfillData] = []
        at, stop = first, min(first + count, self.end)
        for block in self._blocks:
            if block.first_index + block.n <= at or block.first_index >= stop:
                continue
            if block.first_index > at:
                answer.append(self._lost(at, block.first_index - at))
            answer.append(BackfillData(lost=0, block=block))
            at = block.first_index + block.n
        if at < stop:
            answer.append(self._lost(at, stop - at))
        return answer

    def _lost(self, first: int, count: int) -> BackfillData:
        mask = (1 << self.spec.channels) - 1
        empty = Samples(
            group=self.group,
            first_index=first,
            tick=0,
            step=self.spec.step,
            n=0,
            mask=mask,
            data=b"",
        )
        return BackfillData(lost=count, block=empty)
