"""One strip chart: frame, forbidden zone, expected band, trace, head, flags.

The static layer (frame, hatch, axes, band, stamp) is painted once per run into a pixmap, because
drawing hatch and band anew costs more than all the rest. The trace has at most two points per pixel
column, pen 2.2: a wider or denser antialiased line is the likeliest way to freeze the window, and a
test keeps watch over the cost. y starts at zero, reaches past the trip and is never rescaled.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import QPainterPath, QPen, QPolygonF

from daq.console.ink import Ink, advance
from daq.console.source import Flag, Outlook, Trace
from daq.console.view import ChartsCell
from daq.console.wording import MINUS, grouped

STRIP_S: Final = 30.0
LEAD_S: Final = 1.0
BURNS: Final = 1.6
TRACE_PX: Final = 2.2
LEFT_OF_LINE: Final = frozenset({"GO", "trip", "burn-out", "not lit"})
FOOT: Final = 9.0
"""Zero stands this far above the frame, so that a parked head and its noise are not cut."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """From seconds and SI values to design pixels; `box` is the frame."""

    box: QRectF
    begin_s: float
    end_s: float
    top_si: float

    @property
    def zero_y(self) -> float:
        return self.box.bottom() - FOOT

    @property
    def columns(self) -> int:
        return max(8, int(self.box.width()))

    def x(self, seconds: float) -> float:
        part = (seconds - self.begin_s) / (self.end_s - self.begin_s)
        return self.box.left() + part * self.box.width()

    def y(self, si: float) -> float:
        return self.zero_y - si / self.top_si * (self.zero_y - self.box.top())


def axes(box: QRectF, cell: ChartsCell, top_si: float) -> Axes:
    """The burn frame runs from T−1 s to 1.6 × the expected burn, the strip over the last 30 s."""
    if cell.frame == "burn":
        return Axes(box=box, begin_s=-LEAD_S, end_s=BURNS * cell.burn_s, top_si=top_si)
    return Axes(box=box, begin_s=-STRIP_S, end_s=0.0, top_si=top_si)


def nice_step(top: float, most: int) -> float:
    """The smallest of 1, 2, 5 × 10^k that gives at most `most` steps."""
    raw = top / most
    power = 10.0 ** np.floor(np.log10(raw))
    return float(next(power * n for n in (1, 2, 5, 10) if power * n >= raw * 0.999))


def paint_frame(
    ink: Ink,
    at: Axes,
    cell: ChartsCell,
    *,
    trip_si: float | None,
    taken: list[QRectF],
    scale: tuple[float, str],
) -> None:
    """Everything that does not move: call once per run, into the static layer.

    `taken`: where the ladder's labels stand, so that no value label meets them; `scale`:
    (SI per shown unit, unit).
    """
    value_axis(ink, at, taken, scale)
    time_axis(ink, at, cell)
    if trip_si is not None:
        y = at.y(trip_si)
        zone = QRectF(at.box.left(), at.box.top(), at.box.width(), max(0.0, y - at.box.top()))
        ink.hatch(zone, "hatch", step=7)
        ink.line(at.box.left(), y, at.box.right(), y, "ink", 2.5)


def value_axis(ink: Ink, at: Axes, taken: list[QRectF], scale: tuple[float, str]) -> None:
    per, unit = scale
    left = at.box.left()
    ink.line(left, at.box.top(), left, at.box.bottom(), "line", 1)
    step = nice_step(at.top_si / per, 7 if per > 1 else 4)
    values = [n * step for n in range(int(at.top_si / per / step) + 1)]
    shown = [value for value in values if not meets(at, value * per, taken)]
    for value in values:
        y = at.y(value * per)
        if y < at.box.top() + 4:
            continue
        if value > 0 and value in shown:
            ink.line(left, y, at.box.right(), y, "grid", 1)
        if value in shown:
            digits = 1 if step < 1 else 0
            text = grouped(value, digits if value else 0)
            text += f" {unit}" if value == shown[-1] else ""
            ink.text(left - 5, y + 5, text, 14, 500, "ink2", room=64, align="right")
            ink.line(left - 4, y, left, y, "line", 1)


def meets(at: Axes, si: float, taken: list[QRectF]) -> bool:
    """Whether a value label would touch a label of the ladder; all above the ladder's lowest do."""
    label = QRectF(at.box.left() - 62, at.y(si) - 7, 58, 14)
    reach = [rect for rect in taken if rect.right() > label.left()]
    return any(label.intersects(rect) or label.bottom() <= rect.top() for rect in reach)


