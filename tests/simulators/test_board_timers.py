"""The board's rows of the timer table, measured."""

import pytest

from firmware_protocol.messages import (
    Abort,
    BoardState,
    Event,
    EventAck,
    EventKind,
    Flag,
    Grip,
    Ping,
    ProcedureKind,
    Reason,
    Samples,
    Status,
)
from tests.simulators.bench import FAST, SLOW, TRIP_AT, Bench


def lasts(bench, wanted, limit_ms):
    """Milliseconds until `wanted()` holds."""
    for ms in range(limit_ms + 1):
        if wanted():
            return ms
        bench.run(1)
    raise AssertionError(f"not within {limit_ms} ms")


@pytest.mark.parametrize("pulse", [1, 50, 1000, 3000])
def test_the_pulse_lasts_as_committed(pulse):
    bench = Bench()
    bench.fire(pulse_ms=pulse)
    bench.hold(pulse + 100)
    assert abs(len(bench.energised_ticks) - pulse) <= 1


def test_a_go_may_ask_for_less_but_never_for_more():
    bench = Bench()
    bench.arm()
    bench.hold(1200)
    assert bench.go(pulse_ms=1001) == Reason.PULSE
    bench = Bench()
    bench.arm()
    bench.hold(1200)
    assert bench.go(pulse_ms=200) == Reason.OK
    bench.hold(300)
    assert abs(len(bench.energised_ticks) - 200) <= 1


def test_a_pulse_above_the_ceiling_cannot_be_loaded():
    bench = Bench()
    bench.hello()
    assert bench.load(pulse_ms=3001) == Reason.PULSE
    assert bench.load(pulse_ms=0) == Reason.PULSE
    assert bench.load(pulse_ms=3000) == Reason.OK


@pytest.mark.parametrize(
    "procedure, longest", [(ProcedureKind.FIRE, 300), (ProcedureKind.PROOF, 3600)]
)
def test_the_armed_time_has_a_ceiling(procedure, longest):
    bench = Bench()
    bench.hello()
    assert bench.load(procedure, armed_s=longest + 1) == Reason.ARMED_TIME
    assert bench.load(procedure, armed_s=longest) == Reason.OK


def test_arming_expires_and_cannot_be_extended():
    bench = Bench()
    bench.arm(armed_s=5)
    start = bench.tick
    for _ in range(110):
        bench.send(Ping(n=1))
        bench.run(48)
        assert bench.arm_ask() in (Reason.WRONG_STATE, Reason.OK)
        if bench.board.state != BoardState.ARMED:
            break
    assert 4900 <= (bench.tick - start) / 1000 <= 5060
    assert bench.events(EventKind.DISARMED) == [Reason.ARMED_EXPIRED]


def test_armed_and_silent_for_half_a_second_disarms():
    bench = Bench()
    bench.arm()
    bench.ping(2000, 450)
    assert bench.board.state == BoardState.ARMED
    bench.send(Ping(n=0))
    assert lasts(bench, lambda: bench.board.state == BoardState.DISARMED, 600) in (500, 501)
    bench.run(5)
    assert bench.events(EventKind.DISARMED) == [Reason.HOST_SILENT]


def test_repeated_frames_do_not_count_as_hearing_from_the_host():
    bench = Bench()
    bench.arm()
    frame = bench.send(Ping(n=0))
    for _ in range(20):
        bench.send_raw(frame)
        bench.run(50)
    assert bench.board.state == BoardState.DISARMED


def test_the_offer_lapses_after_a_minute():
    bench = Bench()
    bench.ready()
    bench.arm_ask()
    bench.run(59_900)
    assert bench.status.flags & Flag.OFFER_OPEN
    bench.run(150)
    assert not bench.status.flags & Flag.OFFER_OPEN
    assert bench.arm_take() == Reason.OFFER_GONE


def test_the_self_test_is_good_for_ten_minutes():
    bench = Bench()
    bench.sampling = False
    bench.ready()
    bench.sampling = True
    bench.run(30)
    assert bench.arm_ask() == Reason.OK
    bench.tick += 600_000_000
    bench.board.poll(bench.tick)
    bench.run(30)
    assert bench.arm_ask() == Reason.SELFTEST_OLD


def test_a_grip_run_shorter_than_a_second_is_refused():
    bench = Bench()
    bench.arm()
    bench.hold(950)
    bench.grip()
    assert bench.go() == Reason.GRIP_SHORT


@pytest.mark.parametrize("gap, reason", [(200, Reason.OK), (201, Reason.GRIP_SHORT)])
def test_a_gap_in_the_grip_run_starts_it_anew(gap, reason):
    bench = Bench()
    bench.arm()
    bench.hold(600)
    bench.grip()
    bench.run(gap)
    bench.hold(600)
    bench.grip()
    assert bench.go() == reason


