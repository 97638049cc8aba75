"""Sensors: lag, ringing, quantisation, rails, and each way a channel can break."""

import math
import statistics
from dataclasses import replace

import pytest

from simulators.motor import STANDARD_PA
from simulators.sensors import Channel, ChannelSpec, Lag, MassSpring

STEP_S = 0.00025
PRESSURE = ChannelSpec(
    name="p1",
    kind="pressure",
    counts_at_zero=6553.6,
    counts_per_si=52_428.8 / 10e6,
    counts_lo=0,
    counts_hi=65_535,
)
THRUST = ChannelSpec(
    name="thrust",
    kind="thrust",
    counts_at_zero=200_000.0,
    counts_per_si=2_000.0,
    counts_lo=-8_388_608,
    counts_hi=8_388_607,
    noise_counts=20.0,
)


def channel(spec=PRESSURE, seed=1):
    return Channel(spec, STEP_S, seed)


def test_a_lag_answers_a_step_and_a_ramp_as_the_closed_form():
    lag = Lag(0.002, STEP_S, 0.0)
    values = [lag.push(1.0) for _ in range(8)]
    assert values[-1] == pytest.approx(1 - math.exp(-1), rel=1e-12)
    ramp = Lag(0.002, STEP_S, 0.0)
    for k in range(400):
        last = ramp.push(40e6 * (k + 1) * STEP_S)
    behind = 40e6 * 400 * STEP_S - last
    assert behind == pytest.approx(40e6 * 0.002, rel=0.07)


def test_the_load_cell_rings_at_its_frequency_and_settles():
    spring = MassSpring(180.0, 0.04, STEP_S)
    values = [spring.push(100.0) for _ in range(4000)]
    overshoot = math.exp(-math.pi * 0.04 / math.sqrt(1 - 0.04**2))
    assert max(values) == pytest.approx(100.0 * (1 + overshoot), rel=0.01)
    crossings = [k for k in range(1, 400) if values[k - 1] < 100.0 <= values[k]]
    period = (crossings[4] - crossings[0]) / 4 * STEP_S
    assert 1 / period == pytest.approx(180.0 * math.sqrt(1 - 0.04**2), rel=0.02)
    assert values[-1] == pytest.approx(100.0, rel=1e-6)


def test_quantisation_error_is_a_twelfth_of_a_step_squared():
    """Check 8.7: q/sqrt(12), here with the true value swept through many steps."""
    quiet = Channel(replace(PRESSURE, noise_counts=0.0), STEP_S, 3)
    errors = []
    for k in range(50_000):
        exact = 6553.6 + k * 0.137
        counts = quiet.counts((exact - 6553.6) / PRESSURE.counts_per_si)
        errors.append(counts - exact)
    assert statistics.pstdev(errors) == pytest.approx(1 / math.sqrt(12), rel=5e-3)


def test_a_twelve_bit_ratiometric_channel_has_the_published_step():
    """Checks 8.4 and 8.7: 0 to 10 MPa on 0.1 to 0.9 of 4096 counts; q 3051.758 Pa."""
    spec = replace(
        PRESSURE,
        counts_at_zero=409.6,
        counts_per_si=0.8 * 4096 / 10e6,
        counts_hi=4095,
        noise_counts=0.0,
    )
    assert 1 / spec.counts_per_si == pytest.approx(3051.758, rel=1e-6)
    for pa, ratio in [(0.0, 0.1), (2.5e6, 0.3), (5e6, 0.5), (10e6, 0.9)]:
        assert Channel(spec, STEP_S, 1).counts(pa) == pytest.approx(ratio * 4096, abs=0.5)


def test_counts_stop_at_the_rails():
    assert channel().counts(60e6) == 65_535
    assert channel().counts(-60e6) == 0


def test_ambient_reads_zero_gauge_and_barometer_absolute():
    gauge, absolute = channel(), channel(replace(PRESSURE, reference="absolute"))
    assert gauge.sample(STANDARD_PA, 0.0) == pytest.approx(6553.6, abs=4)
    expected = 6553.6 + STANDARD_PA * PRESSURE.counts_per_si
    assert absolute.sample(STANDARD_PA, 0.0) == pytest.approx(expected, abs=4)


def test_noise_has_its_size_and_follows_the_seed():
    first = [channel(THRUST, 7).sample(STANDARD_PA, 0.0) for _ in range(1)]
    one, two, other = channel(THRUST, 7), channel(THRUST, 7), channel(THRUST, 8)
    a = [one.sample(STANDARD_PA, 0.0) for _ in range(4000)]
    b = [two.sample(STANDARD_PA, 0.0) for _ in range(4000)]
    c = [other.sample(STANDARD_PA, 0.0) for _ in range(4000)]
    assert first[0] == a[0]
    assert a == b
    assert a != c
    assert statistics.pstdev(a) == pytest.approx(20.0, rel=0.05)


def test_a_broken_channel_reads_what_its_fault_says():
    ch = channel()
    last = ch.sample(2e6, 0.0)
    for word, expected in [("stuck", last), ("open", 0), ("rail_low", 0), ("rail_high", 65_535)]:
        ch.broken = word
        assert {ch.sample(3e6, 0.0) for _ in range(50)} == {expected}
    ch.broken = ""
    assert ch.sample(3e6, 0.0) != last


def test_a_plugged_line_keeps_what_was_in_it():
    ch = channel()
    for _ in range(100):
        ch.sample(STANDARD_PA, 0.0)
    ch.plugged = True
    values = [ch.sample(5e6, 0.0) for _ in range(400)]
    assert max(values) < 6553.6 + 6


def test_offset_gain_drift_spike_and_shunt_move_the_reading():
    ch = channel(replace(PRESSURE, noise_counts=0.0, shunt_counts=500.0))
    base = ch.counts(1e6)
    ch.offset_counts = 100
    assert ch.counts(1e6) == base + 100
    ch.offset_counts = 0
    ch.gain = 1.1
    assert ch.counts(1e6) == pytest.approx(6553.6 + 1.1 * 5242.88, abs=1)
    ch.gain = 1.0
    ch.spike_counts = 9000
    assert ch.counts(1e6) == base + 9000
    assert ch.counts(1e6) == base
    ch.shunt_on = True
    assert ch.counts(1e6) == base + 500
    ch.shunt_on = False
    ch.drift_counts_per_s = 40.0
    for _ in range(4000):
        last = ch.counts(1e6)
    assert last == pytest.approx(base + 40, abs=1)


def test_a_slow_line_is_late():
    ch = channel(replace(PRESSURE, noise_counts=0.0, filter_s=0.0))
    ch.slow_line(0.5)
    for _ in range(2000):
        last = ch.sample(STANDARD_PA + 1e6, 0.0)
    assert (last - 6553.6) / 5242.88 == pytest.approx(1 - math.exp(-1), rel=0.01)


def test_a_channel_from_plain_numbers_names_what_is_missing():
    raw = {
        "name": "p1",
        "kind": "pressure",
        "counts_at_zero": 1.0,
        "counts_per_si": 1.0,
        "counts_lo": 0,
        "counts_hi": 10,
    }
    assert ChannelSpec.from_json(raw).name == "p1"
    with pytest.raises(KeyError, match="counts_per_si"):
        ChannelSpec.from_json({k: v for k, v in raw.items() if k != "counts_per_si"})
    with pytest.raises(ValueError, match="counts_hi"):
        ChannelSpec.from_json({**raw, "counts_hi": -1})
