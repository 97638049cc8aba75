"""The people lane's lower panel: who must do what now, phase by phase.

Nothing but this panel changes its shape between phases. There is at most one blue frame; while an
unanswered alarm has it, the panel's frame stays readable but is not live.
"""

import math
from collections.abc import Callable
from typing import Final

from daq.console.moment import Moment
from daq.console.readings import Status
from daq.console.view import (
    Block,
    Figure,
    Frame,
    Letters,
    Line,
    Pair,
    Rule,
    Say,
    Tally,
    Title,
)
from daq.console.wording import initials, megapascal, newton, setup

Blocks = tuple[Block, ...]
LAST_HOLD_S: Final = 10.0
"""A hold inside the last ten seconds can only be recycled."""
ROWS: Final = 8
"""Conditions listed at most; the ones that do not hold come first."""


def panel(now: Moment) -> Blocks:
    """The panel of this moment; a stale screen has its own."""
    if now.stale:
        return stale_panel(now)
    return PANELS.get(now.phase, checklist_panel)(now)


def stale_panel(now: Moment) -> Blocks:
    is_open = now.status.text("approach", "word") != "CLOSED"
    return (
        Title(left="Do now", right="by voice and hand"),
        Frame(head="Key out, in the hand of the range officer", lines=("No key press needed.",)),
        Say(text="Say: circuit unknown, nobody moves.", bold=True),
        Say(
            text="Wait for the screen, or restart the engine." if now.seen else "Start the engine."
        ),
        Say(text="Treat the approach as CLOSED." if is_open else "Approach stays CLOSED."),
    )


def checklist_panel(now: Moment) -> Blocks:
    s = now.status
    if not s.has("checklist"):
        return (Title(left="Checklist", right=""), Say(text="The engine names no checklist."))
    sections = s.rows("checklist", "sections")
    here = next((row for row in sections if row.text("state") == "current"), None)
    title = s.text("checklist", "title") or "Checklist"
    if here is not None:
        title = f"{here.text('letter')} {here.text('title')}"
    blocks: list[Block] = [Title(left=title, right="")]
    if sections:
        marks = tuple((row.text("letter"), row.text("state")) for row in sections)
        blocks.append(Letters(marks=marks))
    return (*blocks, tally(s), *checklist_lines(now))


def tally(s: Status) -> Tally:
    signed, total = s.number("checklist", "signed") or 0, s.number("checklist", "total") or 0
    return Tally(left=f"{signed:.0f} of {total:.0f} signed", right=f"{total - signed:.0f} open")


def checklist_lines(now: Moment) -> Blocks:
    """Signed lines folded to the last two, the frame in its place, the open lines after it."""
    lines = now.status.rows("checklist", "lines")
    signed = [row for row in lines if row.text("state") == "signed"]
    blocks: list[Block] = []
    if len(signed) > 2:
        first, last = signed[0].text("id"), signed[-3].text("id")
        span = first if len(signed) == 3 else f"{first} to {last}"
        blocks.append(Line(text=f"{span}, signed", right="", done=True))
    blocks += [line_of(row, done=True) for row in signed[-2:]]
    framed = framed_line(now)
    still_open = [row for row in lines if row.text("state") != "signed"]
    if framed is None:
        return (*blocks, *(line_of(row, done=False) for row in still_open))
    chosen = framed.text("id")
    before = [row for row in still_open if is_before(still_open, row, chosen)]
    after = [row for row in still_open if row not in before and row.text("id") != chosen]
    blocks += [line_of(row, done=False) for row in before]
    return (*blocks, frame(now, framed), *(line_of(row, done=False) for row in after))


def is_before(rows: list[Status], row: Status, chosen: str) -> bool:
    ids = [each.text("id") for each in rows]
    return chosen in ids and ids.index(row.text("id")) < ids.index(chosen)


def line_of(row: Status, *, done: bool) -> Line:
    by = row.words("by")
    who = "+".join(initials(name) for name in by) if done and by else row.text("who")
    return Line(text=f"{row.text('id')} {row.text('text')}", right=who, done=done)


def framed_line(now: Moment) -> Status | None:
    """The engine's frame, unless Up or Down moved it to another open line."""
    s = now.status
    given = Status(s.at("checklist", "frame")) if s.has("checklist", "frame") else None
    chosen = now.local.line
    if chosen is None or (given is not None and given.text("id") == chosen):
        return given
    rows = s.rows("checklist", "lines")
    moved = next((row for row in rows if row.text("id") == chosen), None)
    return moved if moved is not None and moved.text("state") != "signed" else given


def frame(now: Moment, row: Status) -> Frame:
    """The blue frame over one line: what, who, what to say, and what is being typed."""
    label = row.text("id")
    is_line = len(label) <= 4 and any(mark.isdigit() for mark in label)
    head = f"{label} {row.text('text')}" if is_line else row.text("text")
    return Frame(
        head=head,
        lines=tuple(frame_lines(now, row)),
        entry=entry_line(now),
        live=not now.local.on_alarm,
    )


def entry_line(now: Moment) -> str:
    return f"{now.local.prompt}: {now.local.shown}" if now.local.prompt else ""


