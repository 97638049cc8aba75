"""Merge sample blocks of one group and one epoch by index (design: back-fill).

Rules: live wins; a duplicate is counted; a duplicate that differs is a finding, never an average.
A channel that was not in a block's mask is MISSING there, never zero.
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from firmware_protocol.messages_board import Samples

MISSING: Final = -(2**31)
Counts = NDArray[np.int32]
Longs = NDArray[np.int64]


class Series(NamedTuple):
    """Samples of one group in one epoch: rising `indices`, `tick` of each, `counts` (n, channels).

    `filled` marks rows that came by back-fill; `step` is the sample period in ticks.
    """

    group: int
    epoch: int
    step: int
    indices: Longs
    tick: Longs
    counts: Counts
    filled: NDArray[np.bool_]
    duplicates: int
    differing: tuple[int, ...]


def merge(group: int, epoch: int, blocks: Sequence[tuple[int, Samples]], channels: int) -> Series:
    """One series of all blocks, live and filled, in any order."""
    rows = [_rows(block, channels) for _, block in blocks]
    sizes = np.array([block.n for _, block in blocks])
    firsts = np.array([block.first_index for _, block in blocks], dtype=np.int64)
    ticks = np.array([block.tick for _, block in blocks], dtype=np.int64)
    steps = np.array([block.step for _, block in blocks], dtype=np.int64)
    origins = np.array([origin for origin, _ in blocks], dtype=np.int8)
    within = np.concatenate([np.arange(n, dtype=np.int64) for n in sizes])
    index = np.repeat(firsts, sizes) + within
    tick = np.repeat(ticks, sizes) + np.repeat(steps, sizes) * within
    counts = np.concatenate(rows)
    origin = np.repeat(origins, sizes)
    order = np.lexsort((origin, index))
    index, tick, counts, origin = index[order], tick[order], counts[order], origin[order]
    first = np.concatenate(([True], np.diff(index) > 0))
    differing = _differing(index, counts, first)
    counts.flags.writeable = False
    kept = counts[first]
    kept.flags.writeable = False
    return Series(
        group=group,
        epoch=epoch,
        step=int(np.median(steps)),
        indices=index[first],
        tick=tick[first],
        counts=kept,
        filled=origin[first] != 0,
        duplicates=int((~first).sum()),
        differing=differing,
    )


def _rows(block: Samples, channels: int) -> Counts:
    raw = np.frombuffer(block.data, dtype=np.uint8).reshape(-1, 3)
    wide = np.zeros((len(raw), 4), dtype=np.uint8)
    wide[:, 1:] = raw
    values = (wide.view("<i4")[:, 0] >> 8).reshape(block.n, block.channels)
    places = [place for place in range(channels) if block.mask >> place & 1]
    if len(places) == channels == block.channels:
        return values.astype(np.int32)
    full = np.full((block.n, channels), MISSING, dtype=np.int32)
    full[:, places] = values[:, : len(places)]
    return full


def _differing(index: Longs, counts: Counts, first: NDArray[np.bool_]) -> tuple[int, ...]:
    """Indices that came twice with different counts."""
    again = np.flatnonzero(~first)
    if not len(again):
        return ()
    kept = np.flatnonzero(first)[np.cumsum(first)[again] - 1]
    unlike = (counts[again] != counts[kept]).any(axis=1)
    return tuple(int(i) for i in np.unique(index[again[unlike]]))
