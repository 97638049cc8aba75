"""What is missing from a record of samples, to the tick: first missing index, count, from, to, why."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from daq.runs.series import Series

JUMP_STEPS: Final = 1.5
STEP_SLACK_S: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class SampleGap:
    """Nothing between ticks `from_tick` and `to_tick` (both were received), seconds on the run's axis.

    Across a restart of the board `first_index` and `count` are None: the new boot counts anew.
    """

    group: int
    epoch: int
    first_index: int | None
    count: int | None
    from_tick: int
    to_tick: int
    begin_s: float
    end_s: float
    why: str

    def as_json(self) -> dict[str, Any]:
        """The shape in result.json."""
        return {name: getattr(self, name) for name in self.__slots__}

    @property
    def seconds(self) -> float:
        return self.end_s - self.begin_s


def gaps_inside(
    series: Series, zero_s: float, tick_s: float, steps: Sequence[tuple[int, int]]
) -> list[SampleGap]:
    """Gaps of one series; a rehearsal step (tick before, tick after) is no gap."""
    found = []
    jumps = (np.diff(series.indices) > 1) | (np.diff(series.tick) > JUMP_STEPS * series.step)
    for at in np.flatnonzero(jumps):
        before, after = int(series.tick[at]), int(series.tick[at + 1])
        if _is_step(before, after, steps, tick_s):
            continue
        count = int(series.indices[at + 1] - series.indices[at]) - 1
        found.append(
            SampleGap(
                group=series.group,
                epoch=series.epoch,
                first_index=int(series.indices[at]) + 1 if count else None,
                count=count or None,
                from_tick=before,
                to_tick=after,
                begin_s=zero_s + before * tick_s,
                end_s=zero_s + after * tick_s,
                why="samples lost" if count else "the board's clock jumped",
            )
        )
    return found


def _is_step(before: int, after: int, steps: Sequence[tuple[int, int]], tick_s: float) -> bool:
    """Is all but a little of this jump a rehearsal step?"""
    for low, high in steps:
        shared = min(after, high) - max(before, low)
        if shared > 0 and (after - before - shared) * tick_s <= STEP_SLACK_S:
            return True
    return False


def gap_between(
    before: Series, after: Series, zeros: tuple[float, float], tick_s: float, cause: str
) -> SampleGap:
    """The gap over a restart of the board."""
    begin, end = int(before.tick[-1]), int(after.tick[0])
    return SampleGap(
        group=before.group,
        epoch=after.epoch,
        first_index=None,
        count=None,
        from_tick=begin,
        to_tick=end,
        begin_s=zeros[0] + begin * tick_s,
        end_s=zeros[1] + end * tick_s,
        why=f"the board restarted ({cause})",
    )
