"""Every state that a crew, a board and a motor can reach together, and random days.

The model joins the real procedure and the real latch to an abstract board that can only do what
its own rules allow. It is walked breadth first over distinct states; the invariants of the page
that this layer can carry are asserted on every edge.
"""

import copy
import os
from dataclasses import dataclass, replace

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from daq.procedure.approach import Latch
from daq.procedure.fire import REFUSED, STEPS
from daq.procedure.machine import Step, firing
from daq.procedure.phases import Event, Phase, Refusal
from daq.procedure.release import Evidence, Opened
from daq.procedure.waits import LatchEvent, WaitClass, Waits, Word

WAITS = Waits(
    normal_wait_s=600.0, misfire_wait_s=1800.0, unproven_wait_s=3600.0, ignition_seen_wait_s=3600.0
)
RANK = {"DISARMED": 0, "TRIPPED": 0, "BURN": 0, "OFFERED": 1, "ARMED": 2, "ENERGISED": 3}
PHASE_RANK = {Phase.ARM: 1, Phase.COUNTDOWN: 2, Phase.HOLD: 2, Phase.FIRE: 3}
DEPTH = int(os.environ.get("BERM_EXPLORE_DEPTH", "8"))
HZ = 1_000_000
ANSWERS = {(phase, event): firing(phase).step(event) for phase in Phase for event in Event}
"""What the running machine says to every pair, asked once: exploring asks it a million times."""


@dataclass(frozen=True)
class Board:
    """What a board may do by itself, in one value: it never arms without key, ask and take."""

    state: str = "DISARMED"
    key_in: bool = False
    stop_in: bool = True
    fired: bool = False
    gone: bool = False


class Site:
    """Procedure, latch and board, driven by named moves; every move is possible at any time."""

    def __init__(self):
        self.board = Board()
        self.now_ns = 0
        self.tick_no = 0
        self.phase = Phase.SAFE
        self.latch = Latch(WAITS, journal_empty=True)
        self.unplugged = False
        self.opened_by_release = False
        self.look()
        assert isinstance(self.ask(), Opened)

    def clone(self):
        other = copy.copy(self)
        other.latch = copy.copy(self.latch)
        other.latch._anchor = copy.copy(self.latch._anchor)
        other.latch._early = list(self.latch._early)
        return other

    def evidence(self):
        b = self.board
        return Evidence(
            data_age_s=99.0 if b.gone else 0.0, board_uid="b", boot_nonce=1, tick=self.tick_no,
            tick_hz=HZ, circuit_dead=b.state != "ENERGISED", key_in=b.key_in, stop_in=b.stop_in,
            fired_latch=b.fired, load="open", pressure_healthy=True, rose_and_fell=True,
            ambient_s=100.0, unplugged_by=("A", "B") if self.unplugged else (),
        )  # fmt: skip

    def look(self, seconds=0.1):
        self.now_ns += round(seconds * 1e9)
        if not self.board.gone:
            self.tick_no += round(seconds * HZ)
        self.latch.tick(self.evidence(), self.now_ns)

    def ask(self):
        return self.latch.ask_open(self.evidence(), ("A", "B"), rso="A", now_ns=self.now_ns)

    def disarm(self):
        if self.board.state in {"OFFERED", "ARMED", "ENERGISED"}:
            was = self.board.state
            self.board = replace(self.board, state="DISARMED")
            if was == "ENERGISED":
                self.latch.note(LatchEvent.LINE_OFF)

    def step(self, event):
        answer = ANSWERS[self.phase, event]
        if isinstance(answer, Step):
            self.phase = answer.after
            if answer.after not in PHASE_RANK:
                self.disarm()
        return answer

    # ---- moves -----------------------------------------------------------------------------

    def people_clear(self):
        self.unplugged = False
        self.latch.note(LatchEvent.IGNITER_JOINED)
        self.latch.note(LatchEvent.PEOPLE_CLEAR)

    def key_in(self):
        if not self.board.key_in:
            self.board = replace(self.board, key_in=True)
            self.latch.note(LatchEvent.KEY_IN)

    def key_out(self):
        self.board = replace(self.board, key_in=False)
        self.disarm()
        self.step(Event.KEY_OUT)

    def stop_in(self):
        self.board = replace(self.board, stop_in=True)
        self.disarm()
        self.step(Event.STOP_IN)

    def stop_out(self):
        self.board = replace(self.board, stop_in=False)

    def unplug(self):
        if not self.board.key_in:
            self.unplugged = True

    def ask_arm(self):
        ready = (
            not self.board.gone
            and self.latch.word is Word.CLOSED
            and self.board.key_in
            and not self.board.stop_in
        )
        if ready and isinstance(self.step(Event.ASK_ARM), Step) and not self.board.fired:
            self.board = replace(self.board, state="OFFERED")

    def take(self):
        if self.board.state == "OFFERED" and not self.board.gone:
            self.board = replace(self.board, state="ARMED")
            self.step(Event.ARMED)

    def go(self):
        if (
            self.board.state == "ARMED"
            and not self.board.gone
            and isinstance(self.step(Event.GO_SENT), Step)
        ):
            self.latch.note(LatchEvent.GO)
            self.board = replace(self.board, state="ENERGISED", fired=True)
            self.latch.note(LatchEvent.LINE_ON)

    def lights(self):
        """The motor lights, whatever anybody commanded."""
        self.board = replace(self.board, state="BURN", fired=True)
        self.latch.note(LatchEvent.LIT)
        self.step(Event.LIT)

    def burns_out(self):
        if self.latch.history.burning:
            self.board = replace(self.board, state="DISARMED")
            self.latch.note(LatchEvent.BURN_OUT)
            self.step(Event.BURN_OUT)

    def trip(self):
        self.board = replace(self.board, state="TRIPPED")
        self.latch.note(LatchEvent.ABORTED)
        self.step(Event.TRIP)

    def abort(self):
        self.disarm()
        self.latch.note(LatchEvent.ABORTED)
        self.step(Event.ABORT_CALLED)

    def link_lost(self):
        if self.phase is Phase.FIRE:
            self.latch.note(LatchEvent.OUTCOME_UNKNOWN)
        self.board = replace(self.board, gone=True)
        self.disarm()
        self.step(Event.LINK_LOST)
        self.look(11.0)

    def link_back(self):
        self.board = replace(self.board, gone=False)

    def board_reset(self):
        if self.phase is Phase.FIRE:
            self.latch.note(LatchEvent.OUTCOME_UNKNOWN)
        self.disarm()
        self.step(Event.BOARD_FELL)

    def engine_restart(self):
        """A new process on the same journal: SAFE, and a latch that starts CLOSED."""
        self.disarm()
        self.phase = Phase.SAFE
        self.latch = Latch(WAITS, saved=self.latch.to_json(), last_tick=self.tick_no)
        assert self.latch.word is Word.CLOSED

    def release(self):
        if isinstance(self.ask(), Opened):
            self.opened_by_release = True
            self.board = replace(self.board, fired=False)
            self.step(Event.RELEASED)

    def called(self, event):
        self.step(event)