def time_axis(ink: Ink, at: Axes, cell: ChartsCell) -> None:
    y = at.box.bottom()
    ink.line(at.box.left(), y, at.box.right(), y, "line", 1)
    if cell.frame == "strip":
        marks = [(-20.0, f"{MINUS}20 s"), (-10.0, f"{MINUS}10 s"), (0.0, "now")]
    else:
        step = nice_step(at.end_s, max(2, int(at.box.width() / 48)))
        count = int(at.end_s / step)
        digits = 0 if step >= 1 else 1
        marks = [(n * step, f"T+{n * step:.{digits}f} s" if n else "0") for n in range(count + 1)]
    for seconds, text in marks:
        x = at.x(seconds)
        ink.line(x, y - 4, x, y, "line", 1)
        right = at.box.right() + 9
        middle = min(x, right - advance(text, 14, 500) / 2)
        ink.text(middle, y + 18, text, 14, 500, "ink2", room=80, align="centre")


def paint_outlook(ink: Ink, at: Axes, outlook: Outlook) -> None:
    """Expected band: grey with edges (survives greyscale), labelled behind its end."""
    keep = (outlook.at_s >= at.begin_s) & (outlook.at_s <= at.end_s)
    if not keep.any():
        return
    x = [at.x(s) for s in outlook.at_s[keep]]
    high = [QPointF(px, at.y(v)) for px, v in zip(x, outlook.high[keep], strict=True)]
    low = [QPointF(px, at.y(v)) for px, v in zip(x, outlook.low[keep], strict=True)]
    ink.painter.setPen(QPen(ink.colour("line"), 1))
    ink.painter.setBrush(ink.colour("band"))
    ink.painter.drawPolygon(QPolygonF([*high, *reversed(low)]))
    half = at.y(float(np.max(outlook.high)) / 2)
    label_x = max(p.x() for p in high if p.y() < half) + 10
    middle = (at.box.top() + at.zero_y) / 2
    room = at.box.right() + 12 - label_x
    if room > advance("expected", 14, 500):
        ink.text(label_x, middle + 2, "expected", 14, 500, room=room)
        ink.text(label_x, middle + 19, "band", 14, 500, room=room)


def paint_stamp(ink: Ink, at: Axes, word: str) -> None:
    """REHEARSAL or DRY in every chart."""
    box = stamp_box(at, word)
    ink.fill(box, "card")
    ink.text(box.center().x(), box.bottom() - 5, word, 18, 800, room=box.width(), align="centre")


def stamp_box(at: Axes, word: str) -> QRectF:
    """Where the stamp stands; flags keep clear of it."""
    middle = at.x(at.begin_s + (at.end_s - at.begin_s) * 0.45)
    wide = advance(word, 18, 800)
    return QRectF(middle - wide / 2 - 4, at.y(at.top_si * 0.36) - 17, wide + 8, 22)


def paint_trace(ink: Ink, at: Axes, trace: Trace, cell: ChartsCell) -> None:
    """The line, its gaps hatched and never joined, and its head."""
    ink.painter.save()
    ink.painter.setClipRect(at.box.adjusted(0, -8, 12, 0))
    for begin, end in trace.gaps:
        x = at.x(begin)
        ink.hatch(
            QRectF(x, at.box.top(), max(2.0, at.x(end) - x), at.box.height()), "hatch", step=5
        )
    if len(trace.at_s):
        ink.painter.setPen(
            QPen(
                ink.colour("ink"),
                TRACE_PX,
                cap=Qt.PenCapStyle.FlatCap,
                join=Qt.PenJoinStyle.BevelJoin,
            )
        )
        for line in polylines(at, trace):
            ink.painter.drawPolyline(line)
    ink.painter.restore()
    paint_head(ink, at, trace, cell)


