"""Votes, rails and stuck on raw counts, sample by sample; and what a sample costs."""

import os
import random
import time

import pytest

from firmware_protocol.messages import (
    BoardState,
    ChannelLimits,
    EventKind,
    Reason,
    Role,
    split_value,
)
from firmware_protocol.numbers import COUNT_OVER
from simulators.board_channels import FAULT, LIT, TRIP, ChannelWatch
from tests.simulators.bench import AMBIENT, FAST, LIT_AT, TRIP_AT, Bench


def watch(**changes):
    fields = {"lo": 1400, "hi": TRIP_AT, "role": Role.PRESSURE_TRIP, "lit": LIT_AT}
    channel = ChannelWatch(0, 0, 65535)
    channel.use(ChannelLimits(**{**fields, **changes}), 3, 5)
    return channel


def edges(channel, counts):
    return [channel.push(count) for count in counts]


def test_the_third_of_five_samples_over_trips():
    assert edges(watch(), [TRIP_AT + 1] * 3)[2] & TRIP
    assert not any(e & TRIP for e in edges(watch(), [TRIP_AT] * 50))
    over, under = TRIP_AT + 1, TRIP_AT
    assert any(e & TRIP for e in edges(watch(), [over, under, over, under, over]))
    assert not any(e & TRIP for e in edges(watch(), [over, under, under, over, under, under] * 9))


def test_a_trip_is_said_once_per_vote_and_again_after_it_fell():
    """Practice 4.4: a second trip is news."""
    found = edges(watch(), [TRIP_AT + 9] * 20 + [AMBIENT] * 20 + [TRIP_AT + 9] * 20)
    assert sum(1 for e in found if e & TRIP) == 2


def test_what_could_not_be_converted_is_over():
    """Design: upper rail = over."""
    channel = watch()
    found = edges(channel, [COUNT_OVER] * 3)
    assert found[2] & TRIP
    assert channel.fault == Reason.CHANNEL_RAIL


def test_a_lost_live_zero_is_a_fault_and_heals_after_five_good_samples():
    channel = watch()
    assert edges(channel, [AMBIENT, 100, 101, 102])[3] & FAULT
    assert channel.fault == Reason.CHANNEL_OPEN
    edges(channel, range(AMBIENT, AMBIENT + 4))
    assert channel.fault == Reason.CHANNEL_OPEN
    assert edges(channel, [AMBIENT, AMBIENT + 1])[0] & FAULT
    assert channel.fault == Reason.OK


@pytest.mark.parametrize("count", [TRIP_AT - 1, 2000])
def test_stuck_counts_repeats(count):
    channel = watch(stuck_samples=100)
    edges(channel, [count + 1] + [count] * 100)
    assert channel.fault == Reason.OK
    channel.push(count)
    assert channel.fault == Reason.CHANNEL_STUCK
    channel.push(count + 1)
    assert channel.fault == Reason.OK


def test_a_thrust_channel_never_trips_but_lights():
    channel = watch(role=Role.THRUST, hi=60_000)
    found = edges(channel, range(63_000, 63_100))
    assert not any(e & TRIP for e in found)
    assert found[2] & LIT
    assert channel.fault == Reason.CHANNEL_RAIL


def test_new_limits_forget_the_old_bounds():
    channel = watch(lo=5000)
    channel.use(ChannelLimits(lo=1400, hi=TRIP_AT, role=Role.PRESSURE_TRIP), 3, 5)
    edges(channel, range(2000, 2020))
    assert channel.fault == Reason.OK


MINUTES = int(os.environ.get("BERM_SPIKE_MINUTES", "1"))


def test_minutes_near_the_trip_with_spikes_trip_nothing():
    """Design timer table: 10 simulated minutes with spikes; one in the suite, ten by BERM_SPIKE_MINUTES.

    4 kS/s, level 96 % of the trip count, noise 3 counts rms, up to two spikes in every ten samples.
    """
    rng = random.Random(1)
    level = int(TRIP_AT * 0.96)
    base = [int(rng.gauss(level, 3)) for _ in range(40_000)]
    channel = watch()
    for _ in range(6 * MINUTES):
        counts = base.copy()
        for at in range(0, len(counts) - 10, 10):
            for n in range(rng.randrange(3)):
                counts[at + n] = 65_000
        assert not any(e & TRIP for e in edges(channel, counts))


@pytest.mark.parametrize("rise_mpa_s", [10, 40, 400, 1000])
def test_a_ramp_trips_at_the_third_sample_over(rise_mpa_s):
    """Check 9.9 and the redline table: S(N−1)/fs above the limit at best, S·N/fs at worst."""
    per_sample = rise_mpa_s * 1e6 / 4000 / 1e7 * 52_428.8
    channel = watch()
    count, n = 20_000.0, 0
    first = None
    while True:
        count += per_sample
        n += 1
        if first is None and int(count) > TRIP_AT:
            first = n
        if channel.push(min(int(count), 65_535)) & TRIP:
            break
    assert n - first == 2


def test_one_of_two_pressure_channels_carries_on_alone_and_none_drops_the_line():
    bench = Bench()
    bench.fire()
    bench.sampling = False
    for n in range(5):
        bench.board.sample(bench.tick + 1000 * n, 0, (50, AMBIENT + n % 2))
    assert bench.hal.live
    for n in range(5, 10):
        bench.board.sample(bench.tick + 1000 * n, 0, (50 + n, 60 + n))
    assert not bench.hal.live
    bench.run(2)
    assert bench.events(EventKind.DISARMED) == [Reason.BLIND]
    faults = [split_value(v) for v in bench.events(EventKind.CHANNEL_FAULT)]
    assert faults == [(0, Reason.CHANNEL_OPEN), (1, Reason.CHANNEL_OPEN)]


def test_silent_channels_are_named_and_come_back():
    bench = Bench()
    bench.ready()
    bench.sampling = False
    bench.run(60)
    assert split_value(bench.events(EventKind.CHANNEL_FAULT)[-1]) == (0, Reason.CHANNEL_SILENT)
    bench.sampling = True
    bench.run(60)
    assert bench.events(EventKind.CHANNEL_WELL)
    assert bench.board.state == BoardState.DISARMED


def test_a_sample_costs_little():
    """The stand runs 4 kS/s in real time beside the motor model: 15 µs per call is the budget."""
    bench = Bench(groups=(FAST,))
    bench.sampling = False
    bench.hello()
    bench.load()
    best = 1.0
    tick = bench.tick
    for _ in range(5):
        start = time.perf_counter()
        for n in range(2000):
            tick += 250
            bench.board.sample(tick, 0, (AMBIENT + (n & 3), AMBIENT - (n & 1)))
        best = min(best, (time.perf_counter() - start) / 2000)
        bench.board.take_tx()
    assert best < 15e-6
