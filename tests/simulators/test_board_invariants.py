"""The invariants of the design that concern the board, each by name (numbers as in the design)."""

import pytest

from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    Abort,
    ArmTake,
    BoardState,
    EventKind,
    Go,
    Grip,
    Hello,
    Out,
    Ping,
    ProcedureKind,
    Reason,
    Released,
    ResetCause,
    Safe,
)
from tests.simulators.bench import LIT_AT, OPEN, TRIP_AT, Bench

TIMES = {  # how it ends, and the longest time to the line being off, ms (timer table)
    "key out": 6,
    "stop": 6,
    "silence": 201,
    "stale grip": 201,
    "lagging echo": 201,
    "session change": 0,
    "board reset": 0,
    "trip": 4,
    "safe": 0,
    "abort": 0,
    "limits damaged": 1,
    "power lost": 0,
    "channels silent": 30,
}


def happen(bench, what):
    """One thing of the table happens to a live line; the host goes on as if nothing were."""
    match what:
        case "key out":
            bench.hal.key = False
        case "stop":
            bench.hal.stop = True
        case "silence":
            bench.cable = False
        case "session change":
            bench.send(Hello(host_nonce=999))
        case "board reset":
            bench.board.power_on(bench.tick, ResetCause.WATCHDOG)
        case "trip":
            bench.counts = TRIP_AT + 200
        case "safe":
            bench.send(Safe())
        case "abort":
            bench.send(Abort())
        case "limits damaged":
            bench.board.core.limits.body[5] ^= 0x10
        case "power lost":
            bench.board.power_off()
        case "channels silent":
            bench.sampling = False


@pytest.mark.parametrize("what", [w for w in TIMES if w not in ("stale grip", "lagging echo")])
def test_invariant_2_each_ends_the_pulse_in_time(what):
    bench = Bench()
    bench.fire()
    bench.hold(100)
    assert bench.hal.live
    start = bench.tick
    happen(bench, what)
    off = None
    for n in range(300):
        if not bench.hal.driven:
            off = bench.tick
            break
        bench.run(1)
        if n % 50 == 49 and what != "silence":
            bench.send(Grip(challenge=bench.challenge, n=bench.grip_n + 1 + n, seen=bench.seen))
    assert off is not None
    assert (off - start) / 1000 <= TIMES[what]


@pytest.mark.parametrize("what", [w for w in TIMES if w not in ("stale grip", "lagging echo")])
def test_invariant_2_afterwards_only_a_new_arming_from_the_first_step_helps(what):
    bench = Bench()
    bench.fire()
    happen(bench, what)
    bench.run(260)
    bench.cable, bench.sampling, bench.hal.stop = True, True, False
    bench.hal.key = True
    bench.counts = 6800
    if bench.board.core is None:
        bench.board.power_on(bench.tick)
    bench.run(200)
    live = len(bench.energised_ticks)
    bench.hold(1500)
    bench.go()
    bench.ask(ArmTake(challenge=bench.challenge, limits_crc=bench.limits.crc))
    bench.go()
    bench.run(200)
    assert len(bench.energised_ticks) == live
    assert bench.board.state != BoardState.ENERGISED


def test_invariant_2_stale_grip_means_let_go():
    bench = Bench()
    bench.fire()
    bench.run(199)
    assert bench.hal.live
    bench.run(3)
    assert not bench.hal.live
    assert bench.events(EventKind.DISARMED) == [Reason.GRIP_STALE]


def test_invariant_2_grips_that_answer_an_old_status_hold_nothing():
    """A link that lags 3 s and then drops: at most 250 ms + 200 ms after the newest status seen."""
    bench = Bench()
    bench.fire()
    stale, start = bench.seen, bench.tick
    for n in range(20):
        bench.send(Grip(challenge=bench.challenge, n=1000 + n, seen=stale))
        bench.run(50)
        if not bench.hal.live:
            break
    assert bench.tick - start <= 500_000
    assert (bench.energised_ticks[-1] - start) / 1000 <= 450


class LineMustBe:
    """Invariant 1, seen from outside: whenever both switches are commanded closed, all of it holds."""

    def __init__(self, bench):
        self.bench = bench

    def check(self):
        bench, core = self.bench, self.bench.board.core
        if not (bench.hal.high and bench.hal.low):
            return
        assert core.state == BoardState.ENERGISED
        assert core.key_seen_out
        assert core.limits.crc == core.arming.limits_crc == bench.limits.crc
        assert core.limits.is_intact()
        assert core.arming.go_used
        assert core.arming.grip.is_fresh(bench.tick)
        assert bench.tick < core.line.pulse.start + bench.limits.pulse_ms * 1000


