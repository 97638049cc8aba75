"""Go or no go: what is measured at this moment -> every condition, and what follows if it breaks.

One table for the edge into ARM, the count and the firing pulse. Nothing here remembers anything
and nothing acts: the engine asks once a step and does what the worst broken condition says. After
T-0 only what cuts the line may act; a recorder or a sensor that fails then is a banner, never an
end of the recording. Nobody waives a condition but for the thrust channel, and that by name.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from daq.procedure.reading import ChannelWord, Reading

__all__ = (
    "ChannelWord",
    "Condition",
    "Moment",
    "Reaction",
    "Reading",
    "arming_refusal",
    "broken",
    "judge",
    "worst",
)

GRIP_FROM_S: Final = 3.0
GRIP_LATE_S: Final = 1.5
SCREEN_OLD_S: Final = 0.250
SYNC_OLD_S: Final = 1.0
QUEUE_LONG_S: Final = 0.5
BATTERY_LOW_PERCENT: Final = 25.0


class Moment(StrEnum):
    ARM = "ARM"
    """The edge into ARM: everything has to hold, once."""
    COUNT = "COUNT"
    """COUNTDOWN and HOLD, each step."""
    PULSE = "PULSE"
    """FIRE, until the motor is seen lit or the misfire is announced."""


class Reaction(StrEnum):
    """What a broken condition leads to, the gravest first."""

    ABORT = "abort"
    DROP = "drop"
    """The line is dropped now (SAFE goes to the board)."""
    SAFE = "safe"
    HOLD = "hold"
    REFUSE = "refuse"
    BANNER = "banner"
    NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One condition: whether it holds, the sentence for it, what follows if it does not."""

    name: str
    holds: bool
    text: str
    reaction: Reaction


def judge(moment: Moment, reading: Reading) -> list[Condition]:
    """Every condition of this moment, in the order of the table."""
    rows = [*_line(reading), *_people(reading, moment), *_instruments(reading), *_record(reading)]
    return [
        Condition(
            name=name,
            holds=holds,
            text=good if holds else f"{bad}.",
            reaction=_REACTIONS[name][moment],
        )
        for name, holds, good, bad in rows
        if moment in _REACTIONS[name]
    ]


def broken(conditions: list[Condition]) -> list[Condition]:
    """Those that do not hold and lead to something, the gravest reaction first."""
    order = list(Reaction)
    bad = [each for each in conditions if not each.holds and each.reaction is not Reaction.NONE]
    return sorted(bad, key=lambda each: order.index(each.reaction))


def worst(conditions: list[Condition]) -> Condition | None:
    """The broken condition whose reaction has to be taken, None if all hold."""
    return next(iter(broken(conditions)), None)


def arming_refusal(conditions: list[Condition]) -> str:
    """One text that names every missing condition; "" if the board may be asked to arm."""
    missing = [each.text for each in conditions if not each.holds]
    return "" if not missing else "Not armed. " + " ".join(missing)


Row = tuple[str, bool, str, str]


def _line(r: Reading) -> Iterator[Row]:
    """Key, stop, link, limits, line: what has to be true for the circuit to be what it seems."""
    yield "key", r.key_in, "Key in", "The key is out: put it in at E5, not before"
    yield (
        "key_seen_out",
        r.key_seen_out,
        "Key seen out before",
        "The key was never seen out in this session: take it out, wait for DEAD, put it in again",
    )
    yield "stop", not r.stop_in, "Stop button out", "The stop button is in: pull it out when clear"
    yield "link", r.link_up, "Link up both ways", "The board is not heard: look at the cable"
    yield "board", r.board_agrees, "Board and engine agree", f"Board: {r.board_text}"
    yield (
        "limits",
        r.limits_equal,
        "Limits read back equal",
        "The limits on the board differ from the computed ones: load them again (C2)",
    )
    yield (
        "setup",
        r.setup_equal,
        "Set-up equal everywhere",
        "The set-up changed: the signatures are void, begin again from the first open line",
    )
    yield (
        "continuity",
        r.continuity_ok,
        f"Continuity {r.continuity_text}",
        f"Continuity is outside its window ({r.continuity_text}): recycle, nobody goes forward",
    )
    yield (
        "switches",
        r.switches_open,
        "Both switches read open",
        "A fire switch reads closed: key out, stay away from the line, replace the box",
    )
    yield (
        "line_dead",
        r.line_dead,
        "Line measured dead",
        "The line is not dead: key out, stay behind cover, find the volts",
    )
    yield (
        "supply",
        r.supply_ok,
        f"Supply {r.supply_text}",
        f"The firing supply is outside its window ({r.supply_text}): recycle and change it",
    )
    yield (
        "selftest",
        r.selftest_age_s <= 600.0,
        "Self-test young",
        "The board's self-test is older than 10 min: key out, run it again (B1)",
    )
    yield (
        "trip",
        not r.trip_over,
        "Below trip",
        f"Pressure over trip{_told(r.trip_text)}: stay behind cover",
    )


