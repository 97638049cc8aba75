"""What a checklist line sets off: `perform(state, act, names, now)` does it or says why not.

A line with an act counts as signed only after its act was taken. None of these acts energises
anything: the nearest one, `arm`, asks the board for an offer.
"""

from collections.abc import Callable
from typing import Final

from daq.engine.actions import Ask
from daq.engine.conditions_now import arming_refusal_now
from daq.engine.state import State
from daq.engine.tools import evidence
from daq.procedure.checks import ACTS
from daq.procedure.phases import Event, Phase, Refusal
from daq.procedure.waits import LatchEvent, Word
from firmware_protocol.messages import Out, Released

LONG_SIREN_S: Final = 60.0
SHORT_SIREN_S: Final = 5.0
CLEAR_BLAST_S: Final = 10.0

PATIENCE_S: Final = {
    "selftest": 3.0,
    "supply_test": 3.0,
    "zero": 60.5,
    "check_load": 20.0,
    "puff": 20.0,
    "tare": 3.0,
    "load_limits": 2.0,
    "siren_long": 5.0,
    "siren_short": 5.0,
    "copy_run": 10.0,
}

Names = tuple[str, ...]
Act = Callable[[State, Names, int], str]


def perform(state: State, act: str, names: Names, now_ns: int) -> str:
    """Do one act for these names; "" or the sentence that refuses it.

    What takes its time is not started twice: a second Enter says that it is under way.
    """
    began_ns = state.started.get(act)
    if began_ns is not None and (now_ns - began_ns) / 1e9 < PATIENCE_S.get(act, 0.0):
        return f"Under way ({ACTS[act]}): wait for it."
    refused = ACT_OF[act](state, names, now_ns)
    if not refused:
        state.started[act] = now_ns
    return refused


def _open_range(state: State, names: Names, now_ns: int) -> str:
    if state.latch.word is Word.OPEN:
        return ""
    answer = state.latch.ask_open(
        evidence(state, now_ns),
        names,
        rso=state.holder("RSO"),
        now_ns=now_ns,
        utc=state.around.utc[11:16],
    )
    if isinstance(answer, Refusal):
        return answer.text
    state.record_latch(now_ns)
    state.fact("RELEASED", now_ns, names=list(names), text=answer.text, wait=answer.wait.value)
    state.tell(answer.text, now_ns)
    if state.board.in_session:
        state.out.send(state.link.send(Released(run=state.plan.run_number)))
    if state.phase in (Phase.WAIT, Phase.MISFIRE, Phase.ABORT):
        state.happen(Event.RELEASED, now_ns, why="released", by=" and ".join(names))
    return ""


def _selftest(state: State, names: Names, now_ns: int) -> str:
    del names
    tests = state.selftest.ask(state.board.status, now_ns)
    if not tests:
        return "A self-test needs the key out and the board disarmed; if one runs, wait for it."
    for test in tests:
        state.out.send(state.link.send(test))
    return ""


def _zero(state: State, names: Names, now_ns: int) -> str:
    del names
    state.zero.begin(state.live, now_ns)
    return ""


def _check_load(state: State, names: Names, now_ns: int) -> str:
    del names
    if state.phase is Phase.INSPECT and state.limits.wanted != state.plan.bench_limits:
        return "No check load beside a motor that may still light."
    state.load_test.begin()
    zeros = {name: live.steady for name, live in state.live.channels.items()}
    state.fact("ZERO_BEFORE_LOAD", now_ns, counts=zeros, after=state.phase is Phase.INSPECT)
    return ""


def _puff(state: State, names: Names, now_ns: int) -> str:
    del names, now_ns
    for live in state.live.channels.values():
        if live.plan.is_pressure:
            live.health.forget_proof()
    return ""


def _tare(state: State, names: Names, now_ns: int) -> str:
    del names
    state.tare_test.begin(state.live, now_ns)
    return ""


def _mark(state: State, names: Names, now_ns: int) -> str:
    state.fact("MARK", now_ns, text="event mark test", by=list(names))
    return ""


def _load_limits(state: State, names: Names, now_ns: int) -> str:
    del names, now_ns
    state.limits.want(state.fire_limits)
    state.limits.read_back()
    return ""


def _igniter(state: State, names: Names, now_ns: int) -> str:
    del names
    state.note_latch(LatchEvent.IGNITER_JOINED, now_ns)
    return ""


def _people_clear(state: State, names: Names, now_ns: int) -> str:
    del names
    state.note_latch(LatchEvent.PEOPLE_CLEAR, now_ns)
    state.unplugged_by.clear()
    state.marks.people_clear_ns = now_ns
    state.marks.range_clear_ns = now_ns
    state.marks.foul = False
    return ""


def _range_clear(state: State, names: Names, now_ns: int) -> str:
    del names
    state.marks.range_clear_ns = now_ns
    state.marks.foul = False
    return ""


def _planned_clock(state: State, names: Names, now_ns: int) -> str:
    del names
    timers = state.plan.timers
    state.count.start("planned", timers.planned_s, now_ns, floor_s=timers.count_s)
    state.out.ask(Ask(what="sync", value=0.050))
    return ""


def _siren(seconds: float, kind: str) -> Act:
    """Sound; the warning counts only when its output was read back (see `watch`)."""

    def sound(state: State, names: Names, now_ns: int) -> str:
        del names
        state.set_output(Out.SIREN, True)
        state.siren_until_ns = now_ns + round(seconds * 1e9)
        state.siren_kind = kind
        state.fact("SIREN", now_ns, seconds=seconds, kind=kind)
        return ""

    return sound


def _key_in(state: State, names: Names, now_ns: int) -> str:
    """The poll is complete: the key may go in; the posts have just answered."""
    del names
    state.marks.poll_ns = now_ns
    return ""


def _arm(state: State, names: Names, now_ns: int) -> str:
    if state.attempt.was_lit:
        return "This motor was fired in this run: end this run; the next motor is a new set-up."
    refusal = arming_refusal_now(state, now_ns)
    if refusal:
        return refusal
    state.attempt = state.new_attempt()
    state.arming = state.new_arming()
    state.grip.n = 0
    refused = state.happen(Event.ASK_ARM, now_ns, by=" and ".join(names))
    if refused:
        return refused
    state.out.send(state.link.send(state.arming.ask(now_ns)))
    return ""


def _unplugged(state: State, names: Names, now_ns: int) -> str:
    state.unplugged_by = list(names)
    state.fact("UNPLUGGED", now_ns, names=list(names))
    return ""


def _copy_run(state: State, names: Names, now_ns: int) -> str:
    del names, now_ns
    state.out.ask(Ask(what="copy"))
    return ""


def _inspected(state: State, names: Names, now_ns: int) -> str:
    return state.happen(Event.INSPECTED, now_ns, why="inspection signed", by=" and ".join(names))


ACT_OF: Final[dict[str, Act]] = {
    "open_range": _open_range,
    "selftest": _selftest,
    "supply_test": _selftest,
    "zero": _zero,
    "check_load": _check_load,
    "puff": _puff,
    "tare": _tare,
    "mark": _mark,
    "load_limits": _load_limits,
    "igniter_joined": _igniter,
    "people_clear": _people_clear,
    "range_clear": _range_clear,
    "planned_clock": _planned_clock,
    "siren_long": _siren(LONG_SIREN_S, "long"),
    "siren_short": _siren(SHORT_SIREN_S, "short"),
    "key_in": _key_in,
    "arm": _arm,
    "unplugged": _unplugged,
    "copy_run": _copy_run,
    "all_clear": _siren(CLEAR_BLAST_S, "clear"),
    "inspected": _inspected,
}