def test_a_status_older_than_250_ms_makes_no_grip_fresh():
    bench = Bench()
    bench.arm()
    bench.run(100)
    bench.send(Ping(n=0))
    seen, sent = bench.seen, bench.status.tick
    n = 0
    while bench.tick - sent <= 250_000:
        n += 1
        assert bench.ask(Grip(challenge=bench.challenge, n=n, seen=seen)) == Reason.OK
        bench.run(1)
    assert bench.ask(Grip(challenge=bench.challenge, n=n + 1, seen=seen)) == Reason.ECHO_OLD
    assert bench.ask(Grip(challenge=bench.challenge, n=n, seen=bench.seen)) == Reason.REPEATED
    assert bench.ask(Grip(challenge=bench.challenge, n=n + 1, seen=10**6)) == Reason.ECHO_OLD


def test_key_out_counts_after_5_ms_and_key_in_after_50():
    bench = Bench()
    bench.ready()
    core = bench.board.core
    bench.hal.key = False
    assert lasts(bench, lambda: not core.key.level, 20) in (5, 6)
    bench.hal.key = True
    assert lasts(bench, lambda: core.key.level, 80) in (50, 51)


def test_a_key_that_bounces_for_4_ms_is_still_in_and_one_of_49_ms_still_out():
    bench = Bench()
    bench.ready()
    core = bench.board.core
    for _ in range(20):
        bench.hal.key = False
        bench.run(4)
        bench.hal.key = True
        bench.run(4)
    assert core.key.level
    bench.hal.key = False
    bench.run(10)
    for _ in range(5):
        bench.hal.key = True
        bench.run(49)
        bench.hal.key = False
        bench.run(1)
    assert not core.key.level


def test_the_trip_acts_within_the_vote_at_4_ks():
    """3 of 5 = the third sample over: 0.5 ms after the first, 1.25 ms at worst."""
    bench = Bench(groups=(FAST, SLOW))
    bench.fire()
    for n in range(3):
        assert bench.hal.live
        bench.board.sample(bench.tick + 250 * n, 0, (TRIP_AT + 1, 7000 + n))
    assert not bench.hal.live


def test_status_comes_at_20_hz_and_at_50_hz_from_armed_to_the_end_of_burn():
    bench = Bench()
    bench.ready()
    bench.got.clear()
    bench.run(2000)
    assert 39 <= len(bench.of(Status)) <= 41
    bench.arm_ask()
    bench.arm_take()
    bench.got.clear()
    bench.ping(2000)
    assert 98 <= len(bench.of(Status)) <= 102
    bench.counts = 20_000
    bench.run(50)
    bench.got.clear()
    bench.run(2000)
    assert bench.board.state == BoardState.BURN
    assert 98 <= len(bench.of(Status)) <= 102


@pytest.mark.parametrize("groups", [(FAST,), (FAST, SLOW)])
def test_blocks_are_at_most_10_ms_long_or_one_sample(groups):
    bench = Bench(groups=groups)
    bench.hello()
    bench.got.clear()
    bench.run(500)
    blocks = bench.of(Samples)
    assert {b.group for b in blocks} == set(range(len(groups)))
    assert all(b.n == 1 or (b.n - 1) * b.step < 10_000 for b in blocks)


def test_events_are_sent_again_until_each_is_acknowledged():
    bench = Bench()
    bench.hello()
    bench.got.clear()
    bench.run(700)
    times = [e.number for e in bench.of(Event)].count(1)
    assert 3 <= times <= 4
    for number in {e.number for e in bench.of(Event)}:
        bench.send(EventAck(number=number))
    bench.got.clear()
    bench.run(700)
    assert not bench.of(Event)


def test_an_abort_shows_for_a_second_and_clears_with_the_key_out():
    bench = Bench()
    bench.ready()
    bench.send(Abort(reason=9))
    bench.run(3000)
    assert bench.board.state == BoardState.TRIPPED
    bench.key(False)
    assert bench.board.state == BoardState.DISARMED
    bench.send(Abort())
    bench.run(990)
    assert bench.board.state == BoardState.TRIPPED
    bench.run(20)
    assert bench.board.state == BoardState.DISARMED


def test_a_rehearsal_step_is_not_charged_as_silence_but_as_armed_time():
    bench = Bench()
    bench.arm()
    jump = bench.tick + 40_000_000
    bench.board.step(jump)
    bench.tick = jump
    bench.send(Ping(n=1))
    bench.run(100)
    assert bench.board.state == BoardState.ARMED
    assert bench.status.armed_left_ms < 140_000
    bench.tick += 40_000_000  # a jump that nobody announced is silence
    bench.run(1)
    assert bench.board.state == BoardState.DISARMED
