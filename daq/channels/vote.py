"""Several samples out of the last few decide, never one (practice 5.6, design: no single-sample trip).

Rules: only samples that were received are judged, as raw counts; nothing is smoothed, filled in or
blanked. A sample that is no number (None) and one at the upper rail count as over; one at the
lower rail is a fault, for `daq.channels.health` to report, and is not over. A gap does not empty
the window: the samples before it were as true as those after it.
"""

from typing import Final

NEEDED: Final = 3
OF: Final = 5


class Vote:
    """True while at least `needed` of the last `of` pushed answers were true."""

    __slots__ = ("_mask", "bits", "needed", "of")

    def __init__(self, needed: int = NEEDED, of: int = OF) -> None:
        if not 1 <= needed <= of <= 32:
            raise ValueError(f"a vote needs 1 <= needed <= of <= 32, got {needed} of {of}")
        self.needed = needed
        self.of = of
        self._mask = (1 << of) - 1
        self.bits = 0

    def push(self, over: bool) -> bool:
        """Take one answer and say whether the vote stands now."""
        self.bits = bits = ((self.bits << 1) | over) & self._mask
        return bits.bit_count() >= self.needed

    def clear(self) -> None:
        """Forget every answer."""
        self.bits = 0


class TripWatch:
    """One pressure channel against its trip, in raw counts, the same number as on the board.

    `hi` is the trip (already rounded down, towards the safe side): a count equal to it is over.
    `lo_rail` and `hi_rail` bound the believable counts. `tripped_at` is the number of the sample
    (counted from 0) that completed the first vote; `max_count` the highest count seen, spikes
    included. Calls cost well under 1 µs.
    """

    __slots__ = (
        "_bits",
        "_mask",
        "_needed",
        "_over_from",
        "hi",
        "hi_rail",
        "lo_rail",
        "max_count",
        "of",
        "over_samples",
        "samples",
        "tripped_at",
    )

    def __init__(
        self, hi: int, lo_rail: int, hi_rail: int, needed: int = NEEDED, of: int = OF
    ) -> None:
        Vote(needed, of)
        if not lo_rail < hi:
            raise ValueError(f"the trip {hi} must lie above the lower rail {lo_rail}")
        self.hi = hi
        self.lo_rail = lo_rail
        self.hi_rail = hi_rail
        self.of = of
        self._needed = needed
        self._mask = (1 << of) - 1
        self._over_from = min(hi, hi_rail)
        self.clear()

    def clear(self) -> None:
        """Start anew; a trip is latched by the procedure, not here."""
        self._bits = 0
        self.samples = 0
        self.over_samples = 0
        self.max_count = self.lo_rail
        self.tripped_at: int | None = None

    def push(self, count: int | None) -> bool:
        """Take one raw count (None: the converter gave no number); True while the vote stands."""
        self.samples += 1
        if count is None or count >= self._over_from:
            self.over_samples += 1
            self._bits = bits = ((self._bits << 1) | 1) & self._mask
            if count is not None and count > self.max_count:
                self.max_count = count
            stands = bits.bit_count() >= self._needed
            if stands and self.tripped_at is None:
                self.tripped_at = self.samples - 1
            return stands
        if count > self.max_count:  # noqa: PLR1730 - max() would double the cost of a sample
            self.max_count = count
        if not self._bits:
            return False
        self._bits = bits = (self._bits << 1) & self._mask
        return bits.bit_count() >= self._needed