def frame_lines(now: Moment, row: Status) -> list[str]:
    lines = []
    if say := row.text("say"):
        lines.append(f"Say: {say}")
    if reply := row.text("reply"):
        lines.append(f"Reply: {reply}")
    if by := row.words("by") or row.words("signed_by"):
        lines.append(f"Signed: {' and '.join(by)}")
    needed = row.text("needs_code_of")
    if now.local.notice:
        lines.append(now.local.notice)
    elif needed and not now.local.prompt:
        lines.append(f"{needed}: code, Enter")
    elif not needed and not now.local.prompt and row.text("who"):
        lines.append(f"{row.text('who')}: Enter")
    return lines


def phase_frame(now: Moment) -> Blocks:
    row = framed_line(now)
    return () if row is None else (frame(now, row),)


def arm_panel(now: Moment) -> Blocks:
    """What the board echoed, the set-up number large, and the eight boxes."""
    s = now.status
    title = Title(left="Board's echo", right="read aloud")
    echo: Blocks = tuple(echo_pair(label, text) for label, text in s.pairs("arming", "echo"))
    number = s.text("arming", "setup_id")
    if not number:
        return (title, *echo, Say(text="Asked. Waiting for the board's echo.", bold=True))
    whole: Blocks = (title, *echo, Pair(label="Set-up", value=setup(number), big=True))
    if s.text("arming", "state") == "armed":
        return (*whole, *phase_frame(now))
    return (*whole, typing_frame(now))


def echo_pair(label: str, text: str) -> Pair:
    first, has_two, second = text.partition(" = ")
    return Pair(label=label, value=first, below=second if has_two else "", big=bool(has_two))


def typing_frame(now: Moment) -> Frame:
    s = now.status
    sent, typist = s.text("arming", "typed"), s.text("arming", "typist")
    boxes = (sent + now.local.digits)[:8]
    which = "first four" if len(sent) < 4 else "second four"
    given = Status(s.at("checklist", "frame"))
    lines = [f"Typed: {sent[:4]}"] if len(sent) >= 4 else []
    if now.local.notice:
        lines.append(now.local.notice)
    elif now.local.prompt.startswith("Code"):
        lines.append(entry_line(now))
    elif say := given.text("say"):
        lines.append(f"Say: {say}")
    head = f"{typist}: {which}" if typist and len(sent) < 8 else "Both typed. Enter: arm"
    return Frame(head=head, lines=tuple(lines), boxes=boxes, live=not now.local.on_alarm)


def conditions_title(s: Status, name: str) -> Title:
    rows = s.rows("conditions")
    held = sum(1 for row in rows if row.flag("holds"))
    return Title(left=name, right=f"{held} of {len(rows)} hold" if rows else "")


def condition_lines(s: Status, most: int) -> Blocks:
    rows = sorted(s.rows("conditions"), key=lambda row: row.flag("holds") is not False)
    return tuple(condition_line(row) for row in rows[:most])


def condition_line(row: Status) -> Line:
    """Name and value; where the engine's text is itself the phrase, that alone."""
    name, text, holds = row.text("name"), row.text("text"), row.flag("holds") is not False
    is_key = name[:1].islower()
    shown = name
    if is_key:
        shown = text if holds else name.replace("_", " ").capitalize()
    return Line(
        text=shown,
        right="" if is_key else text,
        done=holds and row.flag("holds") is True,
        fill="" if holds else "yellow",
    )


def count_panel(now: Moment) -> Blocks:
    s = now.status
    if s.text("keys", "fire") in {"hold down", "held"}:
        is_held = now.local.gripped or s.text("keys", "fire") == "held"
        head = "Keep F and J down" if is_held else "Press F and J, keep down"
        lines = ["Let go: HOLD.", *(["Dummy load, no motor."] if now.mode == "DRY" else [])]
        held = Frame(head=head, lines=tuple(lines), live=not now.local.on_alarm)
        return (conditions_title(s, "Conditions"), held, *condition_lines(s, ROWS - 1))
    blocks: Blocks = (conditions_title(s, "Conditions"), *condition_lines(s, ROWS))
    if now.mode == "DRY":
        return blocks
    return (
        *blocks,
        Rule(),
        Pair(
            label="Expected peak", value=f"{megapascal(s.number('limits', 'expected_peak_pa'))} MPa"
        ),
        *burn_time(s),
    )


def burn_time(s: Status) -> Blocks:
    burn = s.number("limits", "expected_burn_s")
    return () if burn is None else (Pair(label="Expected burn", value=f"{burn:.1f} s"),)


def hold_panel(now: Moment) -> Blocks:
    s = now.status
    given = phase_frame(now)
    blocks: list[Block] = [conditions_title(s, "Hold"), *(given or (hold_frame(now),))]
    left, seconds = s.number("circuit", "armed_left_s"), s.number("clock", "seconds")
    if left is not None:
        blocks.append(Pair(label="Armed, left", value=f"{left:.0f} s", big=True))
    if seconds is not None and seconds >= LAST_HOLD_S:
        blocks.append(Pair(label="Needed to resume", value=f"over {math.ceil(seconds) + 2} s"))
    blocks.append(Rule())
    if seconds is not None and seconds < LAST_HOLD_S:
        return (*blocks, Say(text="Below T−10 s: only a new count.", bold=True))
    return (
        *blocks,
        Say(text="Two names resume, each with a code."),
        Say(text="Below T−10 s: only a new count."),
    )


