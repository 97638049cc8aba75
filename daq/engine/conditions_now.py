"""The go table at this moment: the engine's facts as a `Reading`, and what a broken row leads to.

The table itself is `daq.procedure.conditions`; here stands only where each fact comes from. The
worst broken condition is taken, once, and its sentence becomes the reason on the screen.
"""

from typing import Final

from daq.engine.state import State
from daq.engine.tools import (
    load_word,
    pressure_ambient_text,
    range_clear_s,
    supply_answer,
    thrust_zero_text,
)
from daq.procedure import conditions as table
from daq.procedure.conditions import ChannelWord, Condition, Moment, Reaction, Reading
from daq.procedure.phases import Event, Phase
from daq.procedure.waits import Word

FRESH_S: Final = 0.5
BYTES_PER_COUNT: Final = 3
RING_SPARE_S: Final = 3.0


def moment_of(state: State) -> Moment | None:
    """Which column of the table holds now, None outside the count."""
    if state.phase in (Phase.COUNTDOWN, Phase.HOLD):
        return Moment.COUNT
    if state.phase is Phase.FIRE:
        return Moment.PULSE
    if state.phase is Phase.SAFE and state.count.kind == "planned":
        return Moment.ARM
    return None


def judge(state: State, now_ns: int) -> None:
    """Work the table out and do what the worst broken condition says."""
    moment = moment_of(state)
    if moment is None:
        state.conditions = []
        return
    state.conditions = table.judge(moment, reading(state, now_ns))
    if moment is Moment.ARM:
        return
    broken = table.worst(state.conditions)
    if broken is not None:
        _react(state, broken, now_ns)


def _react(state: State, broken: Condition, now_ns: int) -> None:
    why = broken.text
    if broken.reaction is Reaction.ABORT:
        state.happen(Event.TRIP if broken.name == "trip" else Event.ABORT_CALLED, now_ns, why=why)
    elif broken.reaction is Reaction.SAFE:
        state.happen(Event.SAFE_CALLED, now_ns, why=why)
        state.refuse(why, now_ns, "COUNT")
    elif broken.reaction is Reaction.DROP and not state.attempt.was_lit:
        state.want_off("SAFE")
        state.happen(Event.LET_GO, now_ns, why=why)
    elif broken.reaction is Reaction.HOLD and state.phase is Phase.COUNTDOWN:
        state.hold_why = why
        state.happen(Event.HOLD_CALLED, now_ns, why=why)


def arming_refusal_now(state: State, now_ns: int) -> str:
    """Everything that is in the way of arming in one text, "" if nothing is."""
    return table.arming_refusal(table.judge(Moment.ARM, reading(state, now_ns)))


def reading(state: State, now_ns: int) -> Reading:
    """Every fact the table looks at."""
    board, status, marks, timers = state.board, state.board.status, state.marks, state.plan.timers
    heard = status is not None and board.is_fresh(now_ns, FRESH_S) and not state.link_lost
    supply_ok, supply_text = supply_answer(state)
    return Reading(
        left_s=state.count.left_s(now_ns),
        key_in=heard and status is not None and status.key_in,
        key_seen_out=heard and status is not None and status.key_seen_out,
        stop_in=not heard or status is None or status.stop_in,
        link_up=heard,
        board_agrees=not state.disagrees(now_ns),
        board_text=f"{board.state.name if board.state is not None else 'not heard'}, "
        f"engine {state.phase.value}",
        limits_equal=state.limits.wanted == state.fire_limits and state.limits.is_equal(status),
        setup_equal=status is not None and status.setup_id == state.plan.setup_id,
        continuity_ok=_continuity(state),
        continuity_text=_ohms(state),
        switches_open=status is not None and not (status.high_closed or status.low_closed),
        line_dead=board.line_is_dead,
        supply_ok=supply_ok,
        supply_text=supply_text,
        selftest_age_s=state.selftest.age_s(now_ns),
        grip=state.grip.held,
        trip_over=any(live.over for live in state.live.channels.values())
        or (status is not None and status.trip_latched),
        pressure_ambient=not pressure_ambient_text(state),
        pressure_text=pressure_ambient_text(state),
        thrust_zero=not thrust_zero_text(state, now_ns),
        thrust_text=thrust_zero_text(state, now_ns),
        channels=_channels(state, now_ns),
        thrust_waived_by=state.thrust_waived_by,
        sync_age_s=state.recorder.synced_ms_ago / 1000,
        queue_s=state.recorder.queue_s,
        disk_ok=(state.recorder.disk_min or 0.0) >= state.plan.needed_disk_min,
        recorder_word=state.recorder.word,
        screen_age_s=screen_age_s(state, now_ns),
        rating=state.plan.redline.refusals + state.plan.barred,
        unsigned=_unsigned(state),
        calibration_ok=not state.plan.out_of_date,
        calibration_text=", ".join(state.plan.out_of_date),
        reconciled=not state.plan.unreconciled,
        latch_closed=state.latch.word is Word.CLOSED,
        range_clear_age_s=float("inf") if marks.foul else marks.age_s("range_clear", now_ns),
        range_clear_old_s=range_clear_s(state, now_ns),
        posts_age_s=marks.age_s("poll", now_ns),
        posts_old_s=timers.poll_s,
        warning_age_s=marks.age_s("warning", now_ns),
        warning_old_s=timers.warning_s,
        storm_text=""
        if marks.age_s("storm", now_ns) > state.plan.storm_wait_s
        else "thunder was heard: the range's storm wait runs",
        on_mains=state.around.power_ok,
        battery_percent=None,
        sleep_inhibited=state.around.sleep_ok,
        video_ok=True,
        ring_ok=ring_s(state) >= state.plan.redline.expected_burn_s + RING_SPARE_S,
    )


def screen_age_s(state: State, now_ns: int) -> float:
    """Age of the status that was painted when the console last beat."""
    at_ns = state.published.get(state.grip.painted_n)
    return float("inf") if at_ns is None else (now_ns - at_ns) / 1e9


def ring_s(state: State) -> float:
    """Seconds that the board's memory holds at full rate."""
    identity = state.board.identity
    if identity is None:
        return 0.0
    rate = sum(group.rate_hz * group.channels for group in identity.groups) * BYTES_PER_COUNT
    return identity.ring_bytes / rate if rate else 0.0


def _continuity(state: State) -> bool:
    status, limits = state.board.status, state.fire_limits
    return (
        status is not None
        and limits.continuity_lo_mohm <= status.continuity_mohm <= limits.continuity_hi_mohm
    )


def _ohms(state: State) -> str:
    ohm = state.board.continuity_ohm
    return "open" if ohm is None else f"{ohm:.2f} Ω, {load_word(state)}"


def _channels(state: State, now_ns: int) -> tuple[ChannelWord, ...]:
    return tuple(
        ChannelWord(
            name=name,
            is_pressure=live.plan.is_pressure,
            word=live.health.word_at(now_ns).value,
            text="",
        )
        for name, live in state.live.channels.items()
    )


def _unsigned(state: State) -> tuple[str, ...]:
    signatures = state.signatures
    if signatures.is_complete_before("arm"):
        return ()
    line = signatures.next_line(state.phase)
    name = "the checklist" if line is None else f"line {line.id}"
    return (f"Not every line above the arming is signed; {name} is open.",)
