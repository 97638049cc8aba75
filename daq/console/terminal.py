"""The same view in a terminal: `draw` is pure, `TerminalScreen` writes it.

On a terminal the screen is redrawn in place with plain ANSI; elsewhere (a pipe, a log) one line is
written per phase change, event, alarm and refusal, and one progress line each second. A terminal
cannot tell when a key is let go, so this view has no fire control: it shows, it does not fire.
"""

import os
import shutil
import time
from collections.abc import Callable, Iterator
from typing import Final, TextIO

from daq.console.client import EngineClient
from daq.console.state import Fold
from daq.console.view import (
    Block,
    ChannelCell,
    Figure,
    Frame,
    Letters,
    Line,
    Pair,
    Rule,
    Say,
    Tally,
    Title,
    View,
)
from daq.console.wording import THIN

Span = tuple[str, str]
"""Text and style: "" plain, dim, bold, or the name of a colour fill."""

ANSI: Final = {
    "dim": "\x1b[2m",
    "bold": "\x1b[1m",
    "inv": "\x1b[1;7m",
    "red": "\x1b[1;97;41m",
    "yellow": "\x1b[1;30;43m",
    "blue": "\x1b[1;97;44m",
    "green": "\x1b[1;32m",
    "frame": "\x1b[1;94m",
}
RESET: Final = "\x1b[0m"
LABEL: Final = 11
MIN_WIDTH: Final = 72
FILL_STYLE: Final = {"yellow": "yellow", "red": "red", "stale": "inv", "red edge": "red"}
APPROACH_STYLE: Final = {"open": "green", "closed": "inv", "rehearsal": "bold", "unknown": "inv"}


def draw(view: View, width: int, colour: bool) -> list[str]:
    """The whole screen as lines of at most `width` columns (72 at least)."""
    width = max(width, MIN_WIDTH)
    rows = [
        *head(view, width),
        [],
        *phase_rows(view, width),
        [],
        *truth_rows(view, width),
        [],
        gauge(view.pressure, width, bar_style(view)),
        small(view.pressure),
        gauge(view.thrust, width, "bold"),
        small(view.thrust),
        [],
        *health_rows(view),
        [("─" * (width - 2), "dim")],
        *people_rows(view.people, width),
        [("─" * (width - 2), "dim")],
        *foot_rows(view),
    ]
    return [render(row, width, colour) for row in rows]


def render(spans: list[Span], width: int, colour: bool) -> str:
    """One line: a left margin of one, cut at the width with an ellipsis, never wrapped."""
    left, out = width - 1, " "
    for raw, style in spans:
        text = raw.replace(THIN, " ")
        shown = text if len(text) <= left else text[: max(left - 1, 0)] + "…" * (left > 0)
        left -= len(shown)
        out += f"{ANSI[style]}{shown}{RESET}" if colour and style and shown else shown
    return out.rstrip()


def spread(left: list[Span], right: list[Span], width: int) -> list[Span]:
    """Left and right part of one line, pushed apart."""
    used = sum(len(text) for text, _ in (*left, *right))
    return [*left, (" " * max(2, width - 2 - used), ""), *right]


def head(view: View, width: int) -> Iterator[list[Span]]:
    band = view.band
    mode: list[Span] = [(f" {band.mode} ", "inv"), (f"  {band.note}" if band.note else "", "")]
    yield spread(mode, [(band.utc, "dim")], width)
    named = "   ".join(f"{label} {value}" for label, value in band.fields)
    yield [(named, ""), (f"   Set-up {band.setup}", "bold")]
    if not view.alarm.rank:
        yield [("No alarms", "dim")]
        return
    told = [(f" {view.alarm.rank} ", view.alarm.fill), (f" {view.alarm.what} ", "bold")]
    length = sum(len(text) for text, _ in told) + len(view.alarm.do) + len(view.alarm.note)
    if length + 4 <= width:
        yield spread([*told, (view.alarm.do, "")], [(view.alarm.note, "dim")], width)
    else:
        yield spread(told, [(view.alarm.note, "dim")], width)
        yield labelled("", [(view.alarm.do, "bold")])


def phase_rows(view: View, width: int) -> Iterator[list[Span]]:
    clock = view.clock
    style = FILL_STYLE.get(view.phase.fill, "bold")
    count = f"{clock.sign}{clock.digits} {clock.unit}".strip()
    shown: list[Span] = [
        (f" {view.phase.word} ", style if style != "bold" else "inv"),
        ("   ", ""),
        (count, "dim" if clock.hollow else "bold"),
        (f"   {clock.caption}", "dim"),
    ]
    yield spread(shown, [(clock.note, "")], width)
    for label, text in view.phase.full or view.phase.rows:
        yield labelled(label, [(text, "")])


