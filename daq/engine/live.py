"""What the channels say now: every received sample goes through vote, health and lit, raw.

One `LiveChannels` per run, fed by the safety thread with the blocks in the order received. It
draws no conclusions about the procedure: it reports `Rise`, `Over` and `Quiet`, and the core steps
the table. Nothing is smoothed or filled in on the way to a verdict; the numbers shown are the mean
of the newest block.
"""

from dataclasses import dataclass
from typing import Final

from daq.channels.health import ChannelHealth, Health, Window
from daq.channels.lit import LitChannel, LitEvent, LitWatch
from daq.channels.vote import OF, TripWatch
from daq.engine.plan import ChannelPlan, Plan
from firmware_protocol.messages import Samples

STEADY_S: Final = 0.25
AGAIN_TICKS: Final = 500_000
"""A vote that falls and stands again within half a second is one trip, not many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TripSeen:
    """The vote of one pressure channel stands: tick and SI value of the sample that decided it."""

    channel: str
    tick: int
    first_over_tick: int
    counts: int
    pa: float


class LiveChannel:
    """One channel: its judges and its newest numbers."""

    __slots__ = (
        "counts",
        "first_over",
        "health",
        "last_over",
        "over",
        "peak",
        "plan",
        "steady",
        "stood_tick",
        "trip",
        "window_ticks",
        "zero",
    )

    def __init__(self, plan: ChannelPlan) -> None:
        self.plan = plan
        self.health = ChannelHealth(plan.health)
        self.trip = (
            None
            if plan.trip_counts is None
            else TripWatch(plan.trip_counts, plan.health.open_below, plan.health.rail_above)
        )
        self.zero = plan.health.zero
        self.counts: float | None = None
        self.steady: float | None = None
        self.peak = float(plan.health.zero)
        self.over = False
        self.first_over: int | None = None
        self.last_over: int | None = None
        self.stood_tick: int | None = None
        self.window_ticks = OF * max(1, plan.health.period_ns // 1000)

    def si(self, counts: float) -> float:
        """Pa or N by the calibration; thrust from its tare, pressure as declared."""
        value = float(self.plan.calibration.to_si(counts))
        if self.plan.is_pressure:
            return value
        return value - float(self.plan.calibration.to_si(self.zero))

    @property
    def value(self) -> float | None:
        return None if self.counts is None else self.si(self.counts)

    @property
    def steady_value(self) -> float | None:
        """Mean over about a quarter of a second: for zero and ambient, where one block is noise."""
        return None if self.steady is None else self.si(self.steady)

    def note_block(self, mean: float, block_s: float) -> None:
        """Take the mean of a block: the shown number, and the slow mean of zero and ambient."""
        self.counts = mean
        if self.steady is None or abs(mean - self.steady) > 10 * self.plan.noise_counts:
            self.steady = mean
        else:
            self.steady += (mean - self.steady) * min(1.0, block_s / STEADY_S)

    @property
    def counts_si(self) -> float:
        return self.value or 0.0

    @property
    def peak_value(self) -> float:
        return self.si(self.peak)


class LiveChannels:
    """All channels of the stand; `take` one block at a time."""

    def __init__(self, plan: Plan, tick_hz: int = 1_000_000) -> None:
        self.plan = plan
        self.channels = {each.name: LiveChannel(each) for each in plan.channels}
        self._by_group: dict[int, list[tuple[int, LiveChannel, int]]] = {}
        lit: list[LitChannel] = []
        for number, each in enumerate(plan.channels):
            live = self.channels[each.name]
            self._by_group.setdefault(each.group, []).append((each.index, live, number))
            lit.append(
                LitChannel(
                    channel=each.name,
                    zero=each.health.zero,
                    expected=each.expected_counts,
                    sigma=each.noise_counts,
                )
            )
        self.lit = LitWatch(lit, tick_hz)
        self.next_index: dict[int, int] = {}
        self.last_tick: dict[int, int] = {}
        self.gaps = 0
        self.lost_samples = 0

    def take(self, block: Samples, now_ns: int) -> list[TripSeen | LitEvent]:
        """Judge one block; what was decided by it, in sample order."""
        self._count_gap(block)
        news: list[TripSeen | LitEvent] = []
        members = self._by_group.get(block.group, [])
        rows = block.rows()
        for row_number, row in enumerate(rows):
            tick = block.tick + row_number * block.step
            for index, live, number in members:
                self._sample(live, number, row[index], tick, news)
        for index, live, number in members:
            live.health.seen(now_ns)
            if rows:
                mean = sum(row[index] for row in rows) / len(rows)
                live.note_block(mean, len(rows) * live.plan.health.period_ns / 1e9)
            word = live.health.word
            self.lit.set_valid(
                number, word in (Health.OK, Health.NOT_PROVEN, Health.RAIL), block.tick
            )
        return news

    def pass_over(self, block: Samples, now_ns: int) -> None:
        """Take note that a block came, without judging it (the shunt step of a self-test)."""
        self._count_gap(block)
        for _, live, _ in self._by_group.get(block.group, []):
            live.health.seen(now_ns)

    def _sample(
        self,
        live: LiveChannel,
        number: int,
        count: int,
        tick: int,
        news: list[TripSeen | LitEvent],
    ) -> None:
        live.health.push(count)
        live.peak = max(live.peak, count)
        if live.trip is not None:
            self._vote(live, live.trip, count, tick, news)
        event = self.lit.push(number, count, tick)
        if event is not None:
            news.append(event)

    def _vote(
        self,
        live: LiveChannel,
        trip: TripWatch,
        count: int,
        tick: int,
        news: list[TripSeen | LitEvent],
    ) -> None:
        """One count against the trip; news when the vote comes to stand anew."""
        if count >= trip.hi:
            if live.last_over is None or tick - live.last_over > live.window_ticks:
                live.first_over = tick
            live.last_over = tick
        live.over = trip.push(count)
        if not live.over:
            return
        if live.stood_tick is None or tick - live.stood_tick > AGAIN_TICKS:
            news.append(
                TripSeen(
                    channel=live.plan.name,
                    tick=tick,
                    first_over_tick=tick if live.first_over is None else live.first_over,
                    counts=count,
                    pa=live.si(count),
                )
            )
        live.stood_tick = tick

    def _count_gap(self, block: Samples) -> None:
        expected = self.next_index.get(block.group)
        if expected is not None and block.first_index > expected:
            self.gaps += 1
            self.lost_samples += block.first_index - expected
        rows = len(block.rows())
        self.next_index[block.group] = block.first_index + rows
        self.last_tick[block.group] = block.tick + rows * block.step

    def skipped(self) -> None:
        """The board started anew or the rehearsal clock stepped: the next index is no gap."""
        self.next_index.clear()

    def stepped(self, jump_ns: int) -> None:
        """A rehearsal step: the age of the newest block is of real traffic and moves along."""
        self.skipped()
        for live in self.channels.values():
            if live.health.seen_ns is not None:
                live.health.seen(live.health.seen_ns + jump_ns)

    def forget_peaks(self) -> None:
        for live in self.channels.values():
            live.peak = live.counts if live.counts is not None else float(live.zero)

    def tare(self, name: str) -> Window:
        """Take the mean since the last window as the new zero of a channel; returns that window."""
        live = self.channels[name]
        window = live.health.take_window()
        if window.samples:
            live.zero = round(window.mean)
            live.health.retare(live.zero)
            self.lit.retare(list(self.channels).index(name), live.zero)
        return window

    def word(self, name: str, now_ns: int) -> Health:
        return self.channels[name].health.word_at(now_ns)

    def highest(self, quantity: str, now_ns: int) -> tuple[LiveChannel | None, Health]:
        """The channel that rules: the highest healthy one, else the first with its word."""
        best: LiveChannel | None = None
        members = [c for c in self.channels.values() if c.plan.quantity == quantity]
        for live in members:
            good = live.health.word_at(now_ns) in (Health.OK, Health.NOT_PROVEN)
            if (
                good
                and live.counts is not None
                and (best is None or live.counts_si > best.counts_si)
            ):
                best = live
        if best is None and members:
            best = members[0]
        return best, Health.GAP if best is None else best.health.word_at(now_ns)
