"""The heads of the lanes: phase and clock, circuit plate, approach plate."""

from PyQt6.QtCore import QPointF, QRectF
from PyQt6.QtGui import QPen

from daq.console.ink import Ink, advance, fitted
from daq.console.tokens import INK_ON
from daq.console.view import ApproachCell, CircuitCell, ClockCell, PhaseCell
from daq.console.wording import NONE


def card(ink: Ink, rect: QRectF, fill: str = "card") -> None:
    """A cell's ground; every coloured fill gets an ink frame."""
    ink.fill(rect, fill, radius=3)
    is_plain = fill == "card"
    ink.outline(rect, "line" if is_plain else "ink", 1.0 if is_plain else 2.0)


def paint_phase(ink: Ink, rect: QRectF, cell: PhaseCell) -> None:
    card(ink, rect)
    x, top = rect.left() + 14, rect.top()
    head = QRectF(rect.left(), top, rect.width(), 64)
    tone, left = "ink", x
    if cell.fill == "stale":
        ink.stale_edge(head)
        left = x + 4
    elif cell.fill == "red edge":
        ink.fill(head, "red", radius=3)
        ink.outline(head, "ink", 1.5)
        inner = head.adjusted(8, 8, -8, -8)
        ink.fill(inner, "card")
        ink.outline(inner, "ink", 1.5, radius=0)
        left = x + 4
    elif cell.fill:
        card(ink, head, cell.fill)
        tone = INK_ON[cell.fill][0]
    else:
        ink.line(x, head.bottom(), rect.right() - 14, head.bottom(), "line", 1)
    ink.text(left, top + 50, cell.word, 44, 800, tone, room=rect.right() - 12 - left)
    for number, (label, text) in enumerate(cell.rows):
        baseline = top + 88 + 24 * number
        ink.text(x, baseline, label, 15, 700, room=62)
        ink.text(x + 66, baseline, text, 18, 500, room=rect.right() - 12 - x - 66)


def paint_clock(ink: Ink, rect: QRectF, cell: ClockCell) -> None:
    card(ink, rect)
    x, right, top = rect.left() + 14, rect.right() - 14, rect.top()
    note = ink.text(right, top + 22, cell.note, 18, 700, room=right - x - 110, align="right")
    ink.text(x, top + 22, cell.caption, 16, 500, "ink2", room=right - x - note - 16)
    tone = "ink2" if cell.dim or cell.hollow else "ink"
    start = x
    if cell.sign:
        px = 48 if len(cell.digits) > 4 else 64
        start = x + ink.text(x + 2, top + 138, cell.sign, px, 700, tone, room=90) + 6
    if cell.corner:
        baseline = top + (82 if cell.sign else 138)
        wide = ink.text(x + 2, baseline, cell.corner, 20, 600, "ink2", room=70)
        start = max(start, x + wide + 6)
    end = right - 6
    if cell.unit:
        ink.text(right - 2, top + 138, cell.unit, 26, 600, "ink2", room=30, align="right")
        end = right - 34
    big_digits(ink, start, end, top + 138, cell)


def big_digits(ink: Ink, start: float, end: float, baseline: float, cell: ClockCell) -> None:
    room = end - start
    size = 140 if cell.sign and len(cell.digits) > 4 else 152
    shown, px, _ = fitted(cell.digits, size, 700, room)
    x = end - advance(shown, px, 700)
    if cell.hollow and cell.digits != NONE:
        ink.hollow(x, baseline, cell.digits, size, 700, "ink2", room=room)
    else:
        ink.text(x, baseline, cell.digits, size, 700, "ink2" if cell.dim else "ink", room=room)