PLAIN = ("HOLD_CALLED", "RESUME", "RECYCLE", "SCRUB", "SAFE_CALLED", "NOT_LIT", "LET_GO",
         "CONSOLE_LOST", "CONSOLE_GONE", "OFFER_GONE", "NOT_ACCEPTED", "INSPECTED")  # fmt: skip
MOVES = ("people_clear", "key_in", "key_out", "stop_in", "stop_out", "unplug", "ask_arm", "take",
         "go", "lights", "burns_out", "trip", "abort", "link_lost", "link_back", "board_reset",
         "engine_restart", "wait_a_while", "release", *PLAIN)  # fmt: skip


def make(site, move):
    """One move, as the engine would make it; `look` follows, as it does each step."""
    if move in PLAIN:
        site.called(Event(move))
    elif move == "wait_a_while":
        site.latch.stepped(3601.0)
        site.look(3601.0)
    else:
        getattr(site, move)()
    site.look()


def key_of(site):
    """Distinct states: everything but absolute time."""
    wait = site.latch.left_s(site.evidence(), site.now_ns)
    return (
        site.phase, site.board, site.latch.word, site.latch.history, site.unplugged,
        site.latch.elapsed_s(site.evidence(), site.now_ns) > 0.0, wait <= 0.0,
        site.latch._settled, site.latch._fired_seen_clear, site.latch._blind,
    )  # fmt: skip