def test_invariant_1_energised_only_with_all_of_it():
    bench = Bench()
    bench.arm()
    rule = LineMustBe(bench)
    for _ in range(30):
        bench.grip()
        bench.run(50, rule.check)
    assert bench.go() == Reason.OK
    for _ in range(30):
        bench.grip()
        bench.run(50, rule.check)
    assert 998 <= len(bench.energised_ticks) <= 1001


def test_invariant_1_a_second_go_of_the_same_arming_is_refused():
    bench = Bench()
    bench.fire()
    assert bench.go() == Reason.GO_USED
    bench.hold(1100)
    assert bench.go() == Reason.WRONG_STATE
    assert len(bench.energised_ticks) <= 1001


def test_invariant_1_a_refused_go_uses_the_arming_up():
    bench = Bench()
    bench.arm()
    bench.hold(500)
    assert bench.go() == Reason.GRIP_SHORT
    bench.hold(1500)
    assert bench.go() == Reason.GO_USED
    assert not bench.energised_ticks


STATES = {
    "fresh": lambda b: b.run(50),
    "session": lambda b: b.hello(),
    "loaded": lambda b: (b.hello(), b.load()),
    "armed": lambda b: b.arm(),
    "energised": lambda b: b.fire(),
    "burn": lambda b: (b.fire(), setattr(b, "counts", LIT_AT + 900), b.run(20)),
    "tripped": lambda b: (b.fire(), setattr(b, "counts", TRIP_AT + 900), b.run(20)),
    "aborted": lambda b: (b.arm(), b.send(Abort()), b.run(20)),
    "pump": lambda b: (b.arm(ProcedureKind.PROOF, pulse_ms=0), b.hold(300)),
}


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("seed", ["zero", "session", "former"])
@pytest.mark.parametrize("kind", [Safe, Abort])
def test_invariant_3_safe_and_abort_are_taken_in_every_state_from_any_session(state, seed, kind):
    bench = Bench()
    STATES[state](bench)
    former = bench.host.session
    if seed == "former" and former is not None:
        bench.nonce += 1
        bench.send(Hello(host_nonce=bench.nonce))
    used = {"zero": 0, "session": bench.host.session or 0, "former": former or 0}[seed]
    for seq in (0, 0xFFFF, 77, 77, 3):
        bench.send_raw(encode_frame(kind.KIND, seq, kind().pack(), used))
        core = bench.board.core
        assert not bench.hal.driven
        assert not bench.hal.outs[Out.PUMP]
        assert core.arming is None
        assert core.offer is None
        assert core.state in (BoardState.DISARMED, BoardState.BURN, BoardState.TRIPPED)
        assert core.last[0] == kind.KIND
        assert kind is Safe or core.state == BoardState.TRIPPED


NEARER = {
    BoardState.DISARMED: 0,
    BoardState.BURN: 0,
    BoardState.TRIPPED: 0,
    BoardState.ARMED: 1,
    BoardState.ENERGISED: 2,
}


@pytest.mark.parametrize("state", STATES)
def test_invariant_4_no_single_frame_takes_the_board_nearer_by_more_than_one_step(state):
    for message in (
        Grip(challenge=1, n=1, seen=1),
        Go(challenge=1, seen=1, limits_crc=1, pulse_ms=1),
        ArmTake(challenge=1, limits_crc=1),
        Released(run=1),
        Ping(n=1),
    ):
        bench = Bench()
        STATES[state](bench)
        before = NEARER[bench.board.state]
        bench.send(message)
        bench.run(2)
        assert NEARER[bench.board.state] <= before


def test_invariant_4_each_step_needs_the_answer_to_the_one_before():
    bench = Bench()
    bench.ready()
    assert bench.arm_take() == Reason.OFFER_GONE
    assert bench.arm_ask() == Reason.OK
    assert bench.go() == Reason.WRONG_STATE
    right, bench.challenge = bench.challenge, bench.challenge ^ 1
    assert bench.arm_take() == Reason.CHALLENGE
    bench.challenge = right
    assert bench.arm_take() == Reason.OFFER_GONE  # a wrong answer uses the offer up
    assert bench.arm_ask() == Reason.OK
    assert bench.arm_take() == Reason.OK
    assert bench.go() == Reason.GRIP_STALE
    assert not bench.energised_ticks


def test_invariant_4_an_offer_is_answered_once():
    bench = Bench()
    bench.arm()
    bench.send(Safe())
    assert bench.arm_take() == Reason.OFFER_GONE


