"""Whether one channel can be believed, sample by sample, on raw counts (design: believable).

Rules: upper rail = RAIL (and over, for the trip vote); lower rail or a lost live zero = OPEN;
equal samples for longer than the channel's declared `stuck_samples` = STUCK; nothing received for
the longer of 100 ms and five sample periods = GAP. NOT PROVEN is a pressure channel whose line has
not been seen to rise and return since it was filled (practice 2.9). An impossible step is counted
as a spike and shown; it is never removed from a vote or a record, and it does not make the word
flicker, because RAIL and OPEN need three samples of the last five.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

GAP_NS: Final = 100_000_000
GAP_PERIODS: Final = 5
SPIKES_PER_S_MAX: Final = 20.0
RAIL_SHARE: Final = 0.02
LIVE_ZERO_LOST: Final = 0.9  # of the live zero: 3.6 mA of 4 mA (check 8.6; NE 43 from memory)
_WINDOW_BITS: Final = 0b11111
_NEEDED: Final = 3


class Health(StrEnum):
    """The word a channel carries; BLIND comes from the witness, not from the channel itself."""

    OK = "OK"
    STUCK = "STUCK"
    RAIL = "RAIL"
    OPEN = "OPEN"
    GAP = "GAP"
    NOT_PROVEN = "NOT PROVEN"
    BLIND = "BLIND"


HEALTH_TEXT: Final[dict[Health, str]] = {
    Health.OK: "{channel} is believable.",
    Health.STUCK: "{channel} gives the same count without end: the sensor or its converter is stuck. Find out which before going on.",
    Health.RAIL: "{channel} is at its upper rail: over pressure, a short or a wrong range. Treat it as over.",
    Health.OPEN: "{channel} is below its live zero or at its lower rail: check cable, connector and supply.",
    Health.GAP: "{channel} sends no samples: check the cable, the board's power and the adapter.",
    Health.NOT_PROVEN: "{channel} has not been seen to rise and return since its line was filled: do the puff test.",
    Health.BLIND: "{channel} does not see the chamber pressure: nothing protects by pressure, stay behind cover.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthLimits:
    """Limits of one channel in raw counts; `of_converter` derives the rails.

    A count below `open_below` is OPEN, one above `rail_above` is RAIL. `stuck_samples` is a
    declared property of the channel from its measured noise. `step_max` is the largest believable
    difference from sample to sample. `proof_counts` is the rise above `zero` that proves an open
    pressure line (0: no proof asked, as on thrust). `period_ns` is the sample period.
    """

    channel: str
    open_below: int
    rail_above: int
    stuck_samples: int
    step_max: int
    zero: int
    period_ns: int
    proof_counts: int = 0

    def __post_init__(self) -> None:
        if not self.open_below < self.rail_above:
            raise ValueError(
                f"{self.channel}: open_below {self.open_below} must be under rail_above {self.rail_above}"
            )
        if self.stuck_samples < 2 or self.step_max < 1 or self.period_ns < 1:
            raise ValueError(
                f"{self.channel}: stuck_samples, step_max and period_ns must be positive"
            )

    @classmethod
    def of_converter(
        cls,
        *,
        channel: str,
        full_scale: int,
        live_zero: int | None,
        zero: int,
        stuck_samples: int,
        step_max: int,
        period_ns: int,
        proof_counts: int = 0,
        bottom: int = 0,
    ) -> "HealthLimits":
        """Rails at 2 and 98 % of the converter (`bottom`..`full_scale` counts) and, for a sensor
        with a live zero at `live_zero` counts, lost under 90 % of it (checks 8.4 to 8.6).
        """
        margin = int((full_scale - bottom) * RAIL_SHARE)
        open_below = bottom + margin
        if live_zero is not None:
            open_below = max(open_below, bottom + int((live_zero - bottom) * LIVE_ZERO_LOST))
        return cls(
            channel=channel,
            open_below=open_below,
            rail_above=full_scale - margin,
            stuck_samples=stuck_samples,
            step_max=step_max,
            zero=zero,
            period_ns=period_ns,
            proof_counts=proof_counts,
        )


class Window(NamedTuple):
    """Mean and standard deviation in counts of the samples since the last `take_window`.

    Samples next to an impossible step are left out of these two figures (and of nothing else).
    """

    samples: int
    mean: float
    sigma: float
    spikes: int


class ChannelHealth:
    """Health of one channel; feed every received count to `push`, ask `word_at` between blocks."""

    __slots__ = (
        "_hi",
        "_last",
        "_lo",
        "_out",
        "_out_high",
        "_period_ns",
        "_proof",
        "_same",
        "_step_max",
        "_stuck",
        "_sum",
        "_sum2",
        "_used",
        "_window_spikes",
        "_zero",
        "limits",
        "proven",
        "railed",
        "samples",
        "seen_ns",
        "spikes",
        "word",
    )

    def __init__(self, limits: HealthLimits) -> None:
        self.limits = limits
        self._lo = limits.open_below
        self._hi = limits.rail_above
        self._stuck = limits.stuck_samples
        self._step_max = limits.step_max
        self._zero = limits.zero
        self._period_ns = limits.period_ns
        self._last: int | None = None
        self._same = 1
        self._out = 0
        self._out_high = False
        self.samples = 0
        self.spikes = 0
        self.railed = 0
        self.seen_ns: int | None = None
        self._used = self._sum = self._sum2 = self._window_spikes = 0
        self.forget_proof()

    def forget_proof(self) -> None:
        """The line was opened or refilled: ask for a new rise and return."""
        self.proven = self.limits.proof_counts <= 0
        self._proof = 0
        self.word = Health.OK if self.proven else Health.NOT_PROVEN

    def retare(self, zero: int) -> None:
        """Take a new zero in counts (once per motor, by the procedure)."""
        self._zero = zero

    def push(self, count: int) -> Health:
        """Take one raw count and return the word that holds now; about 0.4 µs."""
        self.samples += 1
        last = self._last
        self._last = count
        if count == last:
            self._same += 1
            self._tally(count)
            if self._same < self._stuck and not self._out and self.proven:
                return self.word
        else:
            if last is not None and not -self._step_max <= count - last <= self._step_max:
                self.spikes += 1
                self._window_spikes += 1
            else:
                self._tally(count)
            self._same = 1
        if self._lo <= count <= self._hi:
            if self._out:
                self._out = (self._out << 1) & _WINDOW_BITS
        else:
            self.railed += 1
            self._out = ((self._out << 1) | 1) & _WINDOW_BITS
            self._out_high = count > self._hi
        if not self.proven:
            self._watch_proof(count)
        self.word = word = self._judge()
        return word

    def push_block(self, counts: list[int], now_ns: int) -> Health:
        """Take a block received at `now_ns` (host monotonic); same verdict as sample by sample."""
        for count in counts:
            self.push(count)
        if counts:
            self.seen_ns = now_ns
        return self.word

    def seen(self, now_ns: int) -> None:
        """A block of this channel arrived at `now_ns`."""
        self.seen_ns = now_ns

    def word_at(self, now_ns: int) -> Health:
        """The word at `now_ns`: GAP when the newest block is too old, else the last verdict."""
        limit = max(GAP_NS, GAP_PERIODS * self._period_ns)
        if self.seen_ns is None or now_ns - self.seen_ns > limit:
            return Health.GAP
        return self.word

    def text_at(self, now_ns: int) -> str:
        """One sentence for the operator."""
        return HEALTH_TEXT[self.word_at(now_ns)].format(channel=self.limits.channel)

    def take_window(self) -> Window:
        """Noise and mean since the last call, for the standing checks in SAFE and ARM."""
        used = self._used
        window = Window(0, float(self._zero), 0.0, self._window_spikes)
        if used:
            mean = self._sum / used
            variance = max(0.0, self._sum2 / used - mean * mean)
            if used > 1:
                variance *= used / (used - 1)
            window = Window(used, self.limits.zero + mean, variance**0.5, self._window_spikes)
        self._used = self._sum = self._sum2 = self._window_spikes = 0
        return window

    def _tally(self, count: int) -> None:
        off = count - self.limits.zero
        self._used += 1
        self._sum += off
        self._sum2 += off * off

    def _watch_proof(self, count: int) -> None:
        rise = count - self._zero
        need = self.limits.proof_counts
        if self._proof < _NEEDED:
            self._proof = self._proof + 1 if rise >= need and count <= self._hi else 0
        elif rise <= need // 4:
            self._proof += 1
            self.proven = self._proof >= 2 * _NEEDED

    def _judge(self) -> Health:
        if self._out and self._out.bit_count() >= _NEEDED:
            return Health.RAIL if self._out_high else Health.OPEN
        if self._same >= self._stuck:
            return Health.STUCK
        return Health.OK if self.proven else Health.NOT_PROVEN