def _people(r: Reading, moment: Moment) -> Iterator[Row]:
    """Screen, fire control, range, warning, storm: what people have to have done."""
    yield (
        "screen",
        r.screen_age_s <= SCREEN_OLD_S,
        "Screen current",
        "The screen is older than 250 ms: bring the window to the front",
    )
    yield "grip", _grip_holds(r, moment), "Fire control as it should be", _grip_text(r, moment)
    yield (
        "latch",
        r.latch_closed,
        "Approach CLOSED",
        "The approach latch is OPEN: sign people clear (D9) first",
    )
    yield (
        "range_clear",
        r.range_clear_age_s <= r.range_clear_old_s,
        "Range clear",
        f"Range clear is older than {r.range_clear_old_s:.0f} s: have every post report again",
    )
    yield (
        "posts",
        r.posts_age_s <= r.posts_old_s,
        "Posts answered",
        f"The poll is older than {r.posts_old_s:.0f} s: poll by name again",
    )
    yield (
        "warning",
        r.warning_age_s + max(0.0, r.left_s) <= r.warning_old_s,
        "Warning sounded",
        f"The short warning would be older than {r.warning_old_s:.0f} s at T-0: sound it again",
    )
    yield "storm", not r.storm_text, "No storm", f"Weather: {r.storm_text}"
    yield (
        "checklist",
        not r.unsigned,
        "Checklist signed",
        " ".join(text.rstrip(".") + "." for text in r.unsigned).rstrip("."),
    )


def _instruments(r: Reading) -> Iterator[Row]:
    """Rating, calibration, zeros and the word of every channel."""
    yield (
        "rating",
        not r.rating,
        "Rating clears",
        " ".join(text.rstrip(".") + "." for text in r.rating).rstrip("."),
    )
    yield (
        "calibration",
        r.calibration_ok,
        "Calibration in date",
        f"A calibration is out of date or foreign{_told(r.calibration_text)}: calibrate (B5)",
    )
    yield (
        "ledger",
        r.reconciled,
        "Ledger reconciled",
        "The last run is not in the ledger yet: close it",
    )
    yield (
        "pressure_zero",
        r.pressure_ambient,
        "Pressure at ambient",
        f"Pressure is not at ambient ({r.pressure_text}): stay away, treat it as a misfire",
    )
    waived = _told(f"waived by {r.thrust_waived_by}") if r.thrust_waived_by else ""
    yield (
        "thrust_zero",
        r.thrust_zero or bool(waived),
        f"Thrust at zero{waived}",
        f"Thrust is not at zero ({r.thrust_text}): take the zero again",
    )
    bad = [c for c in r.channels if c.is_pressure and not c.is_good]
    has_pressure = any(c.is_pressure for c in r.channels)
    yield (
        "pressure_health",
        has_pressure and not bad,
        "Pressure channels healthy",
        _channel_text(bad) if has_pressure else "No pressure channel is heard",
    )
    weak = [c for c in r.channels if not c.is_pressure and not c.is_good]
    yield (
        "thrust_health",
        not weak or bool(waived),
        f"Thrust channels healthy{waived}",
        f"{_channel_text(weak)}; the conductor may waive thrust in writing",
    )
    yield (
        "ring",
        r.ring_ok,
        "Board memory long enough",
        "The board's ring memory is shorter than the expected burn and 3 s: set it up again",
    )


