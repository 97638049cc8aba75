"""Lit, chuff and burn-out: design, timers; practice 9 rows 9, 10, 12."""

import random

import pytest

from daq.channels.lit import LitChannel, LitWatch

THRUST = LitChannel(channel="f1", zero=8_000, expected=20_000, sigma=3.0)
PRESSURE = LitChannel(channel="p1", zero=6_554, expected=20_000, sigma=2.0)
STEP = 1_000  # 1 kS/s in ticks of 1 µs


def shape(t, pieces):
    """Piecewise constant level at time t from (from_s, share) pairs."""
    level = 0.0
    for start, share in pieces:
        if t >= start:
            level = share
    return level


def run(pieces_f, pieces_p, seconds, *, seed=1, skip=None):
    watch = LitWatch([THRUST, PRESSURE])
    rng = random.Random(seed)
    events = []
    for n in range(round(seconds * 1_000)):
        t = n / 1_000
        if skip and skip[0] <= t < skip[1]:
            continue
        for which, (channel, pieces) in enumerate(((THRUST, pieces_f), (PRESSURE, pieces_p))):
            count = channel.zero + channel.expected * shape(t, pieces)
            event = watch.push(which, round(rng.gauss(count, channel.sigma)), n * STEP)
            if event:
                events.append(event)
    return events, watch


def test_the_threshold_is_the_larger_of_5_percent_and_10_sigma():
    assert THRUST.threshold == 1_000
    assert LitChannel(channel="f", zero=0, expected=100, sigma=3.0).threshold == 30


def test_a_burn_is_lit_once_and_over_one_second_after_its_end():
    events, watch = run([(0.5, 1.0), (2.5, 0.0)], [(0.5, 1.0), (2.4, 0.0)], 5.0)
    assert [(e.kind, e.pulse) for e in events] == [("LIT", 1), ("BURN_OUT", 1)]
    assert events[0].tick == 502 * STEP
    assert events[1].tick == pytest.approx(3.5e6, abs=5_000)
    assert watch.quiet_from == pytest.approx(2.5e6, abs=5_000)
    assert watch.peak_counts(0) == pytest.approx(20_000, abs=30)
    assert not watch.burning


def test_either_channel_alone_is_enough_to_be_lit():
    """Practice 9 row 4: pressure line plugged, thrust alone shows the burn."""
    for f, p in (([(0.5, 1.0), (1.5, 0.0)], []), ([], [(0.5, 1.0), (1.5, 0.0)])):
        events, _ = run(f, p, 4.0)
        assert [e.kind for e in events] == ["LIT", "BURN_OUT"]
        assert events[1].tick == pytest.approx(2.5e6, abs=5_000)


def test_noise_and_single_spikes_light_nothing():
    watch = LitWatch([THRUST, PRESSURE])
    rng = random.Random(3)
    for n in range(100_000):
        spike = 65_535 if n % 5 in (0, 1) and n % 1_000 < 10 else None
        for which, channel in enumerate((THRUST, PRESSURE)):
            count = spike if spike and n % 5 == 0 else round(rng.gauss(channel.zero, channel.sigma))
            assert watch.push(which, count, n * STEP) is None
    assert not watch.burning


def test_each_chuff_is_an_event_and_restarts_the_quiet_second():
    """Practice 9 row 10: no burn-out until quiet."""
    pulses = [(0.5, 0.6), (0.7, 0.0), (1.4, 0.6), (1.6, 0.0), (2.3, 0.6), (2.5, 0.0)]
    events, _ = run(pulses, pulses, 6.0)
    assert [(e.kind, e.pulse) for e in events] == [
        ("LIT", 1),
        ("CHUFF", 2),
        ("CHUFF", 3),
        ("BURN_OUT", 3),
    ]
    assert events[-1].tick == pytest.approx(3.5e6, abs=5_000)


def test_a_relight_after_burn_out_is_lit_again():
    pieces = [(0.5, 1.0), (1.0, 0.0), (4.0, 1.0), (4.5, 0.0)]
    events, _ = run(pieces, pieces, 7.0)
    assert [e.kind for e in events] == ["LIT", "BURN_OUT", "LIT", "BURN_OUT"]
    assert events[2].pulse == 2


def test_a_tail_above_5_percent_of_the_peak_is_still_burning():
    pieces = [(0.5, 1.0), (1.0, 0.06), (3.0, 0.0)]
    events, _ = run(pieces, pieces, 6.0)
    assert events[-1].tick == pytest.approx(4.0e6, abs=5_000)


def test_a_gap_does_not_count_as_quiet():
    """Samples missing from 1.2 s to 2.5 s: the second that was really seen starts at 2.5 s."""
    pieces = [(0.5, 1.0), (1.0, 0.0)]
    events, _ = run(pieces, pieces, 5.0, skip=(1.2, 2.5))
    assert events[-1].kind == "BURN_OUT"
    assert events[-1].tick == pytest.approx(3.5e6, abs=5_000)


def test_a_channel_that_died_is_left_out_and_without_any_the_end_is_unknown():
    """Practice 9 row 6: end of burn from the rest, else unknown."""
    watch = LitWatch([THRUST, PRESSURE])
    n = 0

    def feed(thrust, pressure, samples):
        nonlocal n
        seen = []
        for _ in range(samples):
            for which, count in enumerate((thrust, pressure)):
                event = watch.push(which, count, n * STEP)
                seen += [event.kind] if event else []
            n += 1
        return seen

    assert feed(28_000, 26_000, 200) == ["LIT"]
    watch.set_valid(1, valid=False, tick=n * STEP)
    assert feed(8_000, 65_535, 1_100) == ["BURN_OUT"]
    watch.reset()
    watch.set_valid(1, valid=True, tick=n * STEP)
    assert feed(28_000, 26_000, 200) == ["LIT"]
    watch.set_valid(0, valid=False, tick=n * STEP)
    watch.set_valid(1, valid=False, tick=n * STEP)
    assert feed(0, 0, 3_000) == []
    assert watch.burning


def test_channels_of_different_rates_share_one_watch():
    watch = LitWatch([THRUST, PRESSURE])
    events = []
    for ms in range(4_000):
        lit = 500 <= ms < 1_500
        for sub in range(4):
            event = watch.push(1, 26_000 if lit else 6_554, ms * 1_000 + sub * 250)
            events += [event] if event else []
        if ms % 12 == 0:
            event = watch.push(0, 28_000 if lit else 8_000, ms * 1_000)
            events += [event] if event else []
    assert [e.kind for e in events] == ["LIT", "BURN_OUT"]
    assert events[0].tick == 500_500
    assert events[1].tick == pytest.approx(2.5e6, abs=40_000)


def test_a_new_zero_moves_the_threshold():
    watch = LitWatch([THRUST])
    watch.retare(0, 9_500)
    assert all(watch.push(0, 10_400, n * STEP) is None for n in range(50))
    with pytest.raises(ValueError, match="at least one"):
        LitWatch([])
