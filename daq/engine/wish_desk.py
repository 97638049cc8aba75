"""Where wishes arrive: SAFE and ABORT first and always, everything else by token, age and phase.

One client holds the control token (the console that said hello with control while nobody else
held it); others may look, hold, stop and report. A wish with a `seen` older than 300 ms is refused:
whoever sent it looked at another moment. A beat gives one GRIP if it says "gripped" and is fresh.
"""

from typing import Final

from daq.engine.actions import Ask
from daq.engine.acts import perform
from daq.engine.outgoing import send_grip
from daq.engine.state import State
from daq.engine.tools import Checks
from daq.engine.watch import let_go
from daq.engine.wishes import ANYBODY, MOST_AGE_S, Wish
from daq.procedure.phases import Event, Phase, Refusal
from daq.procedure.signatures import NeedsSecond, Signed, Started
from daq.procedure.waits import LatchEvent, Word

HOLD_REASONS: Final[dict[int, str]] = {
    0: "hold called",
    1: "range foul",
    2: "weather",
    3: "data",
    4: "pad",
    5: "motor or line",
    6: "video",
    7: "radio",
    8: "crew",
    9: "range safety officer",
}
SIGNS: Final[dict[str, LatchEvent]] = {
    "smoke": LatchEvent.SMOKE_REPORTED,
    "flame": LatchEvent.FLAME_REPORTED,
    "sound": LatchEvent.SOUND_REPORTED,
}
LAST_HOLD_S: Final = 10.0
RESUME_WITHIN_S: Final = 60.0


def take(state: State, wish: Wish, now_ns: int) -> None:
    """Obey or refuse one wish, and answer its sender."""
    if wish.kind in ("safe", "abort"):
        answer = _stop(state, wish, now_ns)
    elif wish.kind == "beat":
        _beat(state, wish, now_ns)
        return
    else:
        answer = _gate(state, wish, now_ns) or _WISHES[wish.kind](state, wish, now_ns)
    if answer:
        state.refuse(answer, now_ns, wish.kind)
    state.out.reply(wish.client, answer)


def _stop(state: State, wish: Wish, now_ns: int) -> str:
    if wish.kind == "safe":
        state.want_off("SAFE")
        state.fact("SAFE", now_ns, by=wish.client)
        state.happen(Event.SAFE_CALLED, now_ns, why="SAFE called")
    else:
        state.want_off("ABORT")
        state.fact("ABORT", now_ns, by=wish.client)
        state.happen(Event.ABORT_CALLED, now_ns, why="ABORT called")
    return ""


def _gate(state: State, wish: Wish, now_ns: int) -> str:
    """Token and age; "" if the wish may be looked at."""
    anybody = wish.kind in ANYBODY or (state.plan.is_simulated and _crew_may(state, wish))
    if not anybody and state.grip.client != wish.client:
        return "Another console is in control: this one may look, hold and stop."
    if wish.needs_age and not is_fresh(state, wish.number("seen"), now_ns):
        return "That was asked on an old picture: look again and ask again."
    return ""


def _crew_may(state: State, wish: Wish) -> bool:
    """In a rehearsal the scripted crew signs for its own people and lets the clock step."""
    if wish.kind in ("enter", "digits"):
        return wish.text("by") not in ("", state.holder("TC"))
    return wish.kind in ("step", "end")


def is_fresh(state: State, seen: int, now_ns: int) -> bool:
    """Whether status number `seen` was published at most 300 ms ago."""
    at_ns = state.published.get(seen)
    return at_ns is not None and (now_ns - at_ns) / 1e9 <= MOST_AGE_S


def _beat(state: State, wish: Wish, now_ns: int) -> None:
    """A sign of life of the console in control; produces one GRIP if it says so and is fresh."""
    grip = state.grip
    if grip.client != wish.client:
        return
    fresh = is_fresh(state, wish.number("painted_n"), now_ns)
    held = bool(wish.data.get("grip")) and fresh
    was_held, grip.held = grip.held, held
    grip.painted_n = wish.number("painted_n")
    if fresh:
        grip.beat_ns, grip.lost_told, grip.gone_told = now_ns, False, False
    if held and not was_held:
        _gripped(state, now_ns)
    elif was_held and not held:
        let_go(state, now_ns, "the fire control was let go")
    if grip.held:
        send_grip(state)