def _record(r: Reading) -> Iterator[Row]:
    """Recorder, disk, power, video."""
    behind_s = min(r.sync_age_s, 999.0)
    behind = f"The recorder is {r.recorder_word}, {behind_s:.1f} s behind the disk"
    yield (
        "recorder",
        r.sync_age_s < SYNC_OLD_S and r.queue_s < QUEUE_LONG_S and r.recorder_word == "running",
        "Recorder safe to disk",
        f"{behind}: wait, or change the disk",
    )
    yield "disk", r.disk_ok, "Disk space", "Too little disk space for burn and wait: make room"
    battery = r.battery_percent
    strong = r.on_mains or (battery is not None and battery >= BATTERY_LOW_PERCENT)
    shown = "" if battery is None else f" ({battery:.0f} %)"
    yield (
        "power",
        strong and r.sleep_inhibited,
        "Power and no sleep",
        f"The battery is low{shown}: connect mains"
        if not strong
        else "The laptop may fall asleep: switch sleep off",
    )
    yield "video", r.video_ok, "Video running", "The video does not run: start it, or waive it"


def _grip_holds(r: Reading, moment: Moment) -> bool:
    if moment is Moment.PULSE:
        return r.grip
    if r.left_s > GRIP_FROM_S:
        return not r.grip
    return r.grip or r.left_s > GRIP_LATE_S


def _grip_text(r: Reading, moment: Moment) -> str:
    if moment is Moment.PULSE:
        return "The fire control was let go"
    if r.left_s > GRIP_FROM_S:
        return "The fire control is held before T−3 s: let go, both hands up"
    return "The fire control is not held at T−1.5 s"


def _channel_text(bad: list[ChannelWord]) -> str:
    return "; ".join(f"{c.name} {c.word}{_told(c.text)}" for c in bad)


def _told(text: str) -> str:
    return f" ({text})" if text else ""


_A, _H, _S, _D, _B, _R, _N = (
    Reaction.ABORT,
    Reaction.HOLD,
    Reaction.SAFE,
    Reaction.DROP,
    Reaction.BANNER,
    Reaction.REFUSE,
    Reaction.NONE,
)


def _row(
    arm: Reaction | None, count: Reaction | None, pulse: Reaction | None
) -> dict[Moment, Reaction]:
    three = {Moment.ARM: arm, Moment.COUNT: count, Moment.PULSE: pulse}
    return {moment: reaction for moment, reaction in three.items() if reaction is not None}


_REACTIONS: Final[dict[str, dict[Moment, Reaction]]] = {
    # name: at ARM, in COUNTDOWN and HOLD, in the pulse; None: not a condition there
    "key": _row(_R, _S, _D),
    "key_seen_out": _row(_R, None, None),
    "stop": _row(_R, _S, _D),
    "link": _row(_R, _S, _D),
    "board": _row(_R, _S, None),
    "limits": _row(_R, _S, _D),
    "setup": _row(_R, _S, None),
    "continuity": _row(_R, _S, None),
    "switches": _row(_R, _S, None),
    "line_dead": _row(_R, _S, None),
    "supply": _row(_R, _S, None),
    "selftest": _row(_R, None, None),
    "trip": _row(_R, _A, _A),
    "screen": _row(_R, _H, _D),
    "grip": _row(_R, _H, _D),
    "latch": _row(_R, _S, None),
    "range_clear": _row(_R, _H, None),
    "posts": _row(_R, _H, None),
    "warning": _row(_R, _H, None),
    "storm": _row(_R, _H, None),
    "checklist": _row(_R, _S, None),
    "rating": _row(_R, _S, None),
    "calibration": _row(_R, _S, None),
    "ledger": _row(_R, _S, None),
    "pressure_zero": _row(_R, _H, None),
    "thrust_zero": _row(_R, _H, None),
    "pressure_health": _row(_R, _H, _B),
    "thrust_health": _row(_R, _H, _B),
    "ring": _row(_R, None, None),
    "recorder": _row(_R, _H, _B),
    "disk": _row(_R, _H, _B),
    "power": _row(_R, _H, None),
    "video": _row(_R, _H, None),
}
