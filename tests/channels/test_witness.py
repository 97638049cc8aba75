"""The witness q = F/(C_F A_t p): design "believable", practice 6.15 and 9 row 4."""

import math

import pytest

from daq.channels.witness import Witness, WitnessLimits

THROAT = 1.2e-4
CF = 1.45
P = 4.0e6
F = CF * THROAT * P


def witness(**changes):
    values = {
        "c_f": CF,
        "c_f_min": 1.25,
        "throat_m2": THROAT,
        "expected_thrust_n": F,
        "expected_pa": P,
        "trip_pa": 4.78e6,
    }
    return Witness(WitnessLimits(**values | changes))


def feed(w, seconds, thrust, pressure, start=0.0):
    first = round(start * 1e6)
    return [w.push(first + n * 1_000, thrust, pressure) for n in range(round(seconds * 1_000))]


def test_a_steady_burn_is_ok_and_quiet_is_idle():
    w = witness()
    assert set(feed(w, 0.5, 0.0, 0.0)) == {"IDLE"}
    assert set(feed(w, 0.5, F, P, 0.5)) == {"OK"}
    assert w.q == pytest.approx(1.0)
    assert set(feed(w, 0.5, 0.0, 0.0, 1.0)) == {"IDLE"}


def test_a_plugged_line_is_blind_after_200_ms_and_stays_so():
    w = witness()
    words = feed(w, 1.0, F, 0.0)
    assert words.index("BLIND") == 200
    assert math.isinf(w.q)
    assert set(feed(w, 1.0, F, P, 1.0)) == {"BLIND"}
    w.reset()
    assert w.word == "IDLE"


def test_a_short_disagreement_at_ignition_is_not_blind():
    w = witness()
    assert "BLIND" not in feed(w, 0.19, F, 0.1 * P)
    assert "BLIND" not in feed(w, 0.5, F, P, 0.19)


def test_pressure_without_thrust_is_the_load_path_and_recovers():
    w = witness()
    assert feed(w, 0.3, 0.3 * F, P)[-1] == "LOAD PATH SUSPECT"
    assert feed(w, 0.1, F, P, 0.3)[-1] == "OK"


def test_the_band_ends_at_its_limits():
    for q, word in (
        (0.7 + 1e-9, "OK"),
        (0.69, "LOAD PATH SUSPECT"),
        (1.3 - 1e-9, "OK"),
        (1.31, "BLIND"),
    ):
        assert feed(witness(), 0.3, q * F, P)[-1] == word


def test_thrust_that_implies_more_than_the_trip_is_said_only_when_blind():
    """p_F = F/(C_F,min A_t) over p_trip sounds the siren; it is no trip."""
    w = witness()
    feed(w, 0.5, 2.0 * F, P / 10)
    assert w.over_trip
    assert w.max_p_f_pa == pytest.approx(2.0 * F / (1.25 * THROAT))
    seeing = witness()
    feed(seeing, 0.5, 1.2 * F, 1.2 * P)
    assert not seeing.over_trip


def test_impossible_limits_are_refused():
    with pytest.raises(ValueError, match="c_f_min"):
        witness(c_f_min=2.0)
    with pytest.raises(ValueError, match="trip"):
        witness(trip_pa=0.0)
