"""What the board alone refuses, and the reason it gives (design: arming list; check order on the page)."""

import pytest

from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    Abort,
    ArmAsk,
    ArmTake,
    Backfill,
    BoardState,
    ChannelLimits,
    Hello,
    Identity,
    LimitsCommit,
    Out,
    Output,
    Ping,
    ProcedureKind,
    Reason,
    Refused,
    Released,
    Role,
    Selftest,
)
from tests.simulators.bench import DUMMY, IGNITER, LIT_AT, OPEN, TRIP_AT, Bench, limits

BREAK = {
    Reason.KEY_OUT: lambda b: setattr(b.hal, "key", False),
    Reason.STOP_IN: lambda b: setattr(b.hal, "stop", True),
    Reason.HIGH_SWITCH: lambda b: setattr(b.hal, "high_welded", True),
    Reason.LOW_SWITCH: lambda b: setattr(b.hal, "low_welded", True),
    Reason.CONTINUITY: lambda b: setattr(b.hal, "load", 3000),
    Reason.SUPPLY: lambda b: setattr(b.hal, "supply", 10_000),
    Reason.CHANNEL_SILENT: lambda b: setattr(b, "sampling", False),
    Reason.CHANNEL_OPEN: lambda b: setattr(b, "counts", 200),
    Reason.TRIP_LATCHED: lambda b: setattr(b, "counts", TRIP_AT + 50),
    Reason.BURNING: lambda b: setattr(b, "counts", LIT_AT + 50),
    Reason.ABORT_LATCHED: lambda b: b.send(Abort()),
    Reason.NO_LIMITS: lambda b: b.board.core.limits.body.__setitem__(3, 99),
    Reason.READBACK: lambda b: b.hal.stuck_outs.update({Out.PUMP: True}),
}


@pytest.mark.parametrize("reason", BREAK, ids=lambda r: r.name)
def test_arming_is_refused_while_one_thing_is_missing(reason):
    bench = Bench()
    bench.ready()
    BREAK[reason](bench)
    bench.run(100)
    assert bench.arm_ask() == reason


@pytest.mark.parametrize("reason", BREAK, ids=lambda r: r.name)
def test_an_offer_is_not_taken_while_one_thing_is_missing(reason):
    bench = Bench()
    bench.ready()
    bench.arm_ask()
    BREAK[reason](bench)
    bench.run(100)
    assert bench.arm_take() in (reason, Reason.OFFER_GONE)
    assert bench.board.state != BoardState.ARMED


@pytest.mark.parametrize(
    "reason",
    [r for r in BREAK if r not in (Reason.CHANNEL_SILENT, Reason.CHANNEL_OPEN)],
    ids=lambda r: r.name,
)
def test_armed_the_board_disarms_itself_when_it_goes_missing(reason):
    bench = Bench()
    bench.arm()
    BREAK[reason](bench)
    bench.run(150)
    assert bench.board.core.arming is None


@pytest.mark.parametrize("reason", [Reason.CHANNEL_SILENT, Reason.CHANNEL_OPEN])
def test_a_channel_that_fails_in_the_count_refuses_go_but_keeps_the_arming(reason):
    bench = Bench()
    bench.arm()
    bench.hold(1200)
    BREAK[reason](bench)
    bench.hold(100)
    assert bench.board.state == BoardState.ARMED
    assert bench.go() == reason
    assert not bench.energised_ticks


def test_a_key_left_in_at_boot_is_refused_until_seen_out():
    bench = Bench(power=False)
    bench.hal.key = True
    bench.board.power_on(0)
    bench.hello()
    assert bench.load() == Reason.KEY_IN
    assert bench.selftest() == Reason.KEY_IN
    bench.key(False)
    assert bench.load() == Reason.OK
    assert bench.selftest() == Reason.OK
    bench.key(True)
    assert bench.arm_ask() == Reason.OK


def test_a_key_that_was_seen_out_only_in_the_session_before_is_refused():
    bench = Bench()
    bench.ready()
    bench.hello()
    assert bench.arm_ask() == Reason.KEY_NOT_SEEN_OUT
    bench.key(False)
    bench.key(True)
    assert bench.arm_ask() == Reason.OK


def test_no_limits_no_arming():
    bench = Bench()
    bench.hello()
    bench.limits = limits()
    bench.key(True)
    assert bench.arm_ask() == Reason.NO_LIMITS


def test_staged_but_not_committed_is_no_limits():
    bench = Bench()
    bench.hello()
    bench.limits = limits()
    assert bench.ask(bench.limits) == Reason.OK
    bench.selftest()
    bench.key(True)
    assert bench.arm_ask() == Reason.NO_LIMITS


