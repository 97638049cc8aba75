"""The firing line: what lets current through, what the board can measure, what the igniter does."""

from itertools import product

import pytest

from simulators.circuit import NOT_MEASURED_MOHM, FiringLine, IgniterSpec, LineSpec

IGNITER = IgniterSpec(ohm=1.4, all_fire_a=1.5, fire_after_s=0.02)


def line(**state):
    ready = {"key_in": True, "joined": True, "high": True, "low": True} | state
    return FiringLine(spec=LineSpec(), igniter=IGNITER, **ready)


def run(circuit, seconds, step=0.00025):
    return [circuit.step(step) for _ in range(round(seconds / step))]


def test_current_flows_only_with_key_in_stop_out_and_both_switches_closed():
    for key, stop, high, low in product((False, True), repeat=4):
        circuit = line(key_in=key, stop_in=stop, high=high, low=low)
        circuit.step(0.00025)
        expected = key and not stop and high and low
        assert (circuit.current_a > 0) == expected
        assert (circuit.line_mv() > 1000) == expected


def test_key_and_stop_hold_even_with_both_switches_and_the_key_contact_welded():
    welded = {"high": False, "low": False, "high_welded": True, "low_welded": True}
    out = line(key_in=False, key_contact_welded=True, **welded)
    out.step(0.00025)
    assert out.key_sensed
    assert out.high_closed
    assert out.low_closed
    assert out.current_a == 0
    pressed = line(stop_in=True, **welded)
    pressed.step(0.00025)
    assert pressed.current_a == 0


def test_current_and_sag_follow_ohms_law():
    circuit = line()
    circuit.step(0.00025)
    amps = 12.6 / (0.1 + 0.6 + 1.4)
    assert circuit.line_ma() == pytest.approx(1000 * amps, abs=1)
    assert circuit.sagged_mv() == pytest.approx(12_600 - 100 * amps, abs=1)


def test_the_igniter_works_once_after_its_time_and_opens_the_line():
    circuit = line()
    fired = run(circuit, 0.1)
    assert sum(fired) == 1
    assert fired.index(True) == pytest.approx(0.02 / 0.00025, abs=2)
    assert circuit.bridge_open
    assert circuit.current_a == 0
    assert circuit.continuity_mohm() == NOT_MEASURED_MOHM


def test_an_igniter_that_does_not_open_keeps_the_current():
    circuit = FiringLine(
        spec=LineSpec(),
        igniter=IgniterSpec(ohm=1.4, all_fire_a=1.5, fire_after_s=0.02, opens=False),
        key_in=True,
        joined=True,
        high=True,
        low=True,
    )
    assert sum(run(circuit, 0.1)) == 1
    assert circuit.current_a > 1.5


def test_too_little_current_or_too_short_a_pulse_never_works_it():
    weak = line(extra_ohm=20.0)
    assert not any(run(weak, 5.0))
    short = line()
    assert not any(run(short, 0.015))
    short.high = False
    run(short, 0.01)
    short.high = True
    assert not any(run(short, 0.015))


def test_a_dud_breaks_its_bridge_and_lights_nothing():
    circuit = line(dud=True)
    assert not any(run(circuit, 0.1))
    assert circuit.bridge_open


def test_a_dummy_and_a_shunted_line_never_work_an_igniter():
    assert not any(run(line(load="dummy"), 1.0))
    assert not any(run(line(shunted=True), 1.0))


def test_continuity_is_line_and_load_or_open():
    assert line(high=False).continuity_mohm() == 2000
    assert line(high=False, load="dummy").continuity_mohm() == 7400
    assert line(high=False, shunted=True).continuity_mohm() == 600
    assert line(high=False, load="open").continuity_mohm() == NOT_MEASURED_MOHM
    assert line(high=False, joined=False).continuity_mohm() == NOT_MEASURED_MOHM
    assert line().continuity_mohm() == NOT_MEASURED_MOHM