def _gripped(state: State, now_ns: int) -> None:
    state.moved.add("fire control")
    if (
        state.phase is Phase.COUNTDOWN
        and state.count.left_s(now_ns) > state.plan.timers.grip_gate_s
    ):
        state.grip.held = False
        state.happen(Event.HOLD_CALLED, now_ns, why="fire control pressed before T−3 s")


def _hello(state: State, wish: Wish, now_ns: int) -> str:
    state.fact("CLIENT", now_ns, who=wish.text("who")[:40], client=wish.client)
    if wish.data.get("control"):
        if state.grip.client is not None and state.grip.client != wish.client:
            return "Another console is in control: this one may look, hold and stop."
        state.grip.client = wish.client
    return ""


def _hold(state: State, wish: Wish, now_ns: int) -> str:
    digit = int(wish.data.get("digit", 0))
    reason = HOLD_REASONS.get(digit, HOLD_REASONS[0])
    state.fact("HOLD", now_ns, by=wish.text("by"), digit=digit, reason=reason)
    if digit == 1:
        state.marks.foul = True
        state.marks.range_clear_ns = None
    if state.phase in (Phase.FIRE, Phase.BURNING):
        state.fact("MARK", now_ns, text=f"P pressed: {reason}")
        state.tell("Mark noted", now_ns)
        return ""
    state.hold_why = f"Called: {reason}."
    return state.happen(Event.HOLD_CALLED, now_ns, why=reason)


def _mark(state: State, wish: Wish, now_ns: int) -> str:
    state.fact("MARK", now_ns, text=wish.text("text")[:200])
    state.tell("Mark noted", now_ns)
    return ""


def _enter(state: State, wish: Wish, now_ns: int) -> str:
    if state.phase is Phase.ARM:
        return _take_offer(state, now_ns)
    if state.phase is Phase.HOLD:
        return _resume_one(state, wish.text("by"), wish.text("code"), now_ns)
    if state.phase in (Phase.COUNTDOWN, Phase.FIRE, Phase.BURNING):
        return "Enter does nothing in the count and in the burn."
    return _sign(state, wish, now_ns)


def _sign(state: State, wish: Wish, now_ns: int) -> str:
    line_id = wish.text("line")
    early = _too_early(state, line_id, now_ns)
    if early:
        return early
    answer = state.signatures.sign(
        line_id,
        by=wish.text("by"),
        code=wish.text("code"),
        now_ns=now_ns,
        phase=state.phase,
        checks=Checks(state, now_ns),
        perform=lambda act, names: perform(state, act, names, now_ns),
        values=wish.data.get("values") or {},
        vouched_by=wish.text("vouched_by"),
    )
    match answer:
        case Refusal():
            return answer.text
        case Signed():
            state.fact(
                "SIGNED", now_ns, line=answer.line, names=list(answer.names), values=answer.values
            )
            state.after_signing(answer.line, answer.act)
        case NeedsSecond():
            state.fact("FIRST_NAME", now_ns, line=answer.line, names=[answer.first])
        case Started():
            state.fact("STARTED", now_ns, line=answer.line, act=answer.act)
    return ""


def _too_early(state: State, line_id: str, now_ns: int) -> str:
    """A line of the planned clock is signed at its mark, not before."""
    line = state.signatures.checklist.line(line_id)
    if line is None or line.at_s is None or state.count.kind != "planned":
        return ""
    left_s = state.count.left_s(now_ns)
    if left_s <= line.at_s + 0.5:
        return ""
    return (
        f"{line_id} belongs to T−{line.at_s:.0f} s, the planned clock says T−{left_s:.0f} s: wait."
    )


def _take_offer(state: State, now_ns: int) -> str:
    take_it = state.arming.take(now_ns)
    if take_it is None:
        return "All eight digits of the echoed set-up number are typed first, four by each."
    state.out.send(state.link.send(take_it))
    return ""


def _digits(state: State, wish: Wish, now_ns: int) -> str:
    del now_ns
    if state.phase is not Phase.ARM:
        return "The set-up number is typed while arming, after the board's echo."
    return state.arming.type_digits(wish.text("text"), wish.text("by") or state.arming.typist)


