"""The cells around the charts: band, alarm line, phase, clock, circuit, approach.

Each function turns one moment into one cell. State words come from the newest status only; what a
stale or blind console cannot know reads "was ..." or "?", never as if it were so now.
"""

from typing import Final, Literal

from daq.console.moment import QUIET, WAITS, Moment
from daq.console.readings import Status
from daq.console.view import (
    AlarmLine,
    ApproachCell,
    Band,
    CircuitCell,
    ClockCell,
    Pairs,
    PhaseCell,
)
from daq.console.wording import NONE, current, min_s, real_minus, setup, tenths, whole_s

MODE_NOTE: Final = {
    "REHEARSAL": "simulated stand, nothing is connected",
    "DRY": "real board, dummy load, no motor",
    "RECORD ONLY": "no fire circuit on this stand",
    "PROOF": "water test, no igniter",
}
PATTERN: Final[dict[str, Literal["hatch", "dots"]]] = {"REHEARSAL": "hatch", "DRY": "dots"}
SENSED: Final = {
    "REHEARSAL": "simulated",
    "DRY": "dummy load",
    "RECORD ONLY": "by two names",
}
LAST_ROW: Final = {"COUNTDOWN": "Else", "HOLD": "Else", "FIRE": "Else", "BURNING": "Note"}

ROW_LETTERS: Final = 29
"""A row of the phase cell holds this many letters at full size."""
SHORT: Final = {
    "SAFE": ("Disarmed, checklist leads", "ARM, after the checklist", "Count, fire: not armed"),
    "ARM": ("Type the echoed number", "ARMED, then the count", "Count: circuit not armed"),
    "COUNTDOWN": ("Space ABORT, P HOLD", "T−3 s: F and J, keep down", "Earlier, or let go: HOLD"),
    "HOLD": ("Count stands, hands off", "COUNTDOWN, two sign", "SAFE, when arming ends"),
    "FIRE": ("F and J held, line on", "BURNING, when it lights", "MISFIRE, if it does not"),
    "BURNING": (
        "Recording, under cover",
        "WAIT, when burn is over 1 s",
        "Nothing here stops a burn",
    ),
    "WAIT": (
        "Key out, stop in, stay back",
        "INSPECT, after release",
        "Release: the wait, two names",
    ),
    "MISFIRE": (
        "Stay: it may still light",
        "INSPECT, after release",
        "Release: the wait, two names",
    ),
    "ABORT": ("Line off, may still burn", "Key out, then the wait", "Release: the wait, two names"),
    "INSPECT": ("Released: two go forward", "SAFE, when all have signed", "ARM: run still open"),
}
"""The same in few words, for a sentence of the engine that is longer than the row."""


def band(now: Moment) -> Band:
    s = now.status
    named = [("Run", "run_id"), ("Casing", "casing"), ("Nozzle", "nozzle")]
    if not MODE_NOTE.get(now.mode):
        named.insert(0, ("Board", "board_id"))
    stamp = s.text("utc").rstrip("Z")
    day, _, clock = stamp.partition("T")
    return Band(
        mode=now.mode,
        pattern=PATTERN.get(now.mode, "solid"),
        note=MODE_NOTE.get(now.mode, "") if now.seen else "no status from an engine yet",
        fields=tuple((label, s.text(key)) for label, key in named if s.text(key)),
        setup=setup(s.text("setup_id")) if now.seen else NONE,
        utc=f"{spoken_day(day)} {clock} UTC".strip() if clock else "UTC not known",
    )


MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def spoken_day(day: str) -> str:
    """`2026-09-14` -> `14 Sep 2026`; anything else comes back as it is."""
    parts = day.split("-")
    if len(parts) != 3 or not all(part.isdigit() for part in parts):
        return day
    return f"{int(parts[2])} {MONTHS[(int(parts[1]) - 1) % 12]} {parts[0]}"