def test_a_commit_of_other_bytes_than_were_staged_is_refused():
    bench = Bench()
    bench.hello()
    bench.ask(limits())
    assert bench.ask(LimitsCommit(staged_crc=1)) == Reason.STAGED_CRC
    assert bench.ask(LimitsCommit(staged_crc=limits().crc)) == Reason.STAGED_CRC


def test_limits_of_another_set_up_are_refused():
    bench = Bench()
    bench.ready()
    assert bench.ask(ArmAsk(limits_crc=1, setup_id=48172093)) == Reason.LIMITS_CRC
    assert bench.ask(ArmAsk(limits_crc=bench.limits.crc, setup_id=1)) == Reason.SETUP_ID
    bench.arm_ask()
    assert bench.ask(ArmTake(challenge=bench.challenge, limits_crc=1)) == Reason.LIMITS_CRC


def test_limits_cannot_be_changed_with_the_key_in_or_while_armed():
    """Practice 3.15."""
    bench = Bench()
    bench.arm()
    for message in (bench.limits, LimitsCommit(staged_crc=bench.limits.crc), Selftest(what=0)):
        assert bench.ask(message) == Reason.WRONG_STATE
    bench = Bench()
    bench.ready()
    assert bench.load() == Reason.KEY_IN


PRESSURE = {"lo": 1400, "hi": TRIP_AT, "role": Role.PRESSURE_TRIP, "lit": LIT_AT}


@pytest.mark.parametrize(
    "changes",
    [
        {"procedure": 9},
        {"votes_needed": 1},
        {"votes_needed": 6},
        {"votes_of": 9},
        {"ring_post_s": 0},
        {"continuity_lo_mohm": 3000},
        {"dummy_lo_mohm": 3000},
        {"supply_lo_mv": 15_000},
        {"channels": ()},
        {"channels": (ChannelLimits(**PRESSURE),)},
        {"channels": (ChannelLimits(**PRESSURE),) * 3},
        {"channels": (ChannelLimits(**{**PRESSURE, "lo": TRIP_AT}),) * 2},
        {"channels": (ChannelLimits(**{**PRESSURE, "hi": 64_500}),) * 2},
        {"channels": (ChannelLimits(**{**PRESSURE, "lit": TRIP_AT}),) * 2},
    ],
    ids=str,
)
def test_limits_that_contradict_themselves_are_refused(changes):
    bench = Bench()
    bench.hello()
    assert bench.load(**changes) == Reason.LIMITS_BAD
    assert bench.board.core.limits.active is None


def test_without_a_channel_that_guards_there_is_no_arming():
    bench = Bench()
    bench.ready(channels=(ChannelLimits(lo=1400, hi=60_000, lit=LIT_AT),) * 2)
    assert bench.arm_ask() == Reason.NO_TRIP_CHANNEL


def test_a_stuck_pressure_channel_is_refused():
    bench = Bench()
    bench.ready(channels=(ChannelLimits(**PRESSURE, stuck_samples=100),) * 2)
    assert bench.arm_ask() == Reason.OK
    bench.sampling = False
    for n in range(130):
        bench.board.sample(bench.tick + 1000 * n, 0, (6800, 6800 + n % 2))
    bench.tick += 130_000
    bench.sampling = True
    bench.board.poll(bench.tick)
    assert bench.arm_ask() == Reason.CHANNEL_STUCK
    bench.run(20)
    assert bench.arm_ask() == Reason.OK


@pytest.mark.parametrize(
    "load, reason",
    [
        (IGNITER, Reason.IGNITER_SEEN),
        (3900, Reason.IGNITER_SEEN),
        (5000, Reason.NOT_THE_DUMMY),
        (OPEN, Reason.NOT_THE_DUMMY),
        (DUMMY, Reason.OK),
    ],
)
def test_a_dry_run_arms_only_with_the_dummy(load, reason):
    bench = Bench()
    bench.ready(ProcedureKind.DRY)
    bench.hal.load = load
    bench.run(20)
    assert bench.arm_ask() == reason


@pytest.mark.parametrize(
    "load, reason",
    [(IGNITER, Reason.IGNITER_SEEN), (DUMMY, Reason.CONTINUITY), (OPEN, Reason.OK)],
)
def test_a_proof_test_arms_only_with_an_open_line(load, reason):
    bench = Bench()
    bench.ready(ProcedureKind.PROOF, pulse_ms=0)
    bench.hal.load = load
    bench.run(20)
    assert bench.arm_ask() == reason


def test_bench_work_never_arms_and_never_fires():
    bench = Bench()
    bench.ready(ProcedureKind.BENCH, pulse_ms=0)
    assert bench.arm_ask() == Reason.BENCH
    assert bench.go(pulse_ms=10) == Reason.BENCH