def paint_circuit(ink: Ink, rect: QRectF, cell: CircuitCell) -> None:
    fill = cell.fill if cell.fill in {"yellow", "red"} else "card"
    if cell.fill == "stale":
        ink.stale_edge(rect)
    else:
        card(ink, rect, fill)
    tone, caption = INK_ON[fill]
    x, right, top = rect.left() + 14, rect.right() - 14, rect.top()
    ink.text(x, top + 22, "Circuit", 16, 600, caption, room=80)
    ink.text(right, top + 22, cell.note, 15, 500, caption, room=right - x - 70, align="right")
    px = {"UNKNOWN": 36, "ENERGISED": 35}.get(cell.word, 44)
    ink.text(x, top + 67, cell.word, px, 800, tone, room=rect.right() - 10 - x)
    contacts(ink, x + 3, right - 3, top + 100, cell, tone)
    ink.text(x, top + 141, cell.foot, 16, 700, tone, room=right - x)


def contacts(ink: Ink, left: float, right: float, y: float, cell: CircuitCell, tone: str) -> None:
    """Key, high and low switch in line, each drawn as sensed."""
    step = (right - left) / 3
    for number, (name, is_closed) in enumerate(cell.contacts):
        a, b = left + step * number, left + step * (number + 1)
        middle = (a + b) / 2
        ink.text(middle, y + 19, name, 14, 500, tone, room=step, align="centre")
        if is_closed is None:
            ink.line(a, y, middle - 12, y, tone, 2.5)
            ink.line(middle + 12, y, b, y, tone, 2.5)
            ink.text(middle, y + 5, "?", 16, 800, tone, room=20, align="centre")
            continue
        ink.line(a, y, middle - 13, y, tone, 2.5)
        ink.line(middle + 13, y, b, y, tone, 2.5)
        lift = 0.0 if is_closed else 14.0
        ink.line(middle - 13, y, middle + (13 if is_closed else 10), y - lift, tone, 2.5)
        ink.painter.setPen(QPen(ink.colour(tone), 1))
        ink.painter.setBrush(ink.colour(tone))
        for x in (middle - 13, middle + 13):
            ink.painter.drawEllipse(QPointF(x, y), 3.2, 3.2)


def paint_approach(ink: Ink, rect: QRectF, cell: ApproachCell) -> None:
    fill = "inv" if cell.look == "closed" else "card"
    match cell.look:
        case "closed":
            ink.fill(rect, "inv")
        case "open":
            ink.fill(rect, "card", radius=3)
            ink.outline(rect, "green", 4)
        case "rehearsal":
            hatched_edge(ink, rect)
        case "unknown":
            ink.stale_edge(rect)
    tone, caption = INK_ON[fill]
    x, right, top = rect.left() + 14, rect.right() - 14, rect.top()
    ink.text(x, top + 22, "Approach", 16, 600, caption, room=90)
    ink.text(right, top + 22, cell.note, 15, 500, caption, room=right - x - 88, align="right")
    px = 36 if cell.word == "UNKNOWN" else 44
    ink.text(x, top + 67, cell.word, px, 800, tone, room=198)
    barrier(ink, right - 2, top + 50, cell.look, tone)
    told = [(line, 700 if number == 0 else 500, tone) for number, line in enumerate(cell.lines)]
    ink.block(QRectF(x, top + 76, right - x + 4, 72), told, 18, 23.4, smallest=13)


def hatched_edge(ink: Ink, rect: QRectF) -> None:
    """Open in rehearsal: an ink hatch where green would be, so that it sends nobody out."""
    ink.fill(rect, "card")
    ink.hatch(rect, "ink", step=9, width=3.5)
    ink.fill(rect.adjusted(6, 6, -6, -6), "card")


def barrier(ink: Ink, x: float, y: float, look: str, tone: str) -> None:
    """A barrier arm: down when closed, up when open, none when not known."""
    if look == "unknown":
        ink.text(x, y + 14, "?", 30, 800, tone, room=30, align="right")
        return
    ink.line(x, y, x, y + 20, tone, 4)
    if look == "closed":
        ink.line(x, y, x - 38, y, tone, 5)
    else:
        ink.line(x, y, x - 23, y - 18, tone, 5)
