"""The status: what the console and the crew see, 20 times a second, and what the record keeps.

Facts as measured stand beside words that were decided; nothing here decides. The set-up number is
masked from ARM until ARMED, so that the board's echo is the only place to read it.
"""

from typing import Any, Final

from daq.channels.health import Health
from daq.engine.live import LiveChannel
from daq.engine.state import State
from daq.engine.tools import evidence
from daq.procedure import checklist_view
from daq.procedure.phases import WORDS, Phase
from daq.units import both

FRESH_S: Final = 0.5
EVENTS_SHOWN: Final = 3


def status_of(state: State, now_ns: int) -> dict[str, Any]:
    """The whole status as plain JSON values; shape: see WISHES.md."""
    plan, phase = state.plan, state.phase
    words = WORDS[phase]
    masked = phase is Phase.ARM
    return {
        "n": state.status_n,
        "engine_s": round(now_ns / 1e9, 4),
        "utc": state.around.utc,
        "mode": plan.mode,
        "site": plan.site,
        "run_id": plan.run_id,
        "board_id": state.board.identity.uid.hex()[:8] if state.board.identity else "",
        "casing": plan.casing,
        "nozzle": plan.nozzle,
        "setup_id": None if masked else plan.setup_text,
        "journal": {
            "folder": state.recorder.folder,
            "segment": state.recorder.segment,
            "offset": state.recorder.offset,
            "seq": state.recorder.seq,
            "session": state.link.session,
        },
        "crew": {"TC": state.holder("TC"), "RSO": state.holder("RSO")},
        "hold": {"why": state.hold_why if phase is Phase.HOLD else ""},
        "misfire": misfire_text(state) if phase is Phase.MISFIRE else "",
        "phase": phase.value,
        "phase_s": round((now_ns - state.phase_ns) / 1e9, 3) if state.phase_ns else 0.0,
        "now": words.now,
        "next": words.next,
        "not_yet": words.not_yet,
        "board": {
            "state": state.board.state.name if state.board.state is not None else "",
            "agrees": state.board_agrees(),
        },
        "clock": clock_of(state, now_ns),
        "circuit": circuit_of(state, now_ns),
        "stop_in": bool(state.board.status and state.board.status.stop_in),
        **approach_of(state, now_ns),
        "pressure": pressure_of(state, now_ns),
        "thrust": thrust_of(state, now_ns),
        "limits": limits_of(state),
        "checklist": checklist_view.view(state.signatures, phase, now_ns),
        "conditions": [
            {"name": each.name, "holds": each.holds, "text": each.text} for each in state.conditions
        ],
        "arming": arming_of(state, now_ns),
        **instruments_of(state, now_ns),
        "alarms": [alarm.to_json() for alarm in state.notices.shown()],
        "events": [{"t": t, "text": x} for t, x in list(state.notices.events)[:EVENTS_SHOWN]],
        "refusal": None
        if state.notices.refusal is None
        else {"t": state.notices.refusal[0], "text": state.notices.refusal[1]},
        "keys": keys_of(state, now_ns),
        "results": state.results,
        "may_step_s": state.may_step_s(now_ns) if plan.is_simulated else 0.0,
        "lost": {"samples": state.live.lost_samples, "bad_frames": state.board.bad_frames},
    }


def misfire_text(state: State) -> str:
    """The class of a misfire by the recorded line current (practice 2C)."""
    attempt = state.attempt
    if attempt.line_on_tick is None:
        return "No line current: open line, relay or supply."
    if attempt.line_opened:
        return "Current, then open. May still light."
    return "Current and no light: weak supply or a short."


# ---- clock ---------------------------------------------------------------------------------------


def clock_of(state: State, now_ns: int) -> dict[str, Any]:
    """What is counted, in which form, and whether it runs."""
    phase = state.phase
    if phase is Phase.ARM:
        left = state.arming.left_s(now_ns)
        return _clock("offer", "", left, left is not None, "offer left", "", "s")
    if phase in (Phase.COUNTDOWN, Phase.HOLD) or (
        phase is Phase.SAFE and state.count.kind == "planned"
    ):
        return _count_clock(state, now_ns)
    if phase in (Phase.FIRE, Phase.BURNING):
        return _burn_clock(state, now_ns)
    if phase in (Phase.WAIT, Phase.MISFIRE, Phase.ABORT):
        return _wait_clock(state, now_ns)
    if phase is Phase.INSPECT:
        t0 = state.attempt.t0_ns
        since = None if t0 is None else (now_ns - t0) / 1e9
        return _clock("inspect", "T+", since, True, "since GO", "", "min:s")
    return _clock("planned", "T−", state.plan.timers.planned_s, False, "planned count", "", "min:s")