def test_proof_never_closes_a_firing_switch_whatever_is_sent():
    bench = Bench()
    bench.arm(ProcedureKind.PROOF, pulse_ms=0)
    bench.hold(1500)
    assert bench.go(pulse_ms=100) == Reason.PROOF
    bench.hold(500)
    assert not bench.hal.drives


def test_a_self_test_done_in_proof_does_not_count_for_firing():
    bench = Bench()
    bench.ready(ProcedureKind.PROOF, pulse_ms=0)
    bench.key(False)
    bench.hal.load = IGNITER
    assert bench.load() == Reason.OK
    bench.key(True)
    assert bench.arm_ask() == Reason.SELFTEST_OLD


def test_abort_in_proof_stops_the_pump_and_opens_the_dump():
    bench = Bench()
    bench.arm(ProcedureKind.PROOF, pulse_ms=0)
    assert bench.ask(Output(output=Out.DUMP, level=1)) == Reason.OK
    bench.hold(300)
    assert bench.hal.outs[Out.PUMP]
    assert bench.hal.outs[Out.DUMP]
    bench.send(Abort())
    assert not bench.hal.outs[Out.PUMP]
    assert not bench.hal.outs[Out.DUMP]
    assert bench.ask(Output(output=Out.DUMP, level=1)) == Reason.OUTPUT


@pytest.mark.parametrize("output", [Out.PUMP, Out.SHUNT, Out.TEST_LOAD, 6, 200])
def test_only_siren_lamp_and_dump_can_be_named(output):
    bench = Bench()
    bench.hello()
    assert bench.ask(Output(output=output, level=1)) == Reason.OUTPUT
    assert not any(bench.hal.outs.values())


def test_outputs_are_shown_commanded_and_read_back():
    bench = Bench()
    bench.hello()
    bench.hal.stuck_outs[Out.LAMP_HORN] = False
    bench.ask(Output(output=Out.SIREN, level=1))
    bench.ask(Output(output=Out.LAMP_HORN, level=1))
    bench.run(100)
    assert bench.status.commanded(Out.SIREN)
    assert bench.status.reads(Out.SIREN)
    assert bench.status.commanded(Out.LAMP_HORN)
    assert not bench.status.reads(Out.LAMP_HORN)


def test_released_needs_the_key_out_and_no_pressure_and_no_burn():
    bench = Bench()
    bench.ready()
    assert bench.ask(Released(run=1)) == Reason.KEY_IN
    bench.key(False)
    bench.counts = TRIP_AT + 100
    bench.run(50)
    assert bench.ask(Released(run=1)) == Reason.BURNING
    bench.counts = 6800
    bench.run(1200)
    assert bench.board.state == BoardState.TRIPPED
    assert bench.ask(Released(run=1)) == Reason.OK
    assert bench.board.state == BoardState.DISARMED


def test_back_fill_is_refused_armed_in_the_pulse_and_in_a_burn():
    bench = Bench()
    bench.arm()
    wish = Backfill(group=0, first_index=0, count=10)
    assert bench.ask(wish) == Reason.NOT_NOW
    bench = Bench()
    bench.fire()
    assert bench.ask(wish) == Reason.NOT_NOW
    bench.counts = LIT_AT + 100
    bench.run(20)
    assert bench.ask(wish) == Reason.NOT_NOW
    bench = Bench()
    bench.hello()
    assert bench.ask(Backfill(group=1, first_index=0, count=1)) == Reason.NO_GROUP


def test_an_unknown_command_is_refused_by_number():
    bench = Bench()
    bench.hello()
    bench.send_raw(encode_frame(0x7E, 500, b"?", bench.host.session))
    assert bench.newest(Refused) == Refused(seq=500, command=0x7E, reason=Reason.UNKNOWN_COMMAND)


def test_repeated_and_overtaken_commands_die():
    """Practice 3.14."""
    bench = Bench()
    bench.hello()
    first, second = bench.host.send(Ping(n=1)), bench.host.send(Ping(n=2))
    bench.send_raw(second)
    for late in (second, first):
        bench.send_raw(late)
        assert bench.refusal() == Reason.REPEATED
    assert bench.board.core.rx_bad == 2


@pytest.mark.parametrize("hello", [Hello(host_nonce=5, protocol=2), Hello(host_nonce=0)])
def test_a_hello_the_board_cannot_follow_opens_no_session_but_disarms(hello):
    bench = Bench()
    bench.arm()
    bench.send(hello)
    assert bench.board.core.arming is None
    assert bench.newest(Identity).host_nonce == 0
    bench.got.clear()
    bench.run(600)
    assert {type(m) for m in bench.got} == {Identity}
