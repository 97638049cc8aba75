"""A channel's cell: big number, verdict, small lines; ladder bar and chart on one scale.

Two layers. `paint_static` is what changes only with the run (frame, ladder, band); `paint_live` is
what changes with every status (numbers, bar, trace, head, flags).
"""

from typing import Final

from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QPainterPath, QPen

from daq.console import charts
from daq.console.ink import Ink, advance
from daq.console.screens.heads import card
from daq.console.source import Name, Source
from daq.console.tokens import INK_ON
from daq.console.view import ChannelCell, ChartsCell, Rung
from daq.console.wording import MINUS, NONE, megapascal, psi

BAR_LEFT: Final = 342.0
BAR_WIDE: Final = 30.0
LABEL_LEFT: Final = 386.0
CHART_LEFT: Final = 521.0
LEAST_STEP: Final = 15.0
"""Ladder labels keep this much between each other."""


def chart_axes(rect: QRectF, cell: ChannelCell, chart: ChartsCell) -> charts.Axes:
    left = rect.left() + CHART_LEFT
    box = QRectF(left, rect.top() + 22, rect.right() - 24 - left, rect.height() - 47)
    return charts.axes(box, chart, cell.top_si)


def name_of(cell: ChannelCell) -> Name:
    return "pressure" if cell.name == "Pressure" else "thrust"


def paint_static(
    ink: Ink, rect: QRectF, cell: ChannelCell, chart: ChartsCell, source: Source
) -> None:
    card(ink, rect)
    at = chart_axes(rect, cell, chart)
    bar = QRectF(rect.left() + BAR_LEFT, at.box.top(), BAR_WIDE, at.zero_y - at.box.top())
    ink.fill(bar, "soft")
    ink.outline(bar, "line", 1, radius=0)
    if cell.trip_si is not None:
        zone = QRectF(bar.left(), bar.top(), bar.width(), max(0.0, at.y(cell.trip_si) - bar.top()))
        ink.hatch(zone, "hatch", step=6)
    taken = ladder_labels(ink, rect, at, cell.rungs)
    is_pressure = name_of(cell) == "pressure"
    scale = (1e6, "MPa") if is_pressure else (1.0, "N")
    trip_label(ink, rect, at, cell)
    outlook = source.outlook(name_of(cell)) if chart.band and chart.frame == "burn" else None
    charts.paint_frame(ink, at, chart, trip_si=cell.trip_si, taken=taken, scale=scale)
    if outlook is not None:
        charts.paint_outlook(ink, at, outlook)
    if chart.stamp:
        charts.paint_stamp(ink, at, chart.stamp)


def trip_label(ink: Ink, rect: QRectF, at: charts.Axes, cell: ChannelCell) -> None:
    """The trip in both units over the chart, where it cannot hide the line."""
    if cell.trip_si is None:
        return
    text = f"TRIP {megapascal(cell.trip_si)} MPa = {psi(cell.trip_si)} psi"
    room = at.box.width() * 0.6
    ink.text(at.box.right(), rect.top() + 16, text, 14, 700, room=room, align="right")


def ladder_labels(ink: Ink, rect: QRectF, at: charts.Axes, rungs: tuple[Rung, ...]) -> list[QRectF]:
    """Rung labels from the top down, each with a leader; where they stand."""
    taken = []
    left = rect.left() + LABEL_LEFT
    right = rect.left() + BAR_LEFT + BAR_WIDE
    free = rect.top() + 2.0
    for rung in sorted(rungs, key=lambda rung: -rung.si):
        lines = rung.text.split("\n")
        y = rect.top() + 11 if rung.beyond else at.y(rung.si)
        middle = max(y, free + 8)
        room = at.box.left() - 5 - left
        if rung.beyond:
            arrow(ink, rect.left() + BAR_LEFT + BAR_WIDE / 2, at.box.top())
            room = trip_room(at, left)
            ink.line(right - 9, middle - 1, left - 2, middle, "ink", 1)
        else:
            ink.line(right + 5, y, left - 2, middle, "ink", 1)
        for number, line in enumerate(lines):
            weight = 800 if rung.heavy else 600
            baseline = middle + 5 + LEAST_STEP * number
            wide = ink.text(left, baseline, line, 14, weight, room=room)
            taken.append(QRectF(left, baseline - 12, wide + 6, 14))
        free = middle - 8 + LEAST_STEP * len(lines)
    return taken


def trip_room(at: charts.Axes, left: float) -> float:
    """What the label over the chart leaves for the rated burst."""
    taken = advance("TRIP 00.00 MPa = 0 000 psi", 14, 700)
    return at.box.right() - min(taken, at.box.width() * 0.6) - 12 - left


