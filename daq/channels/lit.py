"""Has the motor lit, and is the burn over: a voted rise of thrust or pressure, on raw counts.

Rules (design, timers and invariant 6): lit = three of the last five samples of any channel above
its zero by more than the larger of 5 % of the expected peak and 10 sigma. Burn over = every
channel that can still be believed has stayed under 5 % of its own peak (and never under 10 sigma)
for 1 s that was really seen: a gap starts the second again. A rise within that second is a chuff;
a rise after it is lit again. With no believable channel left the burn never ends here: unknown.
Ticks are the board's; nothing here knows a phase, so it runs live, in ABORT and in replay alike.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from daq.channels.vote import NEEDED, OF

LIT_SHARE: Final = 0.05
LIT_SIGMAS: Final = 10.0
OVER_SHARE: Final = 0.05
QUIET_S: Final = 1.0
GAP_S: Final = 0.1
_MASK: Final = (1 << OF) - 1

Kind = Literal["LIT", "CHUFF", "BURN_OUT"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LitChannel:
    """One channel that can show a burn, in counts above `zero`; counts rise with the load."""

    channel: str
    zero: int
    expected: int
    sigma: float

    @property
    def threshold(self) -> int:
        """Counts above zero that a lit motor exceeds."""
        return max(1, round(max(LIT_SHARE * self.expected, LIT_SIGMAS * self.sigma)))

    @property
    def floor(self) -> int:
        """Counts above zero under which the channel is quiet whatever its peak was."""
        return max(1, round(LIT_SIGMAS * self.sigma))


@dataclass(frozen=True, slots=True, kw_only=True)
class LitEvent:
    """What was seen: `tick` of the sample that decided it, `by` which channel, pulse from 1."""

    kind: Kind
    tick: int
    by: str
    pulse: int


class _Track:
    __slots__ = (
        "bits",
        "channel",
        "last",
        "level",
        "loud_tick",
        "peak",
        "prior",
        "prior2",
        "threshold",
        "valid",
        "zero",
    )

    def __init__(self, channel: LitChannel) -> None:
        self.channel = channel
        self.zero = channel.zero
        self.threshold = self.level = channel.threshold
        self.valid = True
        self.last = 0
        self.clear()

    def clear(self) -> None:
        self.bits = 0
        self.level = self.threshold
        self.peak = 0
        self.prior = self.prior2 = 0
        self.loud_tick = 0


class LitWatch:
    """Watches all channels of a stand; `push` one sample at a time in the order received."""

    __slots__ = ("_gap", "_quiet", "_tracks", "burning", "pulses", "quiet_from")

    def __init__(self, channels: Sequence[LitChannel], tick_hz: int = 1_000_000) -> None:
        if not channels:
            raise ValueError("a lit watch needs at least one channel")
        self._tracks = [_Track(channel) for channel in channels]
        self._quiet = round(QUIET_S * tick_hz)
        self._gap = round(GAP_S * tick_hz)
        self.burning = False
        self.pulses = 0
        self.quiet_from = 0

    def push(self, which: int, count: int, tick: int) -> LitEvent | None:
        """Take one raw count of channel number `which` (order of the constructor); about 0.5 µs."""
        track = self._tracks[which]
        rise = count - track.zero
        over = rise > track.level
        if not over and not track.bits and not self.burning:
            track.last = tick
            return None
        track.bits = bits = ((track.bits << 1) | over) & _MASK
        voted = bits.bit_count() >= NEEDED
        if not self.burning:
            track.last = tick
            return self._light(track, tick) if voted and track.valid else None
        if tick - track.last > self._gap:
            track.loud_tick = tick  # a quiet second that was not seen does not count
        track.last = tick
        self._raise_peak(track, rise)
        if voted:
            return self._loud(track, tick)
        return self._burn_over(track, tick)

    def set_valid(self, which: int, valid: bool, tick: int) -> None:
        """Believe channel `which` or not (from its health); one that comes back is loud at first."""
        track = self._tracks[which]
        if valid and not track.valid:
            track.loud_tick = tick
            track.bits = 0
        track.valid = valid

    def retare(self, which: int, zero: int) -> None:
        """Take a new zero in counts; only outside a burn."""
        track = self._tracks[which]
        track.zero = zero
        if not self.burning:
            track.clear()

    def peak_counts(self, which: int) -> int:
        """Peak above zero in this burn, the lowest of three neighbours: no spike sets it."""
        return self._tracks[which].peak

    def reset(self) -> None:
        """A new motor: not burning, no pulses."""
        self.burning = False
        self.pulses = 0
        for track in self._tracks:
            track.clear()

    def _light(self, by: _Track, tick: int) -> LitEvent:
        self.burning = True
        self.pulses += 1
        for track in self._tracks:
            track.peak = 0
            track.level = track.channel.floor
            track.loud_tick = tick
            track.prior = track.prior2 = 0
            if track is not by:
                track.bits = 0
        return LitEvent(kind="LIT", tick=tick, by=by.channel.channel, pulse=self.pulses)

    def _raise_peak(self, track: _Track, rise: int) -> None:
        low = min(rise, track.prior, track.prior2)
        track.prior2 = track.prior
        track.prior = rise
        if low > track.peak:
            track.peak = low
            track.level = max(track.channel.floor, int(OVER_SHARE * low))

    def _loud(self, track: _Track, tick: int) -> LitEvent | None:
        was_quiet = tick - track.loud_tick > self._gap and self._others_quiet(track)
        track.loud_tick = tick
        if not (was_quiet and track.valid):
            return None
        self.pulses += 1
        return LitEvent(kind="CHUFF", tick=tick, by=track.channel.channel, pulse=self.pulses)

    def _others_quiet(self, track: _Track) -> bool:
        return all(
            other.last - other.loud_tick > self._gap
            for other in self._tracks
            if other.valid and other is not track
        )

    def _burn_over(self, track: _Track, tick: int) -> LitEvent | None:
        if not track.valid or tick - track.loud_tick < self._quiet:
            return None
        for other in self._tracks:
            if other.valid and other.last - other.loud_tick < self._quiet:
                return None
        self.burning = False
        self.quiet_from = max(t.loud_tick for t in self._tracks if t.valid)
        for each in self._tracks:
            each.bits = 0
            each.level = each.threshold
        return LitEvent(kind="BURN_OUT", tick=tick, by=track.channel.channel, pulse=self.pulses)
