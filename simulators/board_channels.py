"""One channel as the board sees it: trip vote, lit vote, rails and stuck, on raw counts only.

Nothing is smoothed. A vote is needed-of-N over the last samples received (design: 3 of 5). All
thresholds are counts; counts rise with the quantity.
"""

from typing import Final

from firmware_protocol.messages import ChannelLimits, Reason, Role
from firmware_protocol.numbers import COUNT_MIN, LIT_UNUSED

NEVER: Final = 1 << 31
TRIP: Final = 1
LIT: Final = 2
FAULT: Final = 4
RAIL_SHARE: Final = 0.02  # outside 2-98 % of full scale is outside the electrical range
FAULT_NEEDED: Final = 3
FAULT_OF: Final = 0b11111


class ChannelWatch:
    """Feed `push` every sample; it answers with the edges TRIP, LIT, FAULT (0 = nothing new)."""

    __slots__ = (
        "_above",
        "_last",
        "_lit_at",
        "_lo",
        "_mask",
        "_needed",
        "_out",
        "_over",
        "_rail_hi",
        "_rail_lo",
        "_same",
        "_stuck_at",
        "_top",
        "_trip_at",
        "channel",
        "fault",
        "is_above",
        "is_over",
        "limits",
        "peak",
    )

    def __init__(self, channel: int, full_lo: int, full_hi: int) -> None:
        self.channel = channel
        span = full_hi - full_lo
        self._rail_lo = self._lo = full_lo + int(RAIL_SHARE * span)
        self._rail_hi = self._top = full_hi - int(RAIL_SHARE * span)
        self._trip_at = self._lit_at = self._stuck_at = NEVER
        self._needed, self._mask = 3, 0b11111
        self.limits: ChannelLimits | None = None
        self.fault = Reason.OK
        self.forget()

    def forget(self) -> None:
        """Start the votes anew (new limits, end of a shunt step)."""
        self._last, self._same = NEVER, 0
        self._over = self._above = self._out = 0
        self.is_over = self.is_above = False
        self.peak = COUNT_MIN

    def use(self, limits: ChannelLimits, needed: int, of: int) -> None:
        trips = limits.role == Role.PRESSURE_TRIP
        self.limits = limits
        self._needed, self._mask = needed, (1 << of) - 1
        self._trip_at = limits.hi if trips else NEVER
        self._lit_at = limits.lit if limits.lit != LIT_UNUSED else NEVER
        self._stuck_at = limits.stuck_samples or NEVER
        self._lo = max(self._rail_lo, limits.lo) if trips else limits.lo
        self._top = self._rail_hi if trips else min(self._rail_hi, limits.hi)
        self.fault = Reason.OK
        self.forget()

    @property
    def trips(self) -> bool:
        return self._trip_at != NEVER

    @property
    def last(self) -> int | None:
        return None if self._last == NEVER else self._last

    def push(self, count: int) -> int:
        """Judge one raw count; cost well under 1 µs."""
        if count == self._last:
            self._same += 1
        else:
            self._last = count
            self._same = 0
        edges = 0
        if count > self._trip_at or self._over:
            edges = self._vote_trip(count)
        if count > self._lit_at or self._above:
            edges |= self._vote_lit(count)
        if (
            count < self._lo
            or count > self._top
            or self._out
            or self._same >= self._stuck_at
            or self.fault
        ):
            edges |= self._vote_fault(count)
        return edges

    def _vote_trip(self, count: int) -> int:
        self._over = (self._over << 1 | (count > self._trip_at)) & self._mask
        was, self.is_over = self.is_over, self._over.bit_count() >= self._needed
        self.peak = max(self.peak, count)
        return TRIP if self.is_over and not was else 0

    def _vote_lit(self, count: int) -> int:
        self._above = (self._above << 1 | (count > self._lit_at)) & self._mask
        was, self.is_above = self.is_above, self._above.bit_count() >= self._needed
        return LIT if self.is_above and not was else 0

    def _vote_fault(self, count: int) -> int:
        outside = count < self._lo or count > self._top
        self._out = (self._out << 1 | outside) & FAULT_OF
        was = self.fault
        if self._same >= self._stuck_at:
            self.fault = Reason.CHANNEL_STUCK
        elif self._out.bit_count() >= FAULT_NEEDED:
            self.fault = Reason.CHANNEL_RAIL if count > self._top else Reason.CHANNEL_OPEN
            if not outside:
                self.fault = was or self.fault
        elif not self._out:
            self.fault = Reason.OK
        return FAULT if self.fault != was else 0
