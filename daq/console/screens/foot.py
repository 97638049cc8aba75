"""The bottom row: last refusal, last events, the key caps (drawn, not clicked)."""

from PyQt6.QtCore import QRectF

from daq.console.ink import Ink, advance
from daq.console.screens.heads import card
from daq.console.view import Cap, KeysCell, Pairs


def paint_refusal(ink: Ink, rect: QRectF, cell: tuple[str, str]) -> None:
    card(ink, rect)
    x, right, top = rect.left() + 14, rect.right() - 14, rect.top()
    when, text = cell
    ink.text(x, top + 22, "Last refusal", 15, 500, "ink2", room=110)
    ink.text(right, top + 22, when, 15, 500, "ink2", room=150, align="right")
    ink.block(QRectF(x, top + 27, right - x, 101), [(text or "none", 600, "ink")], 20, 25)


def paint_events(ink: Ink, rect: QRectF, rows: Pairs) -> None:
    card(ink, rect)
    x, right, top = rect.left() + 14, rect.right() - 14, rect.top()
    ink.text(x, top + 22, "Last events", 15, 500, "ink2", room=100)
    note = "newest first, all in the journal"
    ink.text(right, top + 22, note, 14, 500, "ink2", room=right - x - 110, align="right")
    for number, (when, what) in enumerate(rows):
        baseline = top + 52 + 30 * number
        ink.text(x, baseline, when, 16, 500, "ink2", room=90)
        ink.text(x + 98, baseline, what, 18, 600, room=right - x - 98)


def paint_keys(ink: Ink, rect: QRectF, cell: KeysCell) -> None:
    card(ink, rect)
    x, top = rect.left() + 12, rect.top() + 9
    cap(ink, QRectF(x, top, 54, 54), "F", cell.fire_f)
    cap(ink, QRectF(x + 59, top, 54, 54), "J", cell.fire_j)
    label(ink, x + 121, top, cell.fire_f, 86)
    cap(ink, QRectF(x + 212, top, 54, 54), "P", cell.hold)
    label(ink, x + 274, top, cell.hold, 64)
    cap(ink, QRectF(x + 342, top, 66, 54), "Enter", cell.enter)
    label(ink, x + 416, top, cell.enter, 64)
    space(ink, QRectF(x, top + 62, 474, 52), cell)


def cap(ink: Ink, box: QRectF, name: str, key: Cap) -> None:
    fill = {"act": "blue", "ready": "soft", "off": "card"}[key.look]
    tone = {"act": "blue_ink", "ready": "ink", "off": "ink2"}[key.look]
    ink.fill(box, fill, radius=5)
    ink.outline(
        box, "line" if key.look == "off" else "ink", 1 if key.look == "off" else 2, radius=5
    )
    px = 17 if len(name) > 1 else 22
    ink.text(box.center().x(), box.top() + 35, name, px, 700, tone, room=60, align="centre")
    if key.foot:
        y = box.bottom() - 9
        ink.line(box.left() + 14, y, box.right() - 14, y, tone, 4)


def label(ink: Ink, x: float, top: float, key: Cap, room: float) -> None:
    first, second = key.label
    if key.look == "off":
        ink.text(x, top + 23, first, 14, 500, "ink2", room=room)
        ink.text(x, top + 43, second, 14, 500, "ink2", room=room)
        return
    is_note = second in {"now", "noted"}
    px = 20 if max(advance(first, 20, 700), advance(second, 20, 700)) <= room else 17
    ink.text(x, top + 22, first, px, 700, room=room)
    ink.text(x, top + 45, second, 15 if is_note else px, 600 if is_note else 700, room=room)


def space(ink: Ink, box: QRectF, cell: KeysCell) -> None:
    """The widest cap, nearest the real key: what Space does now."""
    ink.fill(box, "soft", radius=6)
    ink.outline(box, "ink", 3, radius=6)
    x = box.left() + 14
    x += ink.text(x, box.top() + 33, "Space", 20, 700, room=70) + 12
    x += ink.text(x, box.top() + 37, cell.space, 32, 800, room=140) + 14
    ink.text(x, box.top() + 32, cell.space_note, 17, 600, room=box.right() - 12 - x)
