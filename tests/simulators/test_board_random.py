"""Random operators: whatever is done in whatever order, the line obeys the rules seen from outside."""

import os
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_protocol.messages import (
    Abort,
    BoardState,
    Hello,
    LimitsCommit,
    Output,
    Ping,
    ProcedureKind,
    Reason,
    Released,
    ResetCause,
    Safe,
    Selftest,
)
from tests.simulators.bench import AMBIENT, DUMMY, IGNITER, LIT_AT, OPEN, TRIP_AT, Bench

EXAMPLES = int(os.environ.get("BERM_OPERATORS", "40"))
LIMIT_MS = 2  # one poll late at most, and one of rounding


class Witness:
    """Knows only what goes over the terminals and the wire, and when; judges every millisecond."""

    def __init__(self, bench):
        self.bench = bench
        self.was_live = False
        self.armings = self.pulses = 0
        self.last_arming = BoardState.DISARMED
        self.key_out_ms = self.stop_in_ms = self.over_ms = 0
        self.last_grip = self.last_go = self.ended = -(10**12)

    def note(self, what):
        if what == "grip":
            self.last_grip = self.bench.tick
        elif what == "go":
            self.last_go = self.bench.tick
        else:
            self.ended = self.bench.tick

    def look(self):
        hal, tick = self.bench.hal, self.bench.tick
        state = self.bench.board.state
        if state == BoardState.ARMED and self.last_arming != BoardState.ARMED:
            self.armings += 1
        self.last_arming = state
        self.key_out_ms = 0 if hal.key else self.key_out_ms + 1
        self.stop_in_ms = self.stop_in_ms + 1 if hal.stop else 0
        self.over_ms = self.over_ms + 1 if self.bench.counts > TRIP_AT else 0
        live = hal.high and hal.low
        if live and not self.was_live:
            self.pulses += 1
            assert self.pulses <= self.armings
        if live:
            assert self.key_out_ms <= 5 + LIMIT_MS
            assert self.stop_in_ms <= 5 + LIMIT_MS
            assert self.over_ms <= 3 + LIMIT_MS
            assert (tick - self.last_grip) / 1000 <= 200 + LIMIT_MS
            assert (tick - self.last_go) / 1000 <= self.bench.limits.pulse_ms + LIMIT_MS
            assert self.ended < self.last_go
            assert state == BoardState.ENERGISED
        self.was_live = live


def operate(bench, witness, step):
    """One thing an operator, the host or the world does."""
    hal = bench.hal
    match step:
        case "key in" | "key out":
            hal.key = step == "key in"
        case "stop in" | "stop out":
            hal.stop = step == "stop in"
        case "hello":
            bench.nonce += 1
            bench.send(Hello(host_nonce=bench.nonce))
            witness.note("end")
        case "safe" | "abort":
            bench.send(Safe() if step == "safe" else Abort())
            witness.note("end")
        case "load fire" | "load dry" | "load proof":
            kind = ProcedureKind[step.split()[1].upper()]
            old = bench.limits
            hal.load = {"fire": IGNITER, "dry": DUMMY, "proof": OPEN}[step.split()[1]]
            if bench.load(kind, pulse_ms=400) != Reason.OK:
                bench.limits = old
        case "arm ask":
            bench.arm_ask()
        case "arm take":
            bench.arm_take()
        case "grip":
            bench.grip()
            witness.note("grip")
        case "go":
            if bench.go() == Reason.OK:
                witness.note("go")
        case "hold":
            for _ in range(24):
                bench.grip()
                witness.note("grip")
                bench.run(50, witness.look)
        case "self-test":
            bench.send(Selftest(what=0))
            bench.run(850, witness.look)
        case "reset":
            bench.board.power_on(bench.tick, ResetCause.WATCHDOG)
            witness.note("end")
            witness.was_live = False
        case "released":
            bench.send(Released(run=1))
        case "rise" | "trip" | "quiet":
            bench.counts = {"rise": LIT_AT + 500, "trip": TRIP_AT + 500, "quiet": AMBIENT}[step]
        case "cable out" | "cable in":
            bench.cable = step == "cable in"
        case "commit":
            bench.send(LimitsCommit(staged_crc=bench.limits.crc))
        case "output":
            bench.send(Output(output=0, level=1))
        case "wait":
            bench.run(700, witness.look)
        case "replay":
            for _, data in bench.sent[-6:]:
                bench.board.receive(bench.tick, data)
    if not isinstance(step, str):
        bench.send(Ping(n=1))
        bench.run(step, witness.look)
    bench.run(3, witness.look)


STEPS = [
    "key in",
    "key out",
    "stop in",
    "stop out",
    "hello",
    "safe",
    "abort",
    "load fire",
    "load dry",
    "load proof",
    "arm ask",
    "arm take",
    "grip",
    "go",
    "hold",
    "self-test",
    "reset",
    "released",
    "rise",
    "trip",
    "quiet",
    "cable out",
    "cable in",
    "commit",
    "output",
    "wait",
    "replay",
]
GOOD = ["hello", "load fire", "self-test", "key in", 60, "arm ask", "arm take", "hold", "go"]


def play(steps):
    bench = Bench()
    bench.hello()
    bench.load(pulse_ms=400)
    witness = Witness(bench)
    for step in steps:
        if bench.host.session is not None or step in ("hello", "reset", "safe", "abort"):
            if step in ("arm take", "go", "grip", "hold") and not bench.status:
                continue
            operate(bench, witness, step)
    return witness


def test_the_good_order_reaches_the_pulse():
    assert play(GOOD).pulses == 1
    assert play([*GOOD, "hold", *GOOD]).pulses == 1  # the fired latch stands in the way


@given(st.lists(st.sampled_from(STEPS) | st.integers(1, 300), max_size=25))
@settings(max_examples=EXAMPLES, deadline=None)
def test_random_operators_never_break_the_rules(steps):
    play(steps)


@given(
    st.integers(0, len(GOOD)),
    st.lists(st.sampled_from(STEPS) | st.integers(1, 300), min_size=1, max_size=6),
)
@settings(max_examples=EXAMPLES, deadline=None)
def test_random_acts_in_the_middle_of_a_good_firing_never_break_the_rules(at, steps):
    play([*GOOD[:at], *steps, *GOOD[at:], "hold", "wait"])


def test_many_disturbed_firings():
    rng = random.Random(11)
    pulses = 0
    for _ in range(EXAMPLES):
        at = rng.randrange(len(GOOD) + 1)
        extra = [rng.choice(STEPS) for _ in range(rng.randrange(2))]
        pulses += play([*GOOD[:at], *extra, *GOOD[at:], "hold"]).pulses
    assert pulses > EXAMPLES // 4
