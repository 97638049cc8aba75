"""Text that fits: a painter in design pixels that measures, reduces, wraps and records every text.

All sizes are "px at 768": the painter is scaled once, fonts are unhinted, so a text that fits at one
window size fits at all. Each text is measured against its cell before it is drawn; one that is too
wide is reduced step by step, and only below its smallest size cut with an ellipsis. What was drawn
where is kept in `placed`, so that tests compare every text with its cell and with every other text.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from PyQt6.QtCore import QLineF, QPointF, QRectF, Qt
from PyQt6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QFontDatabase,
    QFontMetricsF,
    QPainter,
    QPainterPath,
    QPen,
)

from daq.console.tokens import Theme
from daq.console.wording import THIN

FOURTH: Final = "\u2005"
SMALLEST: Final = 11.0
"""No text is reduced below this (px at 768); it is cut instead, and a test would see it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One text as drawn: its box (capitals), its cell, and whether it kept its size."""

    text: str
    box: QRectF
    cell: QRectF
    asked_px: float
    drawn_px: float
    cut: bool


@lru_cache(maxsize=1)
def family() -> str:
    """Inter from its package; any sans when it is not there (texts are then fitted)."""
    try:
        import fontpkg_inter
    except ImportError:
        return "Sans Serif"
    files = sorted((fontpkg_inter.ROOT / "files").rglob("*.ttf"))
    for path in files:
        if "italic" not in path.name.lower():
            number = QFontDatabase.addApplicationFont(str(path))
            names = QFontDatabase.applicationFontFamilies(number)
            if names:
                return str(names[0])
    return "Sans Serif"


@lru_cache(maxsize=256)
def font(px: float, weight: int, *, steady: bool = True) -> QFont:
    """Digits that do not dance (tnum, `steady`) and a zero that is no O (zero)."""
    made = QFont(family())
    made.setPixelSize(max(1, round(px)))
    if family() == "Inter":  # a variable font: weight and optical size are axes, nothing is faked
        made.setVariableAxis(QFont.Tag(b"wght"), weight)
        made.setVariableAxis(QFont.Tag(b"opsz"), min(32.0, max(14.0, px)))
    else:
        made.setWeight(QFont.Weight(weight))
    made.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
    made.setStyleStrategy(QFont.StyleStrategy.PreferAntialias)
    if hasattr(made, "setFeature"):
        made.setFeature(QFont.Tag(b"zero"), 1)
        made.setFeature(QFont.Tag(b"tnum"), int(steady))
    return made


@lru_cache(maxsize=256)
def metrics(px: float, weight: int, *, steady: bool = True) -> QFontMetricsF:
    return QFontMetricsF(font(px, weight, steady=steady))


def is_steady(text: str) -> bool:
    """Equal digit widths also widen the hyphen: words and run ids with one go without."""
    return "-" not in text


def spaced(text: str, px: float) -> str:
    """Thousands keep a gap that can be seen in small type too."""
    return text.replace(THIN, FOURTH) if px < 40 else text


@lru_cache(maxsize=4096)
def advance(text: str, px: float, weight: int) -> float:
    """Width of a text in design pixels."""
    return metrics(px, weight, steady=is_steady(text)).horizontalAdvance(spaced(text, px))


@lru_cache(maxsize=1024)
def fitted(
    text: str, px: float, weight: int, room: float, smallest: float = SMALLEST
) -> tuple[str, float, bool]:
    """(text, px, cut) such that it is no wider than `room`."""
    size = px
    while advance(text, size, weight) > room and size > smallest:
        size = max(smallest, size - 1)
    if advance(text, size, weight) <= room:
        return text, size, False
    short = metrics(size, weight).elidedText(text, Qt.TextElideMode.ElideRight, max(room, 0))
    return short, size, True


@lru_cache(maxsize=1024)
def wrapped(text: str, px: float, weight: int, room: float) -> tuple[str, ...]:
    """Words over lines no wider than `room`; a single word wider than that stays whole."""
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and advance(joined, px, weight) <= room:
            lines[-1] = joined
        else:
            lines.append(word)
    return tuple(lines)


Paragraph = tuple[str, int, str]
"""Text, weight, colour token."""


class Ink:
    """A painter with the theme, for one cell; coordinates are those of the whole window."""

    def __init__(self, painter: QPainter, theme: Theme, cell: QRectF) -> None:
        self.painter = painter
        self.theme = theme
        self.cell = cell
        self.placed: list[Placed] = []

    def colour(self, tone: str) -> QColor:
        return QColor(self.theme.colour(tone))

    def fill(self, rect: QRectF, tone: str, *, radius: float = 0.0) -> None:
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(self.colour(tone))
        self.painter.drawRoundedRect(rect, radius, radius)

    def outline(self, rect: QRectF, tone: str, width: float, *, radius: float = 3.0) -> None:
        """A frame whose outer edge is the rectangle."""
        inset = width / 2
        self.painter.setPen(QPen(self.colour(tone), width))
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawRoundedRect(rect.adjusted(inset, inset, -inset, -inset), radius, radius)

    def line(self, x1: float, y1: float, x2: float, y2: float, tone: str, width: float) -> None:
        self.painter.setPen(QPen(self.colour(tone), width))
        self.painter.drawLine(QLineF(x1, y1, x2, y2))

    def hatch(self, rect: QRectF, tone: str, *, step: float = 8.0, width: float = 1.0) -> None:
        """Parallel strokes of 45 degrees inside the rectangle."""
        self.painter.save()
        self.painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        self.painter.setPen(QPen(self.colour(tone), width))
        x = rect.left() - rect.height()
        while x < rect.right():
            self.painter.drawLine(QLineF(x, rect.bottom(), x + rect.height(), rect.top()))
            x += step
        self.painter.restore()

    def dots(self, rect: QRectF, tone: str, *, step: float = 8.0) -> None:
        """Dots on a shifted grid inside the rectangle."""
        self.painter.save()
        self.painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(QBrush(self.colour(tone)))
        row, y = 0, rect.top() + step / 2
        while y < rect.bottom() + step:
            x = rect.left() + step / 2 * (1 + row % 2)
            while x < rect.right() + step:
                self.painter.drawEllipse(QPointF(x, y), step / 4, step / 4)
                x += step
            row, y = row + 1, y + step * 0.7
        self.painter.restore()

    def stale_edge(self, rect: QRectF) -> None:
        """A hatched frame: what is inside is not known to be so now."""
        inner = rect.adjusted(6, 6, -6, -6)
        self.fill(rect, "card")
        self.hatch(rect, "hatch", step=7, width=3)
        self.fill(inner, "card")
        self.outline(rect, "line", 1, radius=0)

    def text(
        self,
        x: float,
        baseline: float,
        text: str,
        px: float,
        weight: int,
        tone: str = "ink",
        *,
        room: float,
        align: str = "left",
        smallest: float = SMALLEST,
    ) -> float:
        """One line; its width. `room` is what the cell gives; align right and centre start from x."""
        if not text:
            return 0.0
        shown, size, cut = fitted(text, px, weight, room, smallest)
        width = advance(shown, size, weight)
        left = {"left": x, "right": x - width, "centre": x - width / 2}[align]
        self._draw(left, baseline, shown, size, weight, tone)
        self._note(shown, left, baseline, width, size, weight, px, cut=cut)
        return width

    def block(
        self,
        rect: QRectF,
        paragraphs: list[Paragraph],
        px: float,
        leading: float,
        *,
        smallest: float = 13.0,
        gap: float = 0.0,
    ) -> float:
        """Wrapped paragraphs from the top of the rectangle, reduced together until they fit.

        Returns the y below the last line.
        """
        size = px
        while True:
            ratio = size / px
            lines = self._wrap(paragraphs, size, rect.width())
            height = len(lines) * leading * ratio + gap * ratio * (len(paragraphs) - 1)
            if height <= rect.height() + 0.5 or size <= smallest:
                break
            size -= 1
        return self._lines(rect, lines, size, leading * size / px, gap * size / px, px)

    def measure(self, paragraphs: list[Paragraph], px: float, leading: float, room: float) -> float:
        """Height of a block at its full size."""
        return len(self._wrap(paragraphs, px, room)) * leading

    def hollow(
        self,
        x: float,
        baseline: float,
        text: str,
        px: float,
        weight: int,
        tone: str,
        *,
        room: float,
    ) -> float:
        """Outlined digits: they stand still. Right-aligned at x when negative room is not given."""
        shown, size, cut = fitted(text, px, weight, room)
        path = QPainterPath()
        path.setFillRule(Qt.FillRule.WindingFill)
        path.addText(QPointF(x, baseline), font(size, weight), shown)
        self.painter.setPen(QPen(self.colour(tone), 1.6))
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawPath(path.simplified())
        width = advance(shown, size, weight)
        self._note(shown, x, baseline, width, size, weight, px, cut=cut)
        return width

    def tick(self, x: float, baseline: float, tone: str = "ink") -> None:
        self.painter.setPen(
            QPen(
                self.colour(tone), 2.0, cap=Qt.PenCapStyle.RoundCap, join=Qt.PenJoinStyle.RoundJoin
            )
        )
        path = QPainterPath(QPointF(x, baseline - 4))
        path.lineTo(x + 4.5, baseline)
        path.lineTo(x + 13, baseline - 10)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawPath(path)

    def triangle(self, x: float, baseline: float, size: float, tone: str) -> None:
        """The sign of HIGH: a triangle with a mark."""
        path = QPainterPath(QPointF(x + size / 2, baseline - size * 0.9))
        path.lineTo(x + size, baseline)
        path.lineTo(x, baseline)
        path.closeSubpath()
        pen = QPen(self.colour(tone), 2.0, join=Qt.PenJoinStyle.RoundJoin)
        self.painter.setPen(pen)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawPath(path)
        middle = x + size / 2
        self.line(middle, baseline - size * 0.6, middle, baseline - size * 0.3, tone, 2.0)
        self.line(middle, baseline - size * 0.22, middle, baseline - size * 0.12, tone, 2.0)

    def square(self, x: float, baseline: float, size: float, tone: str) -> None:
        """The sign of URGENT: a square with a bar."""
        top = baseline - size
        self.outline(QRectF(x, top, size, size), tone, 2.0, radius=1.0)
        self.line(x + 4, top + size / 2, x + size - 4, top + size / 2, tone, 2.5)

    def _wrap(
        self, paragraphs: list[Paragraph], px: float, room: float
    ) -> list[tuple[str, int, str, bool]]:
        return [
            (line, weight, tone, number == 0 and at > 0)
            for at, (text, weight, tone) in enumerate(paragraphs)
            for number, line in enumerate(wrapped(text, px, weight, room))
        ]

    def _lines(
        self,
        rect: QRectF,
        lines: list[tuple[str, int, str, bool]],
        px: float,
        leading: float,
        gap: float,
        asked: float,
    ) -> float:
        y = rect.top()
        most = max(1, int((rect.height() + leading * 0.3) / leading))
        is_cut = len(lines) > most
        for number, (text, weight, tone, is_new) in enumerate(lines[:most]):
            y += gap if is_new else 0.0
            told = f"{text} …" if is_cut and number == most - 1 else text
            shown, size, cut = fitted(told, px, weight, rect.width())
            cut = cut or told != text
            baseline = y + leading * 0.76
            self._draw(rect.left(), baseline, shown, size, weight, tone)
            width = advance(shown, size, weight)
            self._note(shown, rect.left(), baseline, width, size, weight, asked, cut=cut)
            y += leading
        return y

    def _draw(
        self, x: float, baseline: float, text: str, px: float, weight: int, tone: str
    ) -> None:
        self.painter.setFont(font(px, weight, steady=is_steady(text)))
        self.painter.setPen(self.colour(tone))
        self.painter.drawText(QPointF(x, baseline), spaced(text, px))

    def _note(
        self,
        text: str,
        x: float,
        baseline: float,
        width: float,
        px: float,
        weight: int,
        asked: float,
        *,
        cut: bool,
    ) -> None:
        height = metrics(px, weight).capHeight()
        box = QRectF(x, baseline - height, width, height)
        self.placed.append(
            Placed(text=text, box=box, cell=self.cell, asked_px=asked, drawn_px=px, cut=cut)
        )