def labelled(label: str, spans: list[Span]) -> list[Span]:
    return [(f"{label:<{LABEL}}", "dim"), *spans]


def truth_rows(view: View, width: int) -> Iterator[list[Span]]:
    """Circuit and approach on lines of their own: dead and may-go are never one fact."""
    circuit, approach = view.circuit, view.approach
    word = (f" {circuit.word} ", FILL_STYLE.get(circuit.fill, "bold"))
    contacts = "  ".join(f"{name} {contact(is_closed)}" for name, is_closed in circuit.contacts)
    pad = " " * max(1, 12 - len(circuit.word))
    yield labelled(
        "Circuit",
        [word, (pad, ""), (f"{circuit.foot}   {contacts}", ""), (f"   {circuit.note}", "dim")],
    )
    told = (f" {approach.word} ", APPROACH_STYLE[approach.look])
    pad = " " * max(1, 12 - len(approach.word))
    note = f"{approach.note}   " if approach.note else ""
    first, *rest = (*approach.lines, "")
    more = " · ".join(line for line in rest if line)
    room = width - LABEL - 18 - len(note) - len(first)
    is_long = len(more) > room
    lines = f"{first} · {more}" if more and not is_long else first
    yield labelled("Approach", [told, (pad, ""), (note, "dim"), (lines, "")])
    if is_long:
        yield labelled("", [(" " * 14, ""), (more, "")])


def contact(is_closed: bool | None) -> str:
    return {True: "─●─", False: "─/ ─", None: "─?─"}[is_closed]


def bar_style(view: View) -> str:
    return {"yellow": "yellow", "red": "red"}.get(view.pressure.mark_fill, "bold")


def gauge(cell: ChannelCell, width: int, style: str) -> list[Span]:
    """Number, bar against the scale with the trip as a heavy stroke, verdict."""
    room = max(16, min(48, width - LABEL - 14 - 30))
    style = "dim" if cell.hollow else style
    number = f"{cell.digits} {cell.unit}"
    mark_style = FILL_STYLE.get(cell.mark_fill, "bold")
    return labelled(
        cell.name,
        [(f"{number:<13}", style), *bar(cell, room), ("  ", ""), (cell.mark, mark_style)],
    )


def bar(cell: ChannelCell, room: int) -> list[Span]:
    at = part(cell.si, cell.top_si, room)
    trip = None if cell.trip_si is None else part(cell.trip_si, cell.top_si, room)
    expected = next((r.si for r in cell.rungs if r.text.startswith("expected")), None)
    rung = None if expected is None else part(expected, cell.top_si, room)
    marks = ["█" if at > place else "·" for place in range(room)]
    if rung is not None and rung < room and at <= rung:
        marks[rung] = "┆"
    if trip is not None and trip < room:
        marks[trip] = "┃"
    return [("▕", "dim"), ("".join(marks), ""), ("▏", "dim")]


def part(si: float | None, top: float, room: int) -> int:
    return 0 if si is None else max(0, min(room, round(room * si / top)))


def small(cell: ChannelCell) -> list[Span]:
    return labelled("", [("   ".join(cell.small), "dim")])


def health_rows(view: View) -> Iterator[list[Span]]:
    cell = view.health
    pair_style = "yellow" if cell.differ else "bold"
    yield [
        ("Board ", "dim"),
        (cell.board, pair_style),
        ("   Engine ", "dim"),
        (cell.engine, pair_style),
        *health_spans(view, ("Key", "Stop", "Continuity", "Link")),
    ]
    yield health_spans(view, ("Recorder", "Disk", "Power", "Screen"))[1:]


def health_spans(view: View, names: tuple[str, ...]) -> list[Span]:
    spans: list[Span] = []
    for row in view.health.rows:
        if row.label not in names:
            continue
        value = f"{row.value}, {row.below}" if row.below else row.value
        spans += [("   ", ""), (f"{row.label} ", "dim"), (value.removesuffix(" old"), row.fill)]
    return spans


def people_rows(blocks: tuple[Block, ...], width: int) -> Iterator[list[Span]]:
    for block in blocks:
        match block:
            case Title():
                yield spread([(block.left, "bold")], [(block.right, "")], width)
            case Letters():
                yield [span for letter, state in block.marks for span in letter_span(letter, state)]
            case Tally():
                yield spread([(block.left, "bold")], [(block.right, "")], width)
            case Line():
                mark = "✓" if block.done else "✗" if block.fill else " "
                told = [(f"  {mark} {block.text}", block.fill)]
                yield spread(told, [(block.right, "dim")], width)
            case Frame():
                yield from frame_rows(block)
            case Pair():
                value = f"{block.value} = {block.below}" if block.below else block.value
                yield [(f"  {block.label:<22}", "dim"), (value, "bold" if block.big else "")]
            case Figure():
                yield [
                    (f"  {block.definition:<5}", "dim"),
                    (f"{block.name:<24}", ""),
                    (block.value, "bold"),
                ]
            case Say():
                yield [(block.text, "bold" if block.bold else "")]
            case Rule():
                yield []