def arrow(ink: Ink, x: float, y: float) -> None:
    """Beyond the top of the scale."""
    ink.painter.setPen(QPen(ink.colour("ink"), 2))
    path = QPainterPath()
    path.moveTo(x, y)
    path.lineTo(x, y - 17)
    path.moveTo(x - 6, y - 11)
    path.lineTo(x, y - 18)
    path.lineTo(x + 6, y - 11)
    ink.painter.setBrush(Qt.BrushStyle.NoBrush)
    ink.painter.drawPath(path)


def paint_live(
    ink: Ink, rect: QRectF, cell: ChannelCell, chart: ChartsCell, source: Source
) -> None:
    numbers(ink, rect, cell)
    at = chart_axes(rect, cell, chart)
    bar(ink, rect, at, cell)
    name = name_of(cell)
    if chart.frame == "strip":
        trace = source.strip(name, charts.STRIP_S, at.columns)
    else:
        trace = source.burn(name, at.begin_s, at.end_s, at.columns)
        charts.paint_flags(ink, at, source.flags(), chart.stamp)
    marked = chart if name == "pressure" else plain(chart)
    charts.paint_trace(ink, at, trace, marked)
    if chart.stale:
        charts.paint_stale(ink, at, chart.stale)


def plain(chart: ChartsCell) -> ChartsCell:
    """The thrust's head is never near a pressure trip."""
    return ChartsCell(
        frame=chart.frame,
        burn_s=chart.burn_s,
        stamp=chart.stamp,
        stale=chart.stale,
        band=chart.band,
        near=False,
        over=False,
    )


def numbers(ink: Ink, rect: QRectF, cell: ChannelCell) -> None:
    x, right, top = rect.left() + 14, rect.left() + 316, rect.top()
    used = ink.text(x, top + 24, cell.name, 17, 700, room=90)
    ink.text(right, top + 24, cell.note, 15, 500, "ink2", room=right - x - used - 8, align="right")
    unit = advance(cell.unit, 26, 600)
    tone = "ink2" if cell.dim else "ink"
    room = right + 12 - x - unit - 8
    size = 100 if len(cell.digits) > 4 else 104
    digits, start = cell.digits, x
    if digits.startswith(MINUS):  # a small sign, so that noise about zero does not change the size
        start += ink.text(x - 2, top + 92, MINUS, 44, 700, tone, room=60) + 2
        digits, room = digits.removeprefix(MINUS), room - (start - x)
    if cell.hollow and cell.digits != NONE:
        wide = ink.hollow(start, top + 106, digits, size, 700, "ink2", room=room)
    else:
        wide = ink.text(start - 2, top + 106, digits, size, 700, tone, room=room)
    wide += start - x
    ink.text(x + wide + 8, top + 106, cell.unit, 26, 600, "ink2", room=unit + 2)
    verdict(ink, rect, cell, x, right)
    for number, line in enumerate(cell.small[:2]):
        ink.text(x, top + 158 + 18 * number, line, 15, 500, "ink2", room=right - x + 8)


def verdict(ink: Ink, rect: QRectF, cell: ChannelCell, x: float, right: float) -> None:
    baseline = rect.top() + 135
    box = QRectF(rect.left() + 10, baseline - 20, 310, 26)
    tone = "ink"
    if cell.mark_fill == "stale":
        ink.fill(box, "card")
        ink.hatch(box, "hatch", step=7, width=3)
        ink.fill(box.adjusted(5, 4, -5, -4), "card")
        ink.text(x + 6, baseline, cell.mark, 19, 700, room=right - x - 8)
        return
    if cell.mark_fill:
        card(ink, box, cell.mark_fill)
        tone = INK_ON[cell.mark_fill][0]
    left = x
    if cell.triangle or cell.mark_fill == "red":
        mark = ink.triangle if cell.triangle else ink.square
        mark(x + 3, baseline + 1, 17, tone)
        left = x + 28
    ink.text(left, baseline, cell.mark, 19, 700, tone, room=right - left)


def bar(ink: Ink, rect: QRectF, at: charts.Axes, cell: ChannelCell) -> None:
    """The bar's top, the trace and the trip line are at one height."""
    left = rect.left() + BAR_LEFT
    if cell.si is not None:
        y = at.y(max(0.0, min(cell.si, cell.top_si)))
        fill = cell.mark_fill if cell.mark_fill in {"yellow", "red"} else "ink2"
        body = QRectF(left + 5, y, BAR_WIDE - 10, max(0.0, at.zero_y - y))
        if body.height() > 2 and not cell.hollow:
            ink.fill(body, fill)
            ink.outline(body, "ink", 2, radius=0)
        ink.line(left + 5, y, left + BAR_WIDE - 5, y, "ink", 2)
    for rung in cell.rungs:
        if not rung.beyond:
            y, more = at.y(rung.si), 6 if rung.heavy else 4
            width = 3.0 if rung.heavy else 1.5
            ink.line(left - more, y, left + BAR_WIDE + more, y, "ink", width)