def alarm(now: Moment) -> AlarmLine:
    if now.stale:
        what = f"No status from the engine, {now.age_text}." if now.seen else "No engine answers."
        return AlarmLine(
            rank="URGENT",
            what=what,
            do="Key out. Treat the line as armed.",
            note="1 alarm, sound stops after 3 s",
            flash=True,
            framed=False,
        )
    ranked = ranked_alarms(now.status)
    if not ranked:
        return AlarmLine(rank="", what="No alarms", do="", note="", flash=False, framed=False)
    first, *rest = ranked
    is_open = not first.text("answered_by")
    return AlarmLine(
        rank=first.text("rank"),
        what=first.text("what"),
        do=first.text("do"),
        note=alarm_note(first, rest, now.phase in QUIET),
        flash=is_open and first.text("rank") == "URGENT",
        framed=now.local.on_alarm and is_open,
    )


def ranked_alarms(s: Status) -> list[Status]:
    """Highest rank first, then as the engine ordered them, oldest first."""
    return sorted(s.rows("alarms"), key=lambda row: row.text("rank") != "URGENT")


def alarm_note(first: Status, rest: list[Status], is_quiet: bool) -> str:
    who = first.text("answered_by")
    parts = [f"answered {who}" if who else first.text("since")]
    if not who:
        parts.append("answer after burn-out" if is_quiet else "Enter answers it")
    if rest:
        parts.append(f"{len(rest)} more: {first_word(rest[0])}")
    return ", ".join(part for part in parts if part)


def first_word(row: Status) -> str:
    return (row.text("what").split() or ["?"])[0].strip(".,:").lower()


def phase(now: Moment) -> PhaseCell:
    s = now.status
    if now.stale:
        return PhaseCell(word="STALE", fill="stale", rows=stale_rows(now))
    labels = ("Now", "Next", LAST_ROW.get(now.phase, "Not yet"))
    told = (s.text("now"), s.text("next"), s.text("not_yet"))
    short = SHORT.get(now.phase, told)
    rows = tuple(
        (label, text.removesuffix(".") if len(text) <= ROW_LETTERS else brief)
        for label, text, brief in zip(labels, told, short, strict=True)
    )
    full = tuple(zip(labels, told, strict=True))
    return PhaseCell(word=s.text("phase"), fill=phase_fill(now), rows=rows, full=full)


def phase_fill(now: Moment) -> str:
    if now.phase in {"HOLD", "MISFIRE"}:
        return "yellow"
    if now.phase != "ABORT":
        return ""
    urgent = [row for row in now.status.rows("alarms") if row.text("rank") == "URGENT"]
    is_open = any(not row.text("answered_by") for row in urgent)
    return "red" if is_open else "red edge"


def stale_rows(now: Moment) -> Pairs:
    if not now.seen:
        return (
            ("Last", "nothing seen yet"),
            ("Expect", "the engine's first status"),
            ("Do", "Key out. Treat as ARMED"),
        )
    shown = clock_text(now.status)
    expect = {"COUNTDOWN": "HOLD, then SAFE. Not seen", "FIRE": "line off. Not seen"}
    return (
        ("Last", f"{now.phase}, {shown}" if shown else now.phase),
        ("Expect", expect.get(now.phase, "not known")),
        ("Do", "Key out. Treat as ARMED"),
    )


def clock_text(s: Status) -> str:
    """`T−07`, `T+2.5`, `28:22`."""
    seconds = s.number("clock", "seconds")
    return "" if seconds is None else real_minus(s.text("clock", "sign")) + digits_of(s, seconds)


def digits_of(s: Status, seconds: float) -> str:
    is_up = s.text("clock", "sign") != "T+"
    match s.text("clock", "form"):
        case "tenths":
            return tenths(seconds)
        case "min:s":
            return min_s(seconds, up=is_up)
        case _:
            return whole_s(seconds, up=is_up)