def letter_span(letter: str, state: str) -> list[Span]:
    if state == "current":
        return [(f" {letter} ", "inv"), (" ", "")]
    return [(f"{letter}✓" if state == "signed" else f"{letter} ", "dim"), (" ", "")]


def frame_rows(block: Frame) -> Iterator[list[Span]]:
    edge = "frame" if block.live else "dim"
    yield [("▌ ", edge), (block.head, "bold")]
    lines = [*block.lines, block.entry] if block.entry else list(block.lines)
    if block.boxes is not None:
        typed = block.boxes.ljust(8, "_")
        lines.append(f"{' '.join(typed[:4])}   {' '.join(typed[4:])}")
    for line in lines:
        yield [("▌ ", edge), (line, "")]


def foot_rows(view: View) -> Iterator[list[Span]]:
    at, text = view.refusal
    if text:
        yield labelled("Refused", [(f"{at}  ", "dim"), (text, "")])
    for number, (when, what) in enumerate(view.events):
        yield labelled("" if number else "Events", [(f"{when:<10} ", "dim"), (what, "")])


class Journalist:
    """Line by line for a pipe: what is new since the last view, and progress each second."""

    def __init__(self) -> None:
        self._phase = ""
        self._told: set[tuple[str, str]] = set()
        self._progress_ns: int | None = None

    def lines(self, view: View, now_ns: int) -> list[str]:
        """New lines for this view, oldest first; often none."""
        out = []
        word = view.phase.word
        if word != self._phase:
            self._phase = word
            out.append(f"== {word}   {(view.phase.full or view.phase.rows)[0][1]}")
            self._progress_ns = None
        news = [(when, what) for when, what in reversed(view.events) if when != "this screen"]
        if view.alarm.rank:
            news.append((view.alarm.rank, f"{view.alarm.what} {view.alarm.do}"))
        if view.refusal[1]:
            news.append((view.refusal[0], view.refusal[1]))
        out += [f"   {when:<10} {what}" for when, what in news if (when, what) not in self._told]
        self._told |= set(news)
        if self._progress_ns is None or now_ns - self._progress_ns >= 1_000_000_000:
            self._progress_ns = now_ns
            out.append(progress(view))
        return [line.replace(THIN, " ") for line in out]


def progress(view: View) -> str:
    clock = view.clock
    return (
        f"   {f'{clock.sign}{clock.digits} {clock.unit}':<10} circuit {view.circuit.word}, "
        f"approach {view.approach.word}, {view.pressure.digits} MPa, {view.thrust.digits} N, "
        f"recorder {view.health.rows[4].value}"
    )


class TerminalScreen:
    """Writes views to a stream; `colour` and redrawing follow the stream unless told."""

    def __init__(
        self, out: TextIO, *, in_place: bool | None = None, colour: bool | None = None
    ) -> None:
        is_tty = out.isatty()
        self._out = out
        self._in_place = is_tty if in_place is None else in_place
        self._colour = (is_tty and not os.environ.get("NO_COLOR")) if colour is None else colour
        self._journalist = Journalist()
        self._height = 0

    def show(self, view: View, now_ns: int) -> None:
        """Draw or tell one view."""
        if not self._in_place:
            lines = self._journalist.lines(view, now_ns)
            self._out.write("".join(line + "\n" for line in lines))
        else:
            size = shutil.get_terminal_size((100, 40))
            lines = draw(view, min(size.columns, 120), self._colour)[: size.lines - 1]
            start = "\x1b[?25l\x1b[H" if self._height else "\x1b[?25l\x1b[2J\x1b[H"
            self._out.write(start + "".join(f"{line}\x1b[K\n" for line in lines) + "\x1b[J")
            self._height = len(lines)
        self._out.flush()

    def close(self) -> None:
        """Give the cursor back."""
        if self._in_place and self._height:
            self._out.write("\x1b[?25h")
            self._out.flush()


def watch(
    client: EngineClient, out: TextIO, *, stop: Callable[[View], bool], every_s: float = 0.1
) -> View:
    """Follow an engine until `stop(view)`; the last view. Sends no beat and no wish."""
    fold, screen = Fold(), TerminalScreen(out)
    try:
        while True:
            status = client.poll()
            now_ns = time.monotonic_ns()
            if status is not None:
                fold.take(status, now_ns)
            view = fold.view(now_ns)
            if status is not None or fold.number >= 0:
                screen.show(view, now_ns)
            if stop(view):
                return view
            time.sleep(every_s)
    finally:
        screen.close()