def polylines(at: Axes, trace: Trace) -> list[QPolygonF]:
    """One polyline per unbroken stretch: low and high of each column in turn."""
    span = at.zero_y - at.box.top()
    x = at.box.left() + (trace.at_s - at.begin_s) / (at.end_s - at.begin_s) * at.box.width()
    low = at.zero_y - np.clip(trace.low / at.top_si, -1, 1.2) * span
    high = at.zero_y - np.clip(trace.high / at.top_si, -1, 1.2) * span
    known = np.isfinite(low) & np.isfinite(high)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], known.view(np.int8), [0]))))
    return [
        QPolygonF(
            [
                QPointF(px, py)
                for n in range(int(a), int(b))
                for px, py in ((x[n], low[n]), (x[n], high[n]))
            ]
        )
        for a, b in edges.reshape(-1, 2)
    ]


def paint_head(ink: Ink, at: Axes, trace: Trace, cell: ChartsCell) -> None:
    """A dot; near trip a yellow diamond, over trip a red square; parked left before T-0."""
    known = np.flatnonzero(np.isfinite(trace.high))
    if cell.frame == "strip":
        return
    if not len(known):
        draw_head(ink, QPointF(at.box.left() + 10, at.y(0)), cell, pressure=False)
        return
    last = int(known[-1])
    newest = float(trace.at_s[last])
    if newest > at.end_s - 2 * (at.end_s - at.begin_s) / at.columns:
        return
    x = max(at.x(newest), at.box.left() + 10)
    y = max(at.y(float(trace.high[last])), at.box.top() + 8)
    draw_head(ink, QPointF(x, y), cell, pressure=True)


def draw_head(ink: Ink, spot: QPointF, cell: ChartsCell, *, pressure: bool) -> None:
    marked = pressure and (cell.near or cell.over)
    if not marked:
        ink.painter.setPen(Qt.PenStyle.NoPen)
        ink.painter.setBrush(ink.colour("ink"))
        ink.painter.drawEllipse(spot, 7, 7)
        return
    ink.painter.setPen(QPen(ink.colour("ink"), 2))
    ink.painter.setBrush(ink.colour("red" if cell.over else "yellow"))
    if cell.over:
        ink.painter.drawRect(QRectF(spot.x() - 7, spot.y() - 7, 14, 14))
        return
    path = QPainterPath(QPointF(spot.x(), spot.y() - 9))
    for dx, dy in ((9, 0), (0, 9), (-9, 0)):
        path.lineTo(spot.x() + dx, spot.y() + dy)
    path.closeSubpath()
    ink.painter.drawPath(path)


def paint_flags(ink: Ink, at: Axes, flags: tuple[Flag, ...], stamp: str) -> None:
    """Dashed lines with a word at the foot; a word that would touch another goes one row up."""
    taken = [stamp_box(at, stamp)] if stamp else []
    for flag in flags:
        if not at.begin_s <= flag.at_s <= at.end_s:
            continue
        x = at.x(flag.at_s)
        pen = QPen(ink.colour("ink"), 1.3)
        pen.setDashPattern([4, 2])
        ink.painter.setPen(pen)
        ink.painter.drawLine(QLineF(x, at.box.top(), x, at.box.bottom()))
        spot = flag_spot(at, x, flag, taken)
        taken.append(spot)
        ink.text(spot.left() + 2, spot.bottom() - 3, flag.word, 14, 600, room=spot.width())


def flag_spot(at: Axes, x: float, flag: Flag, taken: list[QRectF]) -> QRectF:
    wide = advance(flag.word, 14, 600) + 4
    left, right = x - wide - 3, x + 4
    is_left = flag.word in LEFT_OF_LINE
    tries = [(left, 0), (left, 1), (right, 0)] if is_left else [(right, 0), (left, 0), (right, 1)]
    for side, row in (*tries, (left, 2), (right, 2), (left, 3)):
        spot = QRectF(side, at.zero_y - 20 - 16 * row, wide, 16)
        inside = at.box.left() <= side and side + wide <= at.box.right()
        if inside and not any(spot.intersects(other) for other in taken):
            return spot
    return QRectF(left, at.zero_y - 84, wide, 16)


def paint_stale(ink: Ink, at: Axes, word: str) -> None:
    """The whole chart is hatched: what it shows is not known to be now."""
    ink.hatch(at.box, "hatch", step=9)
    wide = advance(word, 20, 800)
    middle = at.box.center()
    box = QRectF(middle.x() - wide / 2 - 12, middle.y() - 20, wide + 24, 34)
    ink.fill(box, "card")
    ink.text(middle.x(), middle.y() + 4, word, 20, 800, room=wide + 2, align="centre")
