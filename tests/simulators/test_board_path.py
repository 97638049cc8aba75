"""The nominal path: hello, limits, self-test, arm, grip, go, pulse, burn, trip, safe."""

from firmware_protocol.messages import (
    BoardState,
    EventKind,
    Flag,
    Identity,
    LimitsEcho,
    Out,
    ProcedureKind,
    Reason,
    Released,
    Safe,
    Samples,
    split_value,
)
from tests.simulators.bench import LIT_AT, TRIP_AT, Bench


def test_before_hello_the_board_says_only_who_it_is():
    bench = Bench()
    bench.run(300)
    assert {type(m) for m in bench.got} == {Identity}
    assert bench.newest(Identity).host_nonce == 0


def test_after_hello_status_and_samples_flow():
    bench = Bench()
    bench.hello()
    bench.run(1000)
    assert 100 <= len(bench.of(Samples)) <= 110
    assert bench.status.state == BoardState.DISARMED
    assert 20 <= bench.status.number <= 25


def test_limits_come_back_byte_for_byte():
    bench = Bench()
    bench.hello()
    assert bench.load() == Reason.OK
    assert bench.newest(LimitsEcho).limits == bench.limits
    bench.run(60)
    assert bench.status.limits_crc == bench.limits.crc


def test_a_whole_firing():
    bench = Bench()
    bench.fire()
    assert bench.hal.high
    assert bench.hal.low
    bench.hold(200)
    assert bench.status.state == BoardState.ENERGISED
    assert bench.events(EventKind.LINE_ON)
    bench.counts = LIT_AT + 4000
    bench.hold(100)
    assert bench.status.state == BoardState.BURN
    assert not bench.hal.live
    assert bench.status.fired_latched
    assert split_value(bench.events(EventKind.LIT)[0])[0] == 0
    bench.run(2500)
    bench.counts = 6800
    bench.run(1500)
    assert bench.status.state == BoardState.DISARMED
    assert bench.events(EventKind.BURN_OUT)
    assert bench.status.flags & Flag.RING_FROZEN
    assert bench.ask(Released(run=1)) == Reason.KEY_IN
    bench.key(False)
    assert bench.ask(Released(run=1)) == Reason.OK
    bench.run(60)
    assert not bench.status.fired_latched
    assert not bench.status.flags & Flag.RING_FROZEN


def test_a_pulse_that_lights_nothing_ends_by_itself():
    bench = Bench()
    bench.fire()
    bench.hold(1100)
    assert bench.status.state == BoardState.DISARMED
    assert bench.events(EventKind.DISARMED) == [Reason.PULSE_END]
    assert 998 <= len(bench.energised_ticks) <= 1001


def test_a_trip_drops_the_line_and_sounds_the_siren():
    bench = Bench()
    bench.fire()
    bench.counts = TRIP_AT + 500
    bench.run(10)
    assert not bench.hal.high
    assert bench.board.state == BoardState.TRIPPED
    assert bench.hal.outs[Out.SIREN]
    assert bench.hal.outs[Out.LAMP_HORN]
    bench.run(30)
    assert bench.status.lit
    assert bench.status.trip_latched


def test_safe_disarms_from_armed_and_from_energised():
    bench = Bench()
    bench.arm()
    bench.send(Safe())
    assert bench.board.state == BoardState.DISARMED
    bench = Bench()
    bench.fire()
    bench.send(Safe())
    assert bench.board.state == BoardState.DISARMED
    assert not bench.hal.high
    assert not bench.hal.low


def test_a_dry_run_goes_all_the_way_into_the_dummy():
    bench = Bench()
    bench.fire(ProcedureKind.DRY)
    bench.hold(1100)
    assert bench.status.state == BoardState.DISARMED
    assert len(bench.energised_ticks) > 990


def test_a_proof_test_drives_the_pump_only_while_gripped():
    bench = Bench()
    bench.arm(ProcedureKind.PROOF, armed_s=3600, pulse_ms=0)
    bench.grip()
    bench.run(1)
    assert not bench.hal.outs[Out.PUMP]
    bench.run(49)
    bench.hold(500)
    assert bench.hal.outs[Out.PUMP]
    assert bench.go(pulse_ms=100) == Reason.PROOF
    bench.run(210)
    assert not bench.hal.outs[Out.PUMP]
