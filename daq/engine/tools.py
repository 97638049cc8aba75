"""The tool's part of each checklist line: is it so, and if not, what is and what to do.

`Checks` answers by name, lazily; a name with no answer here fails a test. Everything is read from
what was measured or confirmed, never from what was commanded.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from daq.channels.health import Health
from daq.engine.board_view import OPEN_LINE
from daq.engine.state import State
from daq.procedure.phases import Phase
from daq.procedure.release import Evidence
from daq.procedure.waits import Word
from firmware_protocol.messages import BoardState, Reason, ResetCause

Answer = tuple[bool, str]
FRESH_S: Final = 0.5
FIRST_STATUSES: Final = 10
ZERO_S: Final = 60.0
WARM_S: Final = 60.0
CLEAN_RESETS: Final = frozenset({ResetCause.POWER, ResetCause.EXTERNAL, ResetCause.SOFTWARE})


def load_word(state: State) -> str:
    """What is on the line by its continuity: "igniter", "dummy", "open" or "unknown"."""
    status = state.board.status
    if status is None or state.link_lost or status.state is not BoardState.DISARMED:
        return "unknown"
    if status.number < FIRST_STATUSES:  # FFFF is "not measured" too until a pulse has run
        return "unknown"
    mohm, limits = status.continuity_mohm, state.plan.fire_limits
    if mohm == OPEN_LINE:
        return "open"
    if limits.igniter_lo_mohm <= mohm <= limits.igniter_hi_mohm:
        return "igniter"
    if limits.dummy_lo_mohm <= mohm <= limits.dummy_hi_mohm:
        return "dummy"
    return "unknown"


def evidence(state: State, now_ns: int) -> Evidence:
    """What the approach latch may rest on at this moment."""
    board, status, identity = state.board, state.board.status, state.board.identity
    if status is None or identity is None:
        return Evidence(unplugged_by=tuple(state.unplugged_by))
    ambient_s = state.marks.age_s("ambient_since", now_ns)
    return Evidence(
        data_age_s=board.age_s(now_ns),
        board_uid=identity.uid.hex(),
        boot_nonce=identity.boot_nonce,
        tick=status.tick,
        tick_hz=identity.tick_hz,
        circuit_dead=board.line_is_dead and board.is_fresh(now_ns, FRESH_S),
        key_in=status.key_in if board.is_fresh(now_ns, FRESH_S) else None,
        stop_in=status.stop_in,
        fired_latch=status.fired_latched,
        load=load_word(state),
        pressure_healthy=pressure_healthy(state, now_ns),
        rose_and_fell=rose_and_fell(state),
        ambient_s=0.0 if ambient_s == float("inf") else ambient_s,
        unplugged_by=tuple(state.unplugged_by),
    )


def pressure_healthy(state: State, now_ns: int) -> bool:
    """Every pressure channel converts, is off the rails and was not called BLIND in this burn."""
    if state.witness.word.value == "BLIND":
        return False
    return all(
        live.health.word_at(now_ns) in (Health.OK, Health.NOT_PROVEN)
        for live in state.live.channels.values()
        if live.plan.is_pressure
    )


def rose_and_fell(state: State) -> bool:
    """Each pressure channel passed a fifth of its expected peak in this burn and is at ambient."""
    return state.marks.ambient_since_ns is not None and all(
        live.peak_value >= 0.2 * state.plan.redline.expected_peak_pa
        for live in state.live.channels.values()
        if live.plan.is_pressure
    )


class Checks(Mapping[str, Answer]):
    """Tool checks by name, worked out when asked."""

    def __init__(self, state: State, now_ns: int) -> None:
        self._state, self._now_ns = state, now_ns

    def __getitem__(self, name: str) -> Answer:
        return ANSWERS[name](self._state, self._now_ns)

    def __iter__(self) -> Iterator[str]:
        return iter(ANSWERS)

    def __len__(self) -> int:
        return len(ANSWERS)


def _status_word(get: Callable[[State], bool], why: str) -> Callable[[State, int], Answer]:
    """A check on the newest STATUS; without a fresh one it does not hold."""

    def answer(state: State, now_ns: int) -> Answer:
        if not state.board.is_fresh(now_ns, FRESH_S):
            return False, "The board is not heard: look at its cable and power."
        return get(state), why

    return answer


def _key_in(state: State) -> bool:
    s = state.board.status
    return s is not None and s.key_in


def _key_in_seen(state: State) -> bool:
    s = state.board.status
    return s is not None and s.key_in and s.key_seen_out


def _stop_in(state: State) -> bool:
    s = state.board.status
    return s is not None and s.stop_in


def _switches_open(state: State) -> bool:
    s = state.board.status
    return s is not None and not s.high_closed and not s.low_closed


def _identified(state: State, now_ns: int) -> Answer:
    if not state.board.in_session:
        return False, "No board has answered: check its cable and power."
    fits = state.board.fit.line() is not None
    return fits and state.board.is_fresh(
        now_ns, FRESH_S
    ), "The board's clock does not fit yet: wait."


def _reset_explained(state: State, now_ns: int) -> Answer:
    del now_ns
    identity = state.board.identity
    if identity is None:
        return False, "No board has answered: check its cable and power."
    return identity.reset_cause in CLEAN_RESETS, (
        f"The board's last reset was {identity.reset_cause.name}: find the cause, then power it anew."
    )


def _selftest(state: State, now_ns: int) -> Answer:
    young = state.selftest.age_s(now_ns) < state.plan.timers.selftest_s
    return young, f"No young self-test ({state.selftest.text}): let the board test itself."


def supply_answer(state: State) -> Answer:
    """Whether the firing supply stayed in its window under load, and what it read."""
    result, limits = state.selftest.result, state.plan.fire_limits
    if result is None:
        return False, "not measured under load"
    inside = limits.supply_lo_mv <= result.supply_loaded_mv <= limits.supply_hi_mv
    return (
        inside and result.result == Reason.OK,
        f"{result.supply_loaded_mv / 1000:.1f} V under load",
    )


def _supply(state: State, now_ns: int) -> Answer:
    del now_ns
    holds, reads = supply_answer(state)
    limits = state.plan.fire_limits
    return holds, (
        f"The supply reads {reads}, expected {limits.supply_lo_mv / 1000:.1f} to "
        f"{limits.supply_hi_mv / 1000:.1f} V: let the board test itself, charge or change it."
    )


def _interlocks(state: State, now_ns: int) -> Answer:
    del now_ns
    missing = [name for name in ("key", "stop button", "fire control") if name not in state.moved]
    return not missing, f"Not seen to move today: {', '.join(missing)}. Move each of them once."


def _recorder(state: State, now_ns: int) -> Answer:
    del now_ns
    view = state.recorder
    good = view.word == "running" and view.synced_ms_ago < 1500 and view.queue_s < 0.5
    if good and view.mirror not in ("none", "running"):
        return False, f"The second record is {view.mirror}: look at its medium."
    return good, (
        f"The recorder says {view.word}, last safe to disk {view.synced_ms_ago:.0f} ms ago: "
        "find the disk's fault."
    )


def _disk(state: State, now_ns: int) -> Answer:
    del now_ns
    have, need = state.recorder.disk_min, state.plan.needed_disk_min
    if have is None:
        return False, "The free space of the disk cannot be told: look at the site folder."
    return (
        have >= need,
        f"The disk has room for {have:.0f} min, expected {need:.0f} min: make room.",
    )


def _calibration(state: State, now_ns: int) -> Answer:
    del now_ns
    old = state.plan.out_of_date
    return not old, f"Calibration out of date: {', '.join(old)}. Calibrate before going on."


def _zero(state: State, now_ns: int) -> Answer:
    if not state.zero.is_done(now_ns):
        return (
            False,
            f"Zero and noise are measured for {ZERO_S:.0f} s: {state.zero.left_s(now_ns):.0f} s to go.",
        )
    return not state.zero.faults, " ".join(state.zero.faults)


def _check_load(state: State, now_ns: int) -> Answer:
    del now_ns
    seen = state.marks.check_load_n
    if seen is None:
        return False, "No check load was seen: put it on, wait for a steady reading."
    plan = state.plan
    off = abs(seen - plan.check_load_n)
    return off <= plan.check_load_most_n, (
        f"The check load of {plan.check_load_n:.1f} N reads {seen:.1f} N, off by more than "
        f"{plan.check_load_most_n:.1f} N: find out why, do not adjust."
    )


def _puff(state: State, now_ns: int) -> Answer:
    waiting = [
        live.plan.name
        for live in state.live.channels.values()
        if live.plan.is_pressure and not live.health.proven
    ]
    del now_ns
    return not waiting, f"No rise and return seen on {', '.join(waiting)}: puff at the motor end."


def _rating(state: State, now_ns: int) -> Answer:
    del now_ns
    refusals = state.plan.redline.refusals
    return not refusals, " ".join(f"{text}." for text in refusals)


def _limits(state: State, now_ns: int) -> Answer:
    del now_ns
    wanted = state.limits.wanted == state.fire_limits
    equal = wanted and state.limits.is_equal(state.board.status)
    return equal, "The board's limits are not the computed ones: load them and read them back."


def _dry(state: State, now_ns: int) -> Answer:
    del now_ns
    return (
        state.plan.dry_done,
        "No dry count with this set-up is on record: run `berm run --dry` first.",
    )


def _storm(state: State, now_ns: int) -> Answer:
    age_s = state.marks.age_s("storm", now_ns)
    wait_s = state.plan.storm_wait_s
    return (
        age_s > wait_s,
        f"Thunder {age_s / 60:.0f} min ago, the range waits {wait_s / 60:.0f} min.",
    )


def _tare(state: State, now_ns: int) -> Answer:
    age_s = state.marks.age_s("tare", now_ns)
    return age_s < state.plan.tare_s, "No young zero with the motor mounted: take it."


def pressure_ambient_text(state: State) -> str:
    """What is not at ambient within U, "" if every pressure channel is."""
    texts = []
    for live in state.live.channels.values():
        if not live.plan.is_pressure:
            continue
        value = live.steady_value
        if value is None:
            texts.append(f"{live.plan.name} is not read")
        elif abs(value - live.plan.zero_si) > live.plan.zero_u:
            texts.append(
                f"{live.plan.name} reads {value / 1e3:.0f} kPa, expected "
                f"{live.plan.zero_si / 1e3:.0f} ± {live.plan.zero_u / 1e3:.0f} kPa"
            )
    return "; ".join(texts)


def _ambient(state: State, now_ns: int) -> Answer:
    del now_ns
    text = pressure_ambient_text(state)
    return not text, f"{text}: stay back as if it were pressurised."


def thrust_zero_text(state: State, now_ns: int) -> str:
    """How thrust is off its zero, "" if it is within 2 % of the expected thrust."""
    limit = 0.02 * state.plan.redline.expected_thrust_n
    live, _ = state.live.highest("thrust", now_ns)
    value = None if live is None else live.steady_value
    if value is None:
        return "not read"
    return "" if abs(value) <= limit else f"{value:.0f} N, expected 0 ± {limit:.0f} N"


def _thrust_zero(state: State, now_ns: int) -> Answer:
    text = thrust_zero_text(state, now_ns)
    return not text, f"Thrust is {text}: take the zero anew."


def range_clear_s(state: State, now_ns: int) -> float:
    """How old the report of a clear range may be now."""
    timers = state.plan.timers
    last = state.count.kind == "count" and state.count.left_s(now_ns) <= timers.count_s
    return timers.range_clear_last_s if last else timers.range_clear_s


def _range(state: State, now_ns: int) -> Answer:
    age_s, most_s = state.marks.age_s("range_clear", now_ns), range_clear_s(state, now_ns)
    if state.marks.foul:
        return False, "The range is FOUL: RSO reports it clear before going on."
    if age_s == float("inf"):
        return False, "No report of a clear range: every post reports."
    return age_s <= most_s, f"Range clear is {age_s:.0f} s old, at most {most_s:.0f} s: renew it."


def _long_warned(state: State, now_ns: int) -> Answer:
    age_s = state.marks.age_s("long_warning", now_ns)
    return age_s < 600.0, "The long warning did not sound in this count: sound it."


def _warned(state: State, now_ns: int) -> Answer:
    age_s, most_s = state.marks.age_s("warning", now_ns), state.plan.timers.warning_s
    if age_s == float("inf"):
        return False, "No warning was sounded: sound it."
    return (
        age_s <= most_s,
        f"The warning is {age_s:.0f} s old, at most {most_s:.0f} s: sound it again.",
    )


def _go_table(state: State, now_ns: int) -> Answer:
    del now_ns
    broken = [each.text for each in state.conditions if not each.holds]
    return not broken, " ".join(broken)


def _outcome(state: State, now_ns: int) -> Answer:
    del now_ns
    known = state.attempt.was_lit or state.phase in (Phase.MISFIRE, Phase.ABORT, Phase.WAIT)
    return known, "Neither lit nor misfire yet: wait."


def _burn_over(state: State, now_ns: int) -> Answer:
    del now_ns
    return not state.attempt.burning, "The motor burns: stay behind cover."


def _wait(state: State, now_ns: int) -> Answer:
    left_s = state.latch.left_s(evidence(state, now_ns), now_ns)
    return left_s <= 0.0, f"The wait has {left_s / 60:.0f} min left: stay behind cover."


def _latch(word: Word) -> Callable[[State, int], Answer]:
    def answer(state: State, now_ns: int) -> Answer:
        del now_ns
        return (
            state.latch.word is word,
            f"APPROACH is {state.latch.word.value} ({state.latch.reason}).",
        )

    return answer


def _yes(get: Callable[[State], bool], why: str) -> Callable[[State, int], Answer]:
    return lambda state, _now_ns: (get(state), why)


def _post_zero(state: State, now_ns: int) -> Answer:
    """No load is hung beside an unburnt motor; its line is then signed without one."""
    del now_ns
    done = state.marks.post_zero or not state.attempt.was_lit
    return done, "Zero and check load after the test are not read yet."


ANSWERS: Final[dict[str, Callable[[State, int], Answer]]] = {
    "roles_filled": _yes(lambda s: bool(s.holder("TC") and s.holder("RSO") and s.holder("TC") != s.holder("RSO")), "Roles are not filled, or RSO and TC are one person."),
    "rules_filled": _yes(lambda _s: True, ""),
    "distance_kept": _yes(lambda s: not s.plan.distance_faults, "A measured distance is under the required one."),
    "latch_open": _latch(Word.OPEN),
    "latch_closed": _latch(Word.CLOSED),
    "key_out": _status_word(lambda s: not _key_in(s), "The key is sensed in: take it out."),
    "key_in_seen": _status_word(_key_in_seen, "The key is not sensed in after it was out: put it in now."),
    "stop_in": _status_word(_stop_in, "The stop button is out: press it in."),
    "stop_out": _status_word(lambda s: not _stop_in(s), "The stop button is pressed: pull it out."),
    "line_dead": _status_word(lambda s: s.board.line_is_dead, "The line is not measured dead: find the volts or the closed switch."),
    "switches_open": _status_word(_switches_open, "A fire switch reads closed: stop, the box is not to be used."),
    "line_open": _status_word(lambda s: load_word(s) == "open", "The line does not read open: take the load off."),
    "dummy_fitted": _status_word(lambda s: load_word(s) == "dummy", "The load is not inside the dummy's window: fit the dummy load."),
    "continuity_in_window": _status_word(lambda s: load_word(s) == "igniter", "Continuity is not inside the igniter's window: open, short or wrong load."),
    "board_identified": _identified,
    "reset_explained": _reset_explained,
    "selftest_young": _selftest,
    "supply_ok": _supply,
    "interlocks_moved": _interlocks,
    "disk_space": _disk,
    "host_power_ok": _yes(lambda s: s.around.power_ok, "The battery is under 25 % without mains: plug it in."),
    "recorder_durable": _recorder,
    "calibration_in_date": _calibration,
    "zero_and_noise": _zero,
    "check_load_read": _check_load,
    "puff_seen": _puff,
    "rating_clears": _rating,
    "limits_equal": _limits,
    "hashes_equal": _yes(lambda s: s.copied is True, "The two copies are not read back equal yet: copy the run."),
    "dry_count_done": _dry,
    "no_storm": _storm,
    "tare_young": _tare,
    "pressure_ambient": _ambient,
    "thrust_zero": _thrust_zero,
    "range_clear_fresh": _range,
    "long_warning": _long_warned,
    "short_warning": _warned,
    "go_table": _go_table,
    "outcome_known": _outcome,
    "burn_over": _burn_over,
    "wait_over": _wait,
    "post_zero_taken": _post_zero,
    "form_complete": _yes(lambda _s: True, ""),
}  # fmt: skip