def _resume_one(state: State, by: str, code: str, now_ns: int) -> str:
    """One of the two names that leave a hold: the conductor proposes, the officer concurs."""
    refused = _hold_stands(state, now_ns) or state.signatures.wrong_code(by, code)
    if refused:
        return refused
    state.resume_by = {
        name: at for name, at in state.resume_by.items() if (now_ns - at) / 1e9 < RESUME_WITHIN_S
    }
    state.resume_by[by] = now_ns
    wanted = {state.holder("TC"), state.holder("RSO")}
    if not wanted <= set(state.resume_by):
        return ""
    names = " and ".join(sorted(state.resume_by))
    state.resume_by = {}
    state.marks.range_clear_ns = state.marks.poll_ns = now_ns
    state.marks.foul = False
    return state.happen(Event.RESUME, now_ns, why="range clear renewed", by=names)


def _hold_stands(state: State, now_ns: int) -> str:
    if state.phase is not Phase.HOLD:
        return "There is no hold to leave."
    left_s = state.count.left_s(now_ns)
    if left_s < LAST_HOLD_S:
        return "Inside the last ten seconds a hold is never resumed: recycle, or scrub."
    status = state.board.status
    needed_s = left_s + state.plan.timers.pulse_s + 2.0
    if status is not None and status.armed_left_ms / 1000 < needed_s:
        return f"The arming lasts {status.armed_left_ms / 1000:.0f} s, the count needs {needed_s:.0f} s: recycle."
    renewed = ("range_clear", "posts", "grip")
    return " ".join(
        each.text for each in state.conditions if not each.holds and each.name not in renewed
    )


def _resume(state: State, wish: Wish, now_ns: int) -> str:
    names = [str(each) for each in wish.data.get("by", [])]
    codes = [str(each) for each in wish.data.get("codes", [])]
    if len(names) != 2 or len(codes) != 2 or names[0] == names[1]:
        return "Two people leave a hold, each with the own code."
    for name, code in zip(names, codes, strict=True):
        refused = _resume_one(state, name, code, now_ns)
        if refused:
            return refused
    return ""


def _recycle(state: State, wish: Wish, now_ns: int) -> str:
    to_s = float(wish.data.get("to_s", state.plan.timers.count_s))
    refused = state.happen(Event.RECYCLE, now_ns, why=f"to T−{to_s:.0f} s", by=wish.text("by"))
    if not refused:
        state.signatures.recycle(to_s)
    return refused


def _scrub(state: State, wish: Wish, now_ns: int) -> str:
    refused = state.happen(Event.SCRUB, now_ns, why="scrubbed", by=wish.text("by"))
    if not refused and state.latch.word is Word.CLOSED:
        state.signatures.begin_release()
    return refused


def _answer(state: State, wish: Wish, now_ns: int) -> str:
    del now_ns
    return state.notices.answer(state.phase, wish.text("by") or "console")


def _report(state: State, wish: Wish, now_ns: int) -> str:
    what = wish.text("what")
    state.fact("REPORT", now_ns, what=what, by=wish.text("by"))
    state.tell(f"Reported: {what}", now_ns)
    if what in SIGNS:
        state.note_latch(SIGNS[what], now_ns)
    elif what == "storm":
        state.marks.storm_ns = now_ns
    elif what == "foul":
        state.marks.foul, state.marks.range_clear_ns = True, None
    else:
        return "A report is smoke, flame, sound, storm or foul."
    if state.phase is Phase.COUNTDOWN:
        return state.happen(Event.HOLD_CALLED, now_ns, why=f"{what} reported")
    return ""


def _step(state: State, wish: Wish, now_ns: int) -> str:
    if not state.plan.is_simulated:
        return "Only a rehearsal's clock can step."
    seconds = min(float(wish.data.get("seconds", 0.0)), state.may_step_s(now_ns))
    if seconds <= 0.0:
        return "The clock does not step now: from T−10 s to one second after the burn it runs."
    state.out.ask(Ask(what="step", value=seconds, client=wish.client))
    return ""


def _end(state: State, wish: Wish, now_ns: int) -> str:
    del wish, now_ns
    if state.phase is not Phase.SAFE:
        return f"The engine ends in SAFE only; the phase is {state.phase.value}."
    state.ending = True
    return ""


_WISHES: Final = {
    "hello": _hello,
    "hold": _hold,
    "mark": _mark,
    "enter": _enter,
    "digits": _digits,
    "resume": _resume,
    "recycle": _recycle,
    "scrub": _scrub,
    "answer": _answer,
    "report": _report,
    "step": _step,
    "end": _end,
}
