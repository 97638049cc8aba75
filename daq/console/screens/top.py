"""The mode band and the alarm line."""

from PyQt6.QtCore import QRectF

from daq.console.ink import Ink, advance
from daq.console.view import AlarmLine, Band


def paint_band(ink: Ink, rect: QRectF, cell: Band) -> None:
    if cell.pattern == "solid":
        paint_solid(ink, rect, cell)
    else:
        paint_pattern(ink, rect, cell)


def paint_solid(ink: Ink, rect: QRectF, cell: Band) -> None:
    ink.fill(rect, "inv")
    end = (
        rect.right()
        - 24
        - ink.text(rect.right() - 24, 25, cell.utc, 16, 500, "inv_ink2", room=240, align="right")
    )
    x = 26 + ink.text(26, 27, cell.mode, 20, 800, "inv_ink", room=190) + 26
    if cell.note:
        x += ink.text(x, 25, cell.note, 16, 600, "inv_ink", room=end - x - 480) + 24
    fields(ink, x, end - 24, cell, ("inv_ink2", "inv_ink"))


def paint_pattern(ink: Ink, rect: QRectF, cell: Band) -> None:
    """The mode is printed on plates over the pattern, so that no colour is spent on it."""
    ink.fill(rect, "card")
    draw_pattern(ink, rect, cell.pattern)
    utc = cell.utc.split(" ")
    short = " ".join(utc[-2:]) if len(utc) > 2 else cell.utc
    left = rect.right() - 24 - advance(short, 16, 500) - 14
    plate(ink, QRectF(left, 3, rect.right() - left - 12, 32))
    ink.text(rect.right() - 24, 25, short, 16, 500, "ink2", room=200, align="right")
    wide = advance(cell.mode, 20, 800)
    box = QRectF(12, 4, wide + 28, 30)
    plate(ink, box)
    ink.outline(box, "ink", 2.5, radius=4)
    ink.text(26, 26, cell.mode, 20, 800, room=170)
    x = box.right() + 14
    note = advance(cell.note, 15, 600)
    plate(ink, QRectF(x, 3, note + 20, 32))
    ink.text(x + 10, 25, cell.note, 15, 600, room=320)
    x += note + 34
    need = fields_width(cell)
    plate(ink, QRectF(x, 3, min(need + 24, left - x - 10), 32))
    fields(ink, x + 12, left - 20, cell, ("ink2", "ink"), gap=18)


def draw_pattern(ink: Ink, rect: QRectF, pattern: str) -> None:
    if pattern == "hatch":
        ink.hatch(rect, "ink", step=12, width=4.5)
    elif pattern == "dots":
        ink.dots(rect, "ink", step=9)


def plate(ink: Ink, rect: QRectF) -> None:
    ink.fill(rect, "card", radius=2)


def fields_width(cell: Band) -> float:
    named = sum(advance(a, 16, 500) + advance(b, 16, 700) + 24 for a, b in cell.fields)
    return named + advance("Set-up", 16, 500) + advance(cell.setup, 20, 800) + 8


def fields(
    ink: Ink, x: float, end: float, cell: Band, inks: tuple[str, str], *, gap: float = 26
) -> None:
    """Label and value pairs, the set-up number larger; long values are reduced, never dropped."""
    rest = advance("Set-up", 16, 500) + advance(cell.setup, 20, 800) + 8
    labels = sum(advance(label, 16, 500) + 6 + gap for label, _ in cell.fields)
    values = sum(advance(value, 16, 700) for _, value in cell.fields)
    share = min(1.0, max(0.1, (end - x - rest - labels) / values)) if values else 1.0
    for label, value in cell.fields:
        x += ink.text(x, 25, label, 16, 500, inks[0], room=80) + 6
        room = advance(value, 16, 700) * share + 0.5
        x += ink.text(x, 25, value, 16, 700, inks[1], room=room) + gap
    x += ink.text(x, 25, "Set-up", 16, 500, inks[0], room=80) + 8
    ink.text(x, 27, cell.setup, 20, 800, inks[1], room=140)


def paint_alarm(ink: Ink, rect: QRectF, cell: AlarmLine, *, lit: bool) -> None:
    """`lit`: the bright half of the flash; the word is readable in both halves."""
    baseline = rect.top() + 22
    if not cell.rank:
        ink.fill(rect, "ground", radius=3)
        ink.outline(rect, "line", 1)
        ink.text(rect.left() + 14, baseline, cell.what, 15, 500, "ink2", room=400)
        ink.text(rect.right() - 14, baseline, cell.note, 15, 500, "ink2", room=400, align="right")
        return
    ink.fill(rect, "card", radius=3)
    box = QRectF(rect.left(), rect.top(), 128, rect.height())
    is_filled = lit or not cell.flash
    ink.fill(box, cell.fill if is_filled else "card", radius=3)
    ink.outline(rect, "blue" if cell.framed else "ink", 4 if cell.framed else 2)
    ink.outline(box, "ink", 2)
    tone = f"{cell.fill}_ink" if is_filled else "ink"
    mark = ink.square if cell.rank == "URGENT" else ink.triangle
    mark(box.left() + 12, baseline + 1, 17, tone)
    ink.text(box.left() + 38, baseline, cell.rank, 16, 800, tone, room=84)
    note = min(advance(cell.note, 15, 500), rect.width() * 0.3)
    ink.text(rect.right() - 14, baseline, cell.note, 15, 500, "ink2", room=note + 1, align="right")
    told(ink, box.right() + 14, rect.right() - 30 - note, baseline, cell)


def told(ink: Ink, x: float, end: float, baseline: float, cell: AlarmLine) -> None:
    """What, then what to do, reduced together when they are long."""
    px = 20.0
    while px > 13 and advance(cell.what, px, 700) + advance(cell.do, px, 600) + 18 > end - x:
        px -= 1
    x += ink.text(x, baseline + 1, cell.what, px, 700, room=end - x) + 18
    if cell.do and end - x > 40:
        ink.text(x, baseline + 1, cell.do, px, 600, room=end - x)
