"""The self-test: switches one by one with the key out, outputs, supply dip, shunt (practice 3.4)."""

import pytest

from firmware_protocol.messages import (
    Flag,
    Out,
    ProcedureKind,
    Reason,
    Safe,
    Selftest,
    SelftestResult,
    SelftestWhat,
)
from tests.simulators.bench import OPEN, TRIP_AT, Bench


def ready(**changes):
    bench = Bench()
    bench.hello()
    bench.load(**changes)
    return bench


def test_a_sound_board_passes_and_moves_each_switch_alone():
    bench = ready()
    assert bench.selftest() == Reason.OK
    assert bench.hal.drives == [(True, False), (False, False), (False, True), (False, False)]
    assert bench.status.flags & Flag.SELFTEST_FRESH
    result = bench.newest(SelftestResult)
    assert (result.supply_rest_mv, result.supply_loaded_mv) == (12_600, 12_400)
    assert result.continuity_mohm == 1600


@pytest.mark.parametrize(
    "harm, reason",
    [
        (lambda h: setattr(h, "high_welded", True), Reason.HIGH_SWITCH),
        (lambda h: setattr(h, "low_welded", True), Reason.LOW_SWITCH),
        (lambda h: setattr(h, "supply", 11_100), Reason.SUPPLY),
        (lambda h: h.stuck_outs.update({Out.SIREN: False}), Reason.READBACK),
        (lambda h: h.stuck_outs.update({Out.LAMP_HORN: True}), Reason.READBACK),
        (lambda h: h.stuck_outs.update({Out.PUMP: True}), Reason.READBACK),
        (lambda h: setattr(h, "high_closed", lambda: False), Reason.HIGH_SWITCH),
        (lambda h: setattr(h, "line_mv", lambda: 3000 if h.high else 0), Reason.LINE_NOT_DEAD),
    ],
)
def test_a_fault_is_found_and_refuses_arming(harm, reason):
    bench = ready()
    harm(bench.hal)
    assert bench.selftest() == reason
    assert not bench.hal.driven
    assert not bench.hal.outs[Out.TEST_LOAD]
    bench.key(True)
    assert bench.arm_ask() in (Reason.SELFTEST_FAILED, reason)


def test_a_key_put_in_breaks_it_off_with_everything_open():
    bench = ready()
    bench.send(Selftest(what=0))
    bench.run(10)
    assert bench.hal.high
    bench.hal.key = True
    bench.run(80)
    assert not bench.hal.driven
    assert bench.newest(SelftestResult).result == Reason.KEY_IN
    assert not bench.energised_ticks


def test_safe_breaks_it_off():
    bench = ready()
    bench.send(Selftest(what=0))
    bench.run(10)
    bench.send(Safe())
    assert not bench.hal.driven
    assert bench.newest(SelftestResult).result == Reason.SAFE_COMMAND


def test_it_is_refused_with_the_key_in_and_while_one_runs():
    bench = ready()
    bench.send(Selftest(what=0))
    assert bench.ask(Selftest(what=0)) == Reason.SELFTEST_RUNNING
    bench.run(900)
    bench.key(True)
    assert bench.ask(Selftest(what=0)) == Reason.KEY_IN
    assert bench.ask(Selftest(what=9)) in (Reason.KEY_IN, Reason.UNKNOWN_COMMAND)


def test_the_shunt_step_is_measured_and_trips_nothing():
    bench = ready()
    bench.send(Selftest(what=SelftestWhat.SHUNT))

    def shunted():
        bench.counts = TRIP_AT + 2000 if bench.hal.outs[Out.SHUNT] else 6800

    bench.run(500, shunted)
    result = bench.newest(SelftestResult)
    assert result.result == Reason.OK
    assert all(abs(step - (TRIP_AT + 2000 - 6800)) <= 1 for step in result.shunt_steps)
    assert not bench.board.core.trip_latched
    assert not bench.board.core.memory.fired


def test_a_rise_right_after_the_shunt_is_seen():
    bench = ready()
    bench.send(Selftest(what=SelftestWhat.SHUNT))
    bench.run(500)
    bench.counts = TRIP_AT + 100
    bench.run(5)
    assert bench.board.core.trip_latched


def test_a_part_alone_does_not_renew_the_arming_condition():
    bench = ready()
    assert bench.selftest(SelftestWhat.SWITCHES) == Reason.OK
    bench.key(True)
    assert bench.arm_ask() == Reason.SELFTEST_OLD


def test_a_failed_part_takes_the_arming_condition_away():
    bench = ready()
    assert bench.selftest() == Reason.OK
    bench.hal.supply = 11_100
    assert bench.selftest(SelftestWhat.SUPPLY) == Reason.SUPPLY
    bench.hal.supply = 12_600
    bench.key(True)
    assert bench.arm_ask() == Reason.SELFTEST_FAILED


@pytest.mark.parametrize("procedure", [ProcedureKind.PROOF, ProcedureKind.BENCH])
def test_in_proof_and_bench_no_firing_switch_moves(procedure):
    bench = Bench()
    bench.hal.load = OPEN
    bench.hello()
    bench.load(procedure, pulse_ms=0)
    assert bench.selftest() == Reason.OK
    assert not bench.hal.drives
