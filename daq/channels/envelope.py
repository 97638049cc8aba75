"""Lowest and highest value per bin of absolute sample index, so that a chart never lies.

Rules: bins lie on the *absolute* index (level k holds 4^k samples from a multiple of 4^k), so
scrolling never changes a drawn value (no wiggle) and every sample is inside exactly one drawn bin
(no hidden spike). A sample that was not received is NaN and a bin without any sample is NaN: a gap
stays a gap; `gaps` gives its exact ends for hatching. Nothing is smoothed or joined.
Cost: about 50 µs per block, a query of any window about 0.1 ms.
"""

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

STEP_BITS: Final = 2  # each level is 4 times coarser
LEVELS: Final = 9  # the coarsest bin holds 65 536 samples
_ALIGN: Final = 1 << (STEP_BITS * LEVELS)

Floats = NDArray[np.float32]


class EnvelopeView(NamedTuple):
    """Bins that cover a window: bin n holds samples `first + n*step` .. `first + (n+1)*step - 1`."""

    first: int
    step: int
    low: Floats
    high: Floats

    @property
    def middle(self) -> NDArray[np.float64]:
        """Middle of each bin in (fractional) sample index."""
        bins = np.arange(len(self.low), dtype=np.float64)
        return np.asarray(self.first + self.step * bins + (self.step - 1) / 2.0, dtype=np.float64)

    def line(self) -> tuple[NDArray[np.float64], Floats]:
        """One polyline: (index, value), low and high of each bin in turn (once if step is 1)."""
        if self.step == 1:
            return self.middle, self.low
        value = np.empty(2 * len(self.low), dtype=np.float32)
        value[0::2] = self.low
        value[1::2] = self.high
        return np.repeat(self.middle, 2), value


class Envelope:
    """Min/max pyramid of one channel; `append` live samples, `fill` what came later.

    `keep` bounds memory: of a longer stream the oldest samples are forgotten (None: never).
    Values are whatever the caller draws (counts or SI) as 32-bit floats; one thread only.
    """

    def __init__(self, keep: int | None = None) -> None:
        self._keep = keep
        self._origin = 0
        self._low: list[Floats] = []
        self._high: list[Floats] = []
        self.first: int | None = None
        self.end = 0

    def __len__(self) -> int:
        """Samples between the oldest and the newest kept, gaps included."""
        return 0 if self.first is None else self.end - self.first

    def append(self, first_index: int, values: NDArray[np.floating] | NDArray[np.integer]) -> None:
        """Take live samples `first_index`, `first_index + 1`, ...; they replace what was there."""
        self._write(first_index, np.asarray(values, dtype=np.float32), replace=True)

    def fill(self, first_index: int, values: NDArray[np.floating] | NDArray[np.integer]) -> None:
        """Take back-filled samples: only indices not yet seen are taken (live wins)."""
        self._write(first_index, np.asarray(values, dtype=np.float32), replace=False)

    def query(self, begin: int, end: int, bins: int) -> EnvelopeView:
        """At most `bins` + 1 bins that cover samples `begin` .. `end` - 1, clipped to what is kept.

        The level depends on the width only, never on the position: scrolling is steady.
        """
        level = 0
        while -(-(end - begin) >> (STEP_BITS * level)) > max(1, bins) and level < LEVELS:
            level += 1
        bits = STEP_BITS * level
        if self.first is None:
            none = np.empty(0, dtype=np.float32)
            return EnvelopeView(begin, 1 << bits, none, none)
        lo = max(begin, self.first) >> bits
        hi = max(lo, -(-min(end, self.end) >> bits))
        at = self._origin >> bits
        return EnvelopeView(
            lo << bits,
            1 << bits,
            self._low[level][lo - at : hi - at],
            self._high[level][lo - at : hi - at],
        )

    def gaps(self, begin: int, end: int) -> list[tuple[int, int]]:
        """(first missing, one past the last missing) index pairs inside the window."""
        if self.first is None:
            return []
        lo, hi = max(begin, self.first), min(end, self.end)
        missing = np.isnan(self._low[0][lo - self._origin : hi - self._origin])
        edges = np.flatnonzero(np.diff(np.concatenate(([0], missing.view(np.int8), [0]))))
        return [(lo + int(a), lo + int(b)) for a, b in edges.reshape(-1, 2)]

    def _write(self, first: int, values: Floats, *, replace: bool) -> None:
        if self._keep is not None and first < self.end - self._keep:
            cut = self.end - self._keep - first
            first, values = first + cut, values[cut:]
        if not len(values):
            return
        end = first + len(values)
        self._make_room(first, end)
        span = slice(first - self._origin, end - self._origin)
        if not replace:
            old = self._low[0][span]
            values = np.where(np.isnan(old), values, old)
        self._low[0][span] = values
        self._refresh(first, end)
        self.first = first if self.first is None else min(self.first, first)
        self.end = max(self.end, end)
        self._forget()

    def _refresh(self, first: int, end: int) -> None:
        for level in range(1, LEVELS + 1):
            bits = STEP_BITS * level
            at = self._origin >> bits
            lo, hi = (first >> bits) - at, ((end - 1) >> bits) + 1 - at
            below = slice(lo << STEP_BITS, hi << STEP_BITS)
            low, high = self._low[level - 1][below], self._high[level - 1][below]
            self._low[level][lo:hi] = np.fmin.reduce(low.reshape(-1, 4), axis=1)
            self._high[level][lo:hi] = np.fmax.reduce(high.reshape(-1, 4), axis=1)

    def _forget(self) -> None:
        if self._keep is None or self.first is None or self.end - self.first <= self._keep:
            return
        self.first = self.end - self._keep
        spare = (self.first - self._origin) // _ALIGN * _ALIGN
        if spare >= max(_ALIGN, self._keep // 2):
            self._rebuild(self._origin + spare, self._origin + self._size())

    def _size(self) -> int:
        return len(self._low[0]) if self._low else 0

    def _make_room(self, first: int, end: int) -> None:
        begin = first // _ALIGN * _ALIGN
        top = -(-end // _ALIGN) * _ALIGN
        have = self._origin + self._size()
        if not self._low or (self._keep is not None and first - self.end > self._keep):
            self._low, self._high, self.first = [], [], None
            self._rebuild(begin, top)
        elif begin < self._origin or top > have:
            spare = self._size() if self._keep is None else self._keep // 4
            grown = have if top <= have else -(-(top + spare) // _ALIGN) * _ALIGN
            self._rebuild(min(begin, self._origin), grown)

    def _rebuild(self, origin: int, top: int) -> None:
        old_origin, old_size = self._origin, self._size()
        for level in range(LEVELS + 1):
            bits = STEP_BITS * level
            size = (top - origin) >> bits
            low = np.full(size, np.nan, dtype=np.float32)
            high = low if level == 0 else np.full(size, np.nan, dtype=np.float32)
            if old_size:
                lo = max(origin, old_origin)
                hi = min(top, old_origin + old_size)
                new = slice((lo - origin) >> bits, (hi - origin) >> bits)
                old = slice((lo - old_origin) >> bits, (hi - old_origin) >> bits)
                low[new] = self._low[level][old]
                high[new] = self._high[level][old]
                self._low[level], self._high[level] = low, high
            else:
                self._low.append(low)
                self._high.append(high)
        self._origin = origin