def hold_frame(now: Moment) -> Frame:
    """What broke with its limit, and what Enter does, when the engine gives no frame of its own."""
    s = now.status
    broke = [row.text("text") for row in s.rows("conditions") if row.flag("holds") is False]
    head = broke[0] if broke else s.text("hold", "why") or "Hold called"
    seconds = s.number("clock", "seconds")
    if now.local.notice:
        lines = [now.local.notice]
    elif seconds is not None and seconds < LAST_HOLD_S:
        lines = ["Enter: new count."]
    elif now.local.prompt:
        lines = []
    else:
        lines = [f"{now.local.crew[0]}: code, Enter" if now.local.crew else "Two names, codes."]
    return Frame(head=head, lines=tuple(lines), entry=entry_line(now), live=not now.local.on_alarm)


def fire_panel(now: Moment) -> Blocks:
    is_held = now.local.gripped or now.status.text("keys", "fire") == "held"
    head = "After it lights you may let go"
    return (
        Title(left="Fire control", right="held" if is_held else "let go"),
        Frame(head=head, lines=("Letting go earlier cuts the line.",)),
        Rule(),
        Say(text="Not lit in time:", bold=True),
        Say(text="MISFIRE. Nobody moves, key out. The wait runs from key out."),
    )


def burn_panel(now: Moment) -> Blocks:
    s = now.status
    return (
        Title(left="This burn", right=s.text("run_id")),
        Pair(label="Peak pressure", value=f"{megapascal(s.number('pressure', 'max_pa'))} MPa"),
        Pair(label="Peak thrust", value=f"{newton(s.number('thrust', 'max_n'))} N"),
        *burn_time(s),
        Rule(),
        Say(text="Stay under cover, eyes on the stand.", bold=True),
        Say(text="Call by radio: pressure high, time, sound."),
    )


def release_panel(now: Moment) -> Blocks:
    """Steps in order: done ones folded, the first open one in the frame, the rest below."""
    s = now.status
    steps = s.rows("release")
    done = [row for row in steps if row.flag("done")]
    title = Title(left="Release", right=f"{len(done)} of {len(steps)} done" if steps else "")
    blocks: list[Block] = [title]
    if now.phase == "MISFIRE" and (reason := s.text("misfire") or s.text("approach", "reason")):
        blocks.append(Say(text=reason, bold=True))
    if done:
        blocks.append(Line(text=folded(steps, done), right="", done=True))
    still_open = [(number, row) for number, row in enumerate(steps, 1) if not row.flag("done")]
    given = phase_frame(now)
    blocks += given
    rest = still_open if not given else [each for each in still_open if not is_framed(now, each[1])]
    for number, row in rest:
        blocks.append(Line(text=f"{number} {row.text('text')}", right=row.text("who"), done=False))
    return tuple(blocks)


def is_framed(now: Moment, row: Status) -> bool:
    framed = framed_line(now)
    if framed is None:
        return False
    same_id = bool(row.text("id")) and row.text("id") == framed.text("id")
    return same_id or row.text("text") == framed.text("text")


def folded(steps: list[Status], done: list[Status]) -> str:
    """`1, 2 Stop in`: numbers of all done steps, the words of the last."""
    numbers = [str(at) for at, row in enumerate(steps, 1) if row.flag("done")]
    if len(numbers) > 3:
        gapless = int(numbers[-1]) - int(numbers[0]) == len(numbers) - 1
        span = f"{numbers[0]} to {numbers[-1]}" if gapless else ", ".join(numbers)
        return f"{span} done"
    return f"{', '.join(numbers)} {done[-1].text('text')}"


def inspect_panel(now: Moment) -> Blocks:
    s = now.status
    if not s.has("results"):
        return (Title(left="Results", right="not yet"), *phase_frame(now), *release_lines(s))
    shown = [
        row for row in s.rows("results", "figures") if row.text("definition") not in {"PP1", "PF1"}
    ]
    return (
        Title(left="PRELIMINARY", right="± is k = 2"),
        *(
            Figure(definition=row.text("definition"), name=row.text("name"), value=row.text("text"))
            for row in shown
        ),
        *phase_frame(now),
    )


def release_lines(s: Status) -> Blocks:
    return tuple(
        Line(text=row.text("text"), right=row.text("who"), done=row.flag("done") is True)
        for row in s.rows("release")
    )


PANELS: Final[dict[str, Callable[[Moment], Blocks]]] = {
    "SAFE": checklist_panel,
    "ARM": arm_panel,
    "COUNTDOWN": count_panel,
    "HOLD": hold_panel,
    "FIRE": fire_panel,
    "BURNING": burn_panel,
    "WAIT": release_panel,
    "MISFIRE": release_panel,
    "ABORT": release_panel,
    "INSPECT": inspect_panel,
}