def check_edge(before, move, after):
    """The invariants of the page, on one edge; the number is the page's."""
    # 1: energised only in FIRE, with the key in and the stop button out, by GO alone
    if after.board.state == "ENERGISED":
        assert after.phase is Phase.FIRE
        assert after.board.key_in
        assert not after.board.stop_in
        assert move == "go" or before.board.state == "ENERGISED"
        assert after.latch.word is Word.CLOSED
    # 2: key out, stop, silence, reset, trip: not energised, not armed
    if move in {"key_out", "stop_in", "link_lost", "board_reset", "trip", "abort", "SAFE_CALLED"}:
        assert RANK[after.board.state] == 0
    # 4: no move goes nearer by more than one
    assert RANK[after.board.state] <= RANK[before.board.state] + 1
    was, now = (PHASE_RANK.get(s.phase, 0) for s in (before, after))
    assert now <= was + 1
    # 5: only the release opens; a restart may find open what was open
    if after.latch.word is Word.OPEN and before.latch.word is Word.CLOSED:
        cold_start = not before.latch._settled and not after.board.fired
        assert move == "release" or cold_start
    # 6: the motor rules
    if move == "lights":
        assert after.phase is Phase.BURNING
        assert after.latch.word is Word.CLOSED
        assert after.latch.history.burning or after.board.gone
    if before.phase in {Phase.ARM, Phase.COUNTDOWN, Phase.HOLD, Phase.FIRE}:
        assert after.latch.word is Word.CLOSED
    # 7: after a start the phase is SAFE
    if move == "engine_restart":
        assert after.phase is Phase.SAFE


def check_state(site):
    phase = site.phase
    # 3: ABORT and SAFE from every phase, in any order
    assert STEPS[phase, Event.ABORT_CALLED] is Phase.ABORT
    assert (phase, Event.SAFE_CALLED) not in REFUSED
    assert STEPS[phase, Event.LIT] is Phase.BURNING
    if site.latch.word is Word.OPEN:
        assert not site.latch.history.burning
        assert not site.latch.history.energy
    else:
        view = site.latch.view(site.evidence(), site.now_ns)
        if view.wait in {WaitClass.MISFIRE, WaitClass.UNPROVEN, WaitClass.IGNITION_SEEN}:
            assert view.left_s is not None
        if site.latch.history.burning:
            assert not view.running


def test_every_reachable_state_keeps_the_invariants():
    """Breadth first over distinct states of procedure, latch and board."""
    start = Site()
    seen = {key_of(start)}
    frontier = [start]
    phases = set()
    edges = 0
    for _ in range(DEPTH):
        found = []
        for site in frontier:
            for move in MOVES:
                after = site.clone()
                make(after, move)
                edges += 1
                check_edge(site, move, after)
                key = key_of(after)
                if key not in seen:
                    seen.add(key)
                    check_state(after)
                    phases.add(after.phase)
                    found.append(after)
        frontier = found
    assert DEPTH < 8 or phases == set(Phase)
    assert edges > 10_000


def test_an_attempt_that_gave_energy_is_never_open_before_its_wait():
    """Practice 0.4: any attempt that put energy in the line starts the full wait."""
    site = Site()
    for move in ("people_clear", "key_in", "stop_out", "ask_arm", "take", "go", "NOT_LIT"):
        make(site, move)
    assert site.phase is Phase.MISFIRE
    for move in ("key_out", "stop_in", "unplug"):
        make(site, move)
    for _ in range(359):
        site.look(5.0)
    make(site, "release")
    assert site.latch.word is Word.CLOSED
    site.look(5.0)
    make(site, "release")
    assert site.latch.word is Word.OPEN
    assert site.phase is Phase.INSPECT


class RandomCrew(RuleBasedStateMachine):
    """Any crew, any day: the same moves in any order, as often as anybody likes."""

    @initialize()
    def morning(self):
        self.site = Site()

    @rule(move=st.sampled_from(MOVES))
    def one(self, move):
        before = self.site.clone()
        make(self.site, move)
        check_edge(before, move, self.site)

    @rule(seconds=st.sampled_from([0.5, 5.0, 9.0]))
    def time_passes(self, seconds):
        word, settled = self.site.latch.word, self.site.latch._settled
        self.site.look(seconds)
        assert word is Word.OPEN or not settled or self.site.latch.word is Word.CLOSED

    @invariant()
    def holds(self):
        if hasattr(self, "site"):
            check_state(self.site)


RandomCrew.TestCase.settings = settings(
    max_examples=int(os.environ.get("BERM_RANDOM_CREWS", "60")),
    stateful_step_count=50,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestRandomCrew = RandomCrew.TestCase


@pytest.mark.parametrize("phase", [Phase.WAIT, Phase.MISFIRE, Phase.ABORT, Phase.BURNING])
def test_nothing_but_release_and_inspection_leads_to_a_new_arming(phase):
    """Practice 2.31: no further attempt before the full wait and the release."""
    reached, frontier = {phase}, [phase]
    while frontier:
        here = frontier.pop()
        for event in Event:
            after = STEPS.get((here, event))
            if event is not Event.RELEASED and after is not None and after not in reached:
                reached.add(after)
                frontier.append(after)
    assert Phase.SAFE not in reached
    assert isinstance(firing(phase).step(Event.ASK_ARM), Refusal)
