"""Counts to SI and back: limits round to the safe side, wrong cards are refused."""

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.channels.calibration import Calibration, calibration_of, calibrations
from daq.errors import ConfigError
from daq.settings import load_settings
from daq.settings_demo import demo_settings
from daq.settings_stand import PressurePoint

TODAY = date(2026, 9, 14)


@pytest.fixture(scope="module")
def stand(tmp_path_factory):
    return load_settings(demo_settings("fast", tmp_path_factory.mktemp("fast"), TODAY)).stand


@pytest.fixture(scope="module")
def p1(stand):
    return calibrations(stand)["p1"]


def curve(c0, c1, c2=0.0):
    return Calibration(
        channel="x",
        unit="pa",
        reference="gauge",
        c0=c0,
        c1=c1,
        c2=c2,
        counts_lo=0,
        counts_hi=65536,
        u_scale_rel=0.0,
        u_zero=0.0,
        noise_counts=1.0,
        made=TODAY,
        valid_until=TODAY,
        sensor_serial="s",
        cable_serial="c",
        amplifier_serial="a",
        source="test",
    )


def test_the_limit_of_the_worked_example(p1):
    """design: hi = floor(6553.6 + 0.478 x 52428.8) = 31614, read back 4.780."""
    hi = p1.to_counts(4.78e6, towards="low")
    assert hi == 31614
    assert f"{p1.to_si(hi) / 1e6:.3f}" == "4.780"
    assert p1.to_si(hi) <= 4.78e6 < p1.to_si(hi + 1)


def test_arrays_and_numbers_agree(p1):
    counts = np.array([6554, 31614, 58982], dtype=np.int32)
    assert p1.to_si(counts) == pytest.approx([p1.to_si(float(value)) for value in counts])


@given(
    st.floats(-1e7, 1e7),
    st.floats(0.01, 1e4),
    st.sampled_from([0.0, 1e-8, -1e-8]),
    st.floats(0, 65536),
)
def test_a_limit_always_rounds_to_the_safe_side(c0, c1, bend, at):
    card = curve(c0, c1, bend * c1)
    value = card.to_si(at)
    low, high = (card.to_counts(value, towards=way) for way in ("low", "high"))
    assert card.to_si(low) <= value < card.to_si(low + 1)
    assert card.to_si(high - 1) < value <= card.to_si(high)
    assert abs(card.to_counts(value, towards="nearest") - at) <= 0.51


@given(st.integers(0, 65535))
def test_whole_counts_come_back_both_ways(p1, counts):
    value = p1.to_si(counts)
    assert {p1.to_counts(value, towards=way) for way in ("low", "high", "nearest")} == {counts}


def test_a_value_off_the_curve_is_refused():
    with pytest.raises(ValueError, match="never reads"):
        curve(0.0, 1.0, -1e-6).counts_of(1e9)


def test_a_falling_card_is_refused():
    """Fault matrix: swapped slope."""
    with pytest.raises(ConfigError, match="rises with the counts"):
        curve(0.0, -1.0)


def test_uncertainty_grows_with_the_reading_and_never_vanishes(p1):
    """Expanded, k = 2: scale 2 %, zero 0.03 MPa, and one step of the converter (check 8.7)."""
    assert p1.expanded_u(0.0) == pytest.approx(0.03e6, rel=1e-3)
    assert p1.expanded_u(4.78e6) == pytest.approx(0.1002e6, rel=1e-3)
    assert p1.noise_si == pytest.approx(0.02995e6, rel=1e-3)


def test_a_card_survives_the_record(stand):
    for card in calibrations(stand).values():
        body = json.loads(json.dumps(card.to_json()))
        assert Calibration.from_json(body) == card


def test_a_tare_moves_only_the_zero(p1):
    tared = p1.zeroed(6600.0)
    assert tared.to_si(6600.0) == pytest.approx(0.0, abs=1e-6)
    assert tared.c1 == p1.c1
    assert p1.zeroed(6600.0, 101325.0).to_si(6600.0) == pytest.approx(101325.0)


def test_the_date_is_a_range(p1):
    assert p1.in_date(TODAY)
    assert not p1.in_date(date(2030, 1, 1))
    assert not p1.in_date(date(2020, 1, 1))


def test_points_are_fitted_and_their_scatter_widens_the_uncertainty(stand):
    channel = stand.pressure[0]
    points = tuple(
        PressurePoint(
            counts=6553.6 + 52428.8 * k / 5, applied_pa=2e6 * k + (20e3 if k % 2 else -20e3)
        )
        for k in range(6)
    )
    card = replace(channel.calibration, coefficients_pa=(), points=points)
    fitted = calibration_of(replace(channel, calibration=card))
    assert fitted.to_si(32768.0) == pytest.approx(5e6, abs=10e3)
    assert fitted.expanded_u(0.0) > 40e3


def test_points_at_one_place_are_no_calibration(stand):
    channel = stand.pressure[0]
    points = tuple(PressurePoint(counts=7000, applied_pa=k * 1e6) for k in range(4))
    card = replace(channel.calibration, coefficients_pa=(), points=points)
    with pytest.raises(ConfigError, match="same counts"):
        calibration_of(replace(channel, calibration=card))


@pytest.mark.parametrize("wrong", [1e-3, 1 / 6894.757293168, 0.8, 1.25])
def test_a_card_that_contradicts_the_nameplate_is_refused(stand, wrong):
    """Fault matrix: kPa for Pa, psi for Pa, wrong range."""
    channel = stand.pressure[0]
    card = channel.calibration
    card = replace(card, coefficients_pa=tuple(value * wrong for value in card.coefficients_pa))
    with pytest.raises(ConfigError, match="check unit, range and gain"):
        calibration_of(replace(channel, calibration=card))


def test_a_bench_calibration_is_less_certain(stand):
    """Practice 6.1."""
    channel = stand.thrust[0]
    bench = replace(channel.calibration, place="bench", u_bench=0.02)
    assert calibration_of(replace(channel, calibration=bench)).expanded_u(1000) > calibration_of(
        channel
    ).expanded_u(1000)