def _clock(
    kind: str, sign: str, seconds: float | None, running: bool, caption: str, note: str, form: str
) -> dict[str, Any]:
    return {
        "kind": kind,
        "sign": sign,
        "seconds": None if seconds is None else round(seconds, 3),
        "running": running,
        "caption": caption,
        "note": note,
        "form": form,
    }


def _count_clock(state: State, now_ns: int) -> dict[str, Any]:
    left = state.count.left_s(now_ns)
    if state.count.kind == "planned":
        stands = left <= state.count.floor_s
        note = "stands at T−60 s: poll, key in, arm" if stands else "stops at T−60 s"
        return _clock("planned", "T−", left, not stands, "planned count", note, "min:s")
    status = state.board.status
    armed = 0.0 if status is None else status.armed_left_ms / 1000
    tail = ", runs on" if state.phase is Phase.HOLD else ""
    note = f"armed, {armed:.0f} s left{tail}"
    return _clock("count", "T−", left, state.phase is Phase.COUNTDOWN, "to GO", note, "s")


def _burn_clock(state: State, now_ns: int) -> dict[str, Any]:
    t0 = state.attempt.t0_ns or state.attempt.lit_ns
    since = None if t0 is None else (now_ns - t0) / 1e9
    if state.phase is Phase.FIRE:
        note = f"lit within {state.plan.timers.lit_within_s:g} s, or MISFIRE"
    else:
        note = f"expected burn-out T+{state.plan.redline.expected_burn_s:.1f} s"
    return _clock("burn", "T+", since, True, "since GO", note, "tenths")


def _wait_clock(state: State, now_ns: int) -> dict[str, Any]:
    view = state.latch.view(evidence(state, now_ns), now_ns)
    if view.left_s is None:
        return _clock("wait", "", None, False, "no timed wait", "", "min:s")
    return _clock("wait", "", view.left_s, view.running, "wait left", view.note, "min:s")


# ---- circuit, approach ---------------------------------------------------------------------------


def circuit_of(state: State, now_ns: int) -> dict[str, Any]:
    """The fire circuit as the board measures it."""
    status = state.board.status
    word = state.board.circuit_word(now_ns, FRESH_S)
    if status is None:
        return {
            "word": "UNKNOWN", "line_v": 0.0, "line_ma": 0.0, "key_in": False,
            "high_closed": False, "low_closed": False, "continuity_ohm": None, "armed_left_s": None,
        }  # fmt: skip
    armed = status.armed_left_ms / 1000 if status.armed_left_ms else None
    return {
        "word": word,
        "line_v": status.line_mv / 1000,
        "line_ma": float(status.line_ma),
        "key_in": status.key_in,
        "high_closed": status.high_closed,
        "low_closed": status.low_closed,
        "continuity_ohm": state.board.continuity_ohm,
        "armed_left_s": armed,
    }


def approach_of(state: State, now_ns: int) -> dict[str, Any]:
    """The approach latch and, while it is CLOSED after an attempt, the release steps."""
    view = state.latch.view(evidence(state, now_ns), now_ns)
    lines = [view.note] if view.note else []
    return {
        "approach": {
            "word": view.word.value,
            "reason": view.reason,
            "since": view.since,
            "left_s": None if view.left_s is None else round(view.left_s, 1),
            "wait": None if view.wait is None else view.wait.value,
            "running": view.running,
            "lines": lines,
            "names": list(view.names),
        },
        "release": [
            {"text": item.text, "done": item.done, "missing": item.missing} for item in view.release
        ],
    }


# ---- channels ------------------------------------------------------------------------------------


def _values(state: State, quantity: str) -> dict[str, float | None]:
    return {
        name: None if live.value is None else round(live.value, 3)
        for name, live in state.live.channels.items()
        if live.plan.quantity == quantity
    }


def _word(state: State, live: LiveChannel | None, word: Health) -> str:
    if live is not None and live.over:
        return "OVER"
    if live is not None and live.plan.is_pressure and state.witness.word.value == "BLIND":
        return "BLIND"
    return word.value


def pressure_of(state: State, now_ns: int) -> dict[str, Any]:
    live, word = state.live.highest("pressure", now_ns)
    value = None if live is None else live.value
    trip = state.plan.redline.trip_pa
    return {
        "pa": value,
        "word": _word(state, live, word),
        "percent_of_trip": None if value is None else round(100 * value / trip, 1),
        "max_pa": None if live is None else live.peak_value,
        "channels": _values(state, "pressure"),
    }