def clock(now: Moment) -> ClockCell:
    s = now.status
    seconds = s.number("clock", "seconds")
    form, sign = s.text("clock", "form"), s.text("clock", "sign")
    digits = NONE if seconds is None else digits_of(s, seconds)
    caption = sentence(s.text("clock", "caption"))
    is_crowded = form == "min:s" and len(digits) > 4 and not sign
    if is_crowded:
        caption += ", min:s"
    if now.stale:
        caption = f"{caption}, last known" if now.seen else "No clock yet"
    return ClockCell(
        caption=caption,
        note=f"{now.age_text} old" if now.dim and now.seen else s.text("clock", "note"),
        sign=real_minus(sign),
        digits=digits,
        unit="" if form == "min:s" or seconds is None else "s",
        corner="min:s" if form == "min:s" and not is_crowded else "",
        hollow=now.stale or not s.flag("clock", "running"),
        dim=now.dim,
    )


def circuit(now: Moment) -> CircuitCell:
    s = now.status
    word = s.text("circuit", "word") or "UNKNOWN"
    senses = ("key_in", "high_closed", "low_closed")
    names = ("key", "high", "low")
    if now.stale:
        return CircuitCell(
            word="UNKNOWN",
            fill="stale",
            note=f"{now.age_text} old" if now.seen else "never seen",
            contacts=tuple((name, None) for name in names),
            foot=f"last seen {word}" if now.seen else "treat as ARMED",
        )
    is_unknown = word == "UNKNOWN"
    volts, amps = s.number("circuit", "line_v"), s.number("circuit", "line_ma")
    measured = [f"{volts:.1f} V" if volts is not None else "", current(amps) if amps else "0 mA"]
    return CircuitCell(
        word=word,
        fill={"ARMED": "yellow", "ENERGISED": "red", "UNKNOWN": "stale"}.get(word, ""),
        note="link lost" if now.blind else SENSED.get(now.mode, "as measured"),
        contacts=tuple(
            (name, None if is_unknown or now.blind else s.flag("circuit", sense))
            for name, sense in zip(names, senses, strict=True)
        ),
        foot="treat as ARMED" if is_unknown else "   ".join(filter(None, measured)),
    )


def approach(now: Moment) -> ApproachCell:
    s = now.status
    is_open = s.text("approach", "word") == "OPEN"
    if (now.stale and is_open) or not now.seen:
        last = "Last seen OPEN" if now.seen else "No status yet"
        lines: tuple[str, ...] = ("Treat as CLOSED", last, "Nobody goes forward")
        return ApproachCell(word="UNKNOWN", look="unknown", note=now.age_text, lines=lines)
    lines = approach_lines(now, is_open=is_open)
    if is_open and now.in_rehearsal:
        asked = ("Released, in rehearsal", "The real stand: ask the", "range officer")
        return ApproachCell(word="OPEN", look="rehearsal", note="rehearsal only", lines=asked)
    return ApproachCell(
        word="OPEN" if is_open else "CLOSED",
        look="open" if is_open else "closed",
        note=approach_note(s, is_open),
        lines=lines,
    )


def approach_lines(now: Moment, *, is_open: bool) -> tuple[str, ...]:
    """Reason, the engine's own lines; after an attempt also what the plate must not be read as."""
    s = now.status
    told = [sentence(s.text("approach", "reason"))]
    of_wait = ("runs", "starts", "stands")
    told += [
        f"Wait {line}" if line.startswith(of_wait) else line
        for line in s.words("approach", "lines")
    ]
    names = s.words("approach", "names")
    if is_open and names and not any(name in line for name in names for line in told):
        told.append(f"by {' and '.join(names)}")
    if not is_open and now.phase in WAITS and len(told) < 3:
        told.append("Dead circuit is not enough")
    return tuple(line for line in told if line)[:3]


def sentence(text: str) -> str:
    """The same words with a capital at the start."""
    return text[:1].upper() + text[1:]


def approach_note(s: Status, is_open: bool) -> str:
    left = s.number("approach", "left_s")
    if left is not None and not is_open:
        if s.text("clock", "kind") == "wait" and s.flag("clock", "running") is False:
            return "wait not started"
        return f"{min_s(left, up=True)} left"
    since = s.text("approach", "since")
    return f"{'released' if is_open else 'since'} {since}" if since else ""