@pytest.mark.parametrize("state", [s for s in STATES if s not in ("fresh", "session", "pump")])
def test_invariant_6_a_voted_rise_is_burn_whatever_was_commanded(state):
    bench = Bench()
    STATES[state](bench)
    bench.counts = LIT_AT + 900
    bench.run(10)
    core = bench.board.core
    latched = core.trip_latched or core.abort_tick is not None
    assert core.state == (BoardState.TRIPPED if latched else BoardState.BURN)
    assert core.lit_tick is not None
    assert core.memory.fired
    assert not bench.hal.driven


@pytest.mark.parametrize("procedure", [ProcedureKind.BENCH, ProcedureKind.PROOF])
def test_invariant_6_pumping_without_an_igniter_is_no_burn(procedure):
    bench = Bench()
    bench.hal.load = OPEN
    bench.hello()
    bench.load(procedure, pulse_ms=0)
    bench.counts = LIT_AT + 5000
    bench.run(50)
    assert bench.board.state == BoardState.DISARMED
    assert not bench.board.core.memory.fired


def test_invariant_6_in_bench_with_an_igniter_seen_a_rise_is_a_burn():
    bench = Bench()
    bench.hello()
    bench.load(ProcedureKind.BENCH, pulse_ms=0)
    bench.run(30)
    bench.counts = LIT_AT + 5000
    bench.run(50)
    assert bench.board.state == BoardState.BURN


def test_invariant_6_a_relight_is_a_burn_again():
    bench = Bench()
    STATES["burn"](bench)
    for _ in range(2):
        bench.counts = 6800
        bench.run(1100)
        assert bench.board.state == BoardState.DISARMED
        bench.counts = LIT_AT + 900
        bench.run(20)
        assert bench.board.state == BoardState.BURN
    assert len(bench.events(EventKind.LIT)) == 3


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("cause", list(ResetCause))
def test_invariant_7_after_any_start_the_board_is_safe(state, cause):
    bench = Bench()
    STATES[state](bench)
    fired = bench.board.core.memory.fired
    boot = bench.board.core.boot_nonce
    bench.board.power_on(bench.tick, cause)
    core = bench.board.core
    assert not bench.hal.driven
    assert not any(bench.hal.outs.values())
    assert core.state == BoardState.DISARMED
    assert core.link.session is None
    assert core.limits.active is None
    assert core.selftest_passed is None
    assert core.memory.fired == fired
    assert core.boot_nonce != boot


def test_invariant_8_two_wild_samples_in_five_trip_nothing_and_three_do():
    for wild, trips in ((1, False), (2, False), (3, True)):
        bench = Bench()
        bench.hello()
        bench.load()
        bench.run(20)
        for n in range(5):
            bench.board.sample(
                bench.tick + 100 + n, 0, (60_000 if n < wild else 6800 + n, 6800 + n)
            )
        assert bench.board.core.trip_latched == trips


def test_a_key_pulled_between_check_and_switch_leaves_nothing_live():
    """Practice 3.2; the race that a check-then-act would lose."""
    bench = Bench()
    bench.arm()
    bench.hold(1200)
    bench.grip()
    bench.hal.after_drive = lambda: setattr(bench.hal, "key", False)
    assert bench.go() == Reason.KEY_OUT
    assert not bench.hal.driven
    assert bench.board.state == BoardState.DISARMED


def test_the_fired_latch_is_written_before_the_line_goes_on():
    bench = Bench()
    bench.arm()
    bench.hold(1200)
    bench.grip()
    seen = []
    bench.hal.after_drive = lambda: seen.append(bench.hal.nv)
    before = bench.hal.nv
    bench.go()
    assert seen
    assert seen[0] != before
    bench.board.power_on(bench.tick, ResetCause.BROWN_OUT)
    assert bench.board.core.memory.fired


def test_key_out_does_not_clear_the_fired_latch_and_only_released_does():
    """Invariant 5, as far as the board carries it."""
    bench = Bench()
    bench.fire()
    bench.hold(1100)
    bench.key(False)
    bench.hello()
    bench.reset()
    bench.hello()
    assert bench.status.fired_latched
    assert bench.load() == Reason.OK
    assert bench.selftest() == Reason.OK
    bench.key(True)
    assert bench.arm_ask() == Reason.FIRED_LATCHED
    bench.key(False)
    assert bench.ask(Released(run=4)) == Reason.OK
    bench.key(True)
    assert bench.arm_ask() == Reason.OK