def thrust_of(state: State, now_ns: int) -> dict[str, Any]:
    live, word = state.live.highest("thrust", now_ns)
    value = None if live is None else live.value
    expected = state.plan.redline.expected_thrust_n
    compare = ""
    if state.attempt.burning and value is not None and value > 0.2 * expected:
        share = 100 * (value / expected - 1)
        compare = f"{abs(share):.0f} % {'above' if share >= 0 else 'below'} expected peak"
    return {
        "n": value,
        "word": word.value,
        "max_n": None if live is None else live.peak_value,
        "compare": compare,
        "channels": _values(state, "thrust"),
    }


def limits_of(state: State) -> dict[str, Any]:
    red = state.plan.redline
    return {
        "trip_pa": red.trip_pa,
        "allowable_pa": red.allowable_pa,
        "allowable_mode": red.allowable_mode,
        "rated_burst_pa": red.rated_burst_pa,
        "rated_burst_mode": red.rated_burst_mode,
        "expected_max_pa": red.expected_max_pa,
        "expected_peak_pa": red.expected_peak_pa,
        "near_trip_pa": red.near_trip_pa,
        "expected_thrust_n": red.expected_thrust_n,
        "expected_burn_s": red.expected_burn_s,
    }


# ---- arming, instruments, keys -------------------------------------------------------------------


def arming_of(state: State, now_ns: int) -> dict[str, Any]:
    arming, plan = state.arming, state.plan
    echo: list[list[str]] = []
    if arming.offer is not None and state.limits.echo:
        limits = state.fire_limits
        first = plan.named("pressure")[0]
        counts = limits.channels[plan.channels.index(first)].hi
        trip = float(first.calibration.to_si(counts))
        echo = [
            ["Trip", both(trip, "pressure")],
            ["Pulse", f"{limits.pulse_ms / 1000:g} s"],
            ["Armed for", f"{limits.armed_s} s"],
            ["Limits", f"{limits.crc:08X}"],
        ]
    left = arming.left_s(now_ns)
    return {
        "state": arming.state,
        "echo": echo,
        "setup_id": arming.echoed,
        "typed": arming.typed,
        "typist": arming.typist if arming.state in ("offered", "typing") else "",
        "offer_left_s": None if left is None else round(left, 1),
    }


def instruments_of(state: State, now_ns: int) -> dict[str, Any]:
    board, recorder = state.board, state.recorder
    age_ms = min(board.age_s(now_ns) * 1000, 999_999.0)
    return {
        "recorder": {
            "word": recorder.word,
            "synced_ms_ago": round(recorder.synced_ms_ago, 1),
            "disk_min": recorder.disk_min,
            "mirror": recorder.mirror,
        },
        "link": {
            "word": "lost" if state.link_lost else "up",
            "age_ms": round(age_ms, 1),
            "bad": board.bad_frames,
            "gaps": state.live.gaps,
        },
        "power": {"word": state.around.power_text},
        "supply_v": None if board.status is None else board.status.supply_mv / 1000,
        "beat_age_ms": round(min(state.grip.age_s(now_ns) * 1000, 999_999.0), 1),
    }


def keys_of(state: State, now_ns: int) -> dict[str, Any]:
    """What each key does now, in the words on its cap."""
    phase = state.phase
    fire = {
        Phase.COUNTDOWN: "held" if state.grip.held else "from T−3 s",
        Phase.FIRE: "held",
        Phase.BURNING: "may let go",
    }.get(phase, "off")
    late = state.count.left_s(now_ns) <= state.plan.timers.grip_gate_s
    if phase is Phase.COUNTDOWN and late and not state.grip.held:
        fire = "hold down"
    hold = "no effect"
    if phase is Phase.COUNTDOWN:
        hold = "HOLD now"
    elif phase in (Phase.FIRE, Phase.BURNING):
        hold = "Mark, noted"
    calm = phase in (Phase.SAFE, Phase.ARM, Phase.INSPECT)
    return {
        "space": "SAFE" if calm else "ABORT",
        "space_note": "line off" if calm else "line off, siren, latch closed",
        "fire": fire,
        "hold": hold,
        "enter": _enter_label(state),
    }


def _enter_label(state: State) -> str | None:
    phase = state.phase
    if phase is Phase.ARM:
        return "Arm" if state.arming.state == "typed" else None
    if phase is Phase.HOLD:
        return "Resume, two names"
    if phase in (Phase.COUNTDOWN, Phase.FIRE, Phase.BURNING):
        return None
    line = state.signatures.next_line(phase)
    return None if line is None or line.auto else f"Sign {line.id}"
