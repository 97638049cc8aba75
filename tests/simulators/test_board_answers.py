"""GRIP and GO are judged field by field: each wrong field alone is refused, with its own reason."""

import pytest

from firmware_protocol.messages import (
    BoardState,
    ChannelLimits,
    EventKind,
    Grip,
    Hello,
    LimitsCommit,
    Out,
    ProcedureKind,
    Reason,
    Role,
    Safe,
)
from tests.simulators.bench import TRIP_AT, Bench


def gripped(**changes):
    """Armed, one second of fresh grips, ready for GO."""
    bench = Bench()
    bench.arm(**changes)
    bench.hold(1200)
    bench.grip()
    return bench


@pytest.mark.parametrize(
    "field, reason",
    [
        ("challenge", Reason.CHALLENGE),
        ("limits_crc", Reason.LIMITS_CRC),
        ("seen", Reason.ECHO_OLD),
        ("pulse_ms", Reason.PULSE),
    ],
)
def test_one_wrong_field_of_go_is_refused(field, reason):
    bench = gripped()
    right = {
        "challenge": bench.challenge,
        "limits_crc": bench.limits.crc,
        "seen": bench.seen,
        "pulse_ms": bench.limits.pulse_ms,
    }
    assert bench.go(**{field: right[field] ^ 0x2000}) == reason
    assert (True, True) not in bench.hal.drives
    assert bench.board.state == BoardState.ARMED


def test_a_go_with_a_foreign_challenge_does_not_use_the_arming_up():
    bench = gripped()
    assert bench.go(challenge=bench.challenge ^ 1) == Reason.CHALLENGE
    assert bench.go() == Reason.OK


def test_grips_with_a_foreign_challenge_hold_nothing():
    bench = Bench()
    bench.arm()
    for n in range(1, 30):
        wrong = Grip(challenge=bench.challenge ^ 1, n=n, seen=bench.seen)
        assert bench.ask(wrong) == Reason.CHALLENGE
        bench.run(50)
    assert bench.go() == Reason.GRIP_STALE


def test_grips_without_an_arming_are_passed_over_in_silence():
    bench = Bench()
    bench.ready()
    bench.challenge = 5
    assert bench.grip() == Reason.OK
    assert bench.board.core.arming is None


def test_a_status_of_the_session_before_is_no_fresh_echo():
    bench = gripped()
    old = bench.seen
    bench.send(Hello(host_nonce=4321))
    assert not bench.board.core.echo.is_fresh(old, bench.tick)


def test_a_staged_set_does_not_outlive_its_session():
    bench = Bench()
    bench.hello()
    assert bench.load() == Reason.OK
    bench.ask(bench.limits)
    bench.hello()
    assert bench.ask(LimitsCommit(staged_crc=bench.limits.crc)) == Reason.STAGED_CRC


def test_a_stop_pressed_between_check_and_switch_leaves_nothing_live():
    bench = gripped()
    bench.hal.after_drive = lambda: setattr(bench.hal, "stop", True)
    assert bench.go() == Reason.STOP_IN
    assert not bench.hal.driven


@pytest.mark.parametrize("ms", range(8))
def test_a_key_pulled_just_before_go_is_enough(ms):
    bench = gripped()
    bench.hal.key = False
    bench.run(ms)
    assert bench.go() in (Reason.KEY_OUT, Reason.WRONG_STATE)
    assert not bench.energised_ticks


def test_a_trip_without_any_lit_threshold_drops_the_line_too():
    channels = (ChannelLimits(lo=1400, hi=TRIP_AT, role=Role.PRESSURE_TRIP),) * 2
    bench = gripped(channels=channels)
    assert bench.go() == Reason.OK
    bench.counts = TRIP_AT + 100
    bench.run(4)
    assert not bench.hal.driven
    assert bench.board.state == BoardState.TRIPPED
    assert bench.board.core.arming is None


@pytest.mark.parametrize("switch", ["high_closed", "low_closed"])
def test_a_switch_that_does_not_close_ends_the_pulse_after_50_ms(switch):
    bench = gripped()
    assert bench.go() == Reason.OK
    setattr(bench.hal, switch, lambda: False)
    bench.run(49)
    assert bench.board.state == BoardState.ENERGISED
    bench.run(4)
    assert bench.board.state == BoardState.DISARMED
    assert bench.events(EventKind.DISARMED) == [Reason.SWITCH_DISAGREES]


def test_after_a_break_the_pump_needs_two_fresh_grips_again():
    bench = Bench()
    bench.arm(ProcedureKind.PROOF, pulse_ms=0)
    bench.hold(300)
    assert bench.hal.outs[Out.PUMP]
    bench.ping(300)
    assert not bench.hal.outs[Out.PUMP]
    bench.grip()
    bench.run(5)
    assert not bench.hal.outs[Out.PUMP]
    bench.grip()
    bench.run(2)
    assert bench.hal.outs[Out.PUMP]


def test_a_welded_switch_found_after_the_pulse_is_named():
    bench = gripped()
    assert bench.go() == Reason.OK
    bench.hal.high_welded = True
    bench.send(Safe())
    bench.run(60)
    assert bench.events(EventKind.SWITCH_DISAGREES) == [1]
    assert bench.status.high_closed
    assert not bench.hal.live
