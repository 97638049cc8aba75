"""Health words of one channel: design "Is the reading believable?", checks 8.4 to 8.6."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.channels.health import HEALTH_TEXT, ChannelHealth, Health, HealthLimits
from daq.channels.standing import (
    ambient_fault,
    drift_fault,
    noise_fault,
    pair_fault,
    shunt_fault,
    spike_fault,
    zero_shift_fault,
)

FULL = 65_536
ZERO = 6_554  # 10 % of the converter: a ratiometric 10-90 % sensor (check 8.4)


def limits(**changes):
    return HealthLimits.of_converter(
        **{
            "channel": "p1",
            "full_scale": FULL,
            "live_zero": ZERO,
            "zero": ZERO,
            "stuck_samples": 100,
            "step_max": 2_000,
            "period_ns": 250_000,
        }
        | changes
    )


def noisy(n, level=ZERO, sigma=2.0, seed=1):
    rng = random.Random(seed)
    return [round(rng.gauss(level, sigma)) for _ in range(n)]


def test_a_healthy_channel_says_ok_and_every_word_has_a_sentence():
    health = ChannelHealth(limits())
    assert {health.push(c) for c in noisy(500)} == {Health.OK}
    for word in Health:
        assert HEALTH_TEXT[word].format(channel="p1").startswith("p1 ")


@pytest.mark.parametrize(
    ("share", "word"),
    [
        (0.1, "OK"),
        (0.3, "OK"),
        (0.5, "OK"),
        (0.9, "OK"),
        (0.05, "OPEN"),
        (0.99, "RAIL"),
        (0.0, "OPEN"),
    ],
)
def test_the_live_zero_band_of_a_ratiometric_sensor(share, word):
    """Check 8.4: a ratio of 0.05 is a fault, never -0.625 MPa."""
    health = ChannelHealth(limits())
    for c in noisy(20, level=share * FULL):
        health.push(c)
    assert health.word == word


def test_a_current_loop_below_its_live_zero_is_open():
    """Check 8.6: 4-20 mA on 0-20 mA of the converter, 12 mA is good, 3.5 mA is a fault."""
    loop = limits(live_zero=FULL * 4 // 20)
    for milliamp, word in ((12.0, "OK"), (3.5, "OPEN"), (4.0, "OK")):
        health = ChannelHealth(loop)
        for c in noisy(20, level=milliamp / 20 * FULL):
            health.push(c)
        assert health.word == word


def test_one_spike_to_a_rail_is_counted_and_changes_no_word():
    health = ChannelHealth(limits())
    words = [health.push(c) for c in [*noisy(50), 65_535, *noisy(50), 0, *noisy(50)]]
    assert set(words) == {Health.OK}
    assert health.spikes == 4
    assert health.railed == 2


def test_a_rail_is_said_within_three_samples_and_ends_with_it():
    health = ChannelHealth(limits())
    for c in noisy(10):
        health.push(c)
    assert [health.push(65_000) for _ in range(3)] == ["OK", "OK", "RAIL"]
    assert [health.push(c) for c in noisy(5)][-1] == "OK"


def test_equal_samples_are_stuck_after_the_declared_number():
    health = ChannelHealth(limits())
    words = [health.push(7_000) for _ in range(150)]
    assert words.index(Health.STUCK) == 99
    assert health.push(7_001) == "OK"


def test_a_quiet_channel_with_its_own_declared_number_is_not_called_stuck():
    """Design: at >= 0.6 counts rms 100 samples do; ten minutes without a false word at 1 kS/s."""
    health = ChannelHealth(limits())
    assert Health.STUCK not in {health.push(c) for c in noisy(300_000, sigma=0.6)}


def test_a_gap_is_the_longer_of_100_ms_and_five_periods():
    health = ChannelHealth(limits())
    assert health.word_at(0) == "GAP", "nothing was ever received"
    health.push_block(noisy(10), 1_000_000_000)
    assert health.word_at(1_100_000_000) == "OK"
    assert health.word_at(1_100_000_001) == "GAP"
    slow = ChannelHealth(limits(period_ns=100_000_000))
    slow.push(7_000)
    slow.seen(0)
    assert slow.word_at(500_000_000) == "OK"
    assert slow.word_at(500_000_001) == "GAP"
    assert "sends no samples" in slow.text_at(600_000_000)


def test_a_pressure_line_is_proven_by_a_rise_and_a_return_only():
    """Practice 2.9: the tool must see a rise and a return, else it cannot be ticked."""
    health = ChannelHealth(limits(proof_counts=400))
    assert [health.push(c) for c in noisy(20)][-1] == "NOT PROVEN"
    assert [health.push(c) for c in noisy(20, level=ZERO + 500)][-1] == "NOT PROVEN"
    assert [health.push(c) for c in noisy(20)][-1] == "OK"
    health.forget_proof()
    assert health.word == "NOT PROVEN"


def test_spikes_prove_no_line():
    health = ChannelHealth(limits(proof_counts=400))
    for _ in range(50):
        for c in [*noisy(4), 60_000, 60_000]:
            health.push(c)
    assert health.word == "NOT PROVEN"


def test_the_noise_window_gives_mean_and_sigma_without_the_spikes():
    health = ChannelHealth(limits())
    counts = noisy(2_000, sigma=3.0)
    for at, c in enumerate(counts):
        health.push(c)
        if at == 1_000:
            health.push(60_000)
    window = health.take_window()
    assert window.mean == pytest.approx(ZERO, abs=0.3)
    assert window.sigma == pytest.approx(3.0, rel=0.1)
    assert window.spikes == 2
    assert health.take_window().samples == 0


@given(st.lists(st.integers(0, FULL), min_size=1, max_size=200))
def test_blocks_and_single_samples_agree(counts):
    one, other = ChannelHealth(limits()), ChannelHealth(limits())
    for c in counts:
        one.push(c)
    other.push_block(counts, 5)
    assert (one.word, one.spikes, one.railed) == (other.word, other.spikes, other.railed)


@given(st.lists(st.sampled_from([0, ZERO, ZERO + 1, 40_000, 65_535]), max_size=120))
def test_the_word_equals_the_plain_rule(counts):
    """Brute force over the whole history, with a short stuck limit."""
    lim = limits(stuck_samples=4)
    health = ChannelHealth(lim)
    for at, c in enumerate(counts):
        word = health.push(c)
        recent = counts[max(0, at - 4) : at + 1]
        out = [x for x in recent if not lim.open_below <= x <= lim.rail_above]
        same = 1
        while same <= at and counts[at - same] == c:
            same += 1
        if len(out) >= 3:
            assert word == ("RAIL" if out[-1] > lim.rail_above else "OPEN")
        else:
            assert word == ("STUCK" if same >= 4 else "OK")


def test_impossible_limits_are_refused():
    with pytest.raises(ValueError, match="stuck_samples"):
        limits(stuck_samples=1)
    with pytest.raises(ValueError, match="rail_above"):
        limits(live_zero=2 * FULL)


def test_noise_is_compared_with_that_at_calibration():
    health = ChannelHealth(limits())
    for c in noisy(500, sigma=2.0):
        health.push(c)
    window = health.take_window()
    assert noise_fault("p1", window, 2.0) is None
    assert "noisier" in noise_fault("p1", window, 0.5)
    assert "quieter" in noise_fault("p1", window, 10.0)
    assert "wait" in noise_fault("p1", window._replace(samples=3), 2.0)


def test_the_standing_checks_answer_at_their_limits():
    assert spike_fault("p1", 20, 1.0) is None
    assert "21" in spike_fault("p1", 21, 1.0)
    assert ambient_fault("p1", 0.5, 0.5, 0.0) is None
    assert "Stay back" in ambient_fault("p1", 0.51, 0.5, 0.0)
    assert ambient_fault("p1", 101_000.0, 500.0, 101_325.0) is None
    assert drift_fault("p1", 1.0, 1.05, 0.1) is None
    assert drift_fault("p1", 1.0, 1.1 + 1e-9, 0.1)
    assert shunt_fault("p1", 98.0, 100.0) is None
    assert shunt_fault("p1", 97.9, 100.0)
    assert pair_fault(5.0, 3.0, 10.0, 4.0, burning=False) is None
    assert pair_fault(5.0, 3.0, 10.1, 4.0, burning=False)
    assert "higher one rules" in pair_fault(5.0, 3.0, 15.1, 4.0, burning=True)
    assert zero_shift_fault("p1", 0.0, 0.1, 0.1) is None
    assert "void" in zero_shift_fault("p1", 0.0, 0.2, 0.1)
