"""The lower cells of the circuit and people lanes: health rows, and the panel's blocks."""

from PyQt6.QtCore import QRectF

from daq.console.ink import Ink, advance
from daq.console.screens.heads import card
from daq.console.tokens import INK_ON
from daq.console.view import (
    Block,
    Figure,
    Frame,
    HealthCell,
    HealthRow,
    Letters,
    Line,
    Pair,
    Rule,
    Say,
    Tally,
    Title,
)


def paint_health(ink: Ink, rect: QRectF, cell: HealthCell) -> None:
    card(ink, rect)
    x, right, top = rect.left() + 14, rect.right() - 14, rect.top()
    tone = "ink2"
    if cell.differ:
        pair = QRectF(rect.left() + 6, top + 5, rect.width() - 12, 44)
        card(ink, pair, "yellow")
        tone = "yellow_ink"
    board = max(76.0, advance(cell.board, 16, 700) + 12)
    words = "yellow_ink" if cell.differ else "ink"
    ink.text(x, top + 21, "Board", 14, 500, tone, room=60)
    ink.text(x, top + 42, cell.board, 16, 700, words, room=100)
    ink.text(x + board, top + 21, "Engine", 14, 500, tone, room=60)
    ink.text(x + board, top + 42, cell.engine, 16, 700, words, room=right - x - board + 6)
    ink.line(x, top + 53, right, top + 53, "line", 1)
    lines = len(cell.rows) + sum(0.55 for row in cell.rows if row.below)
    step = (rect.height() - 53 - 6) / lines
    y = top + 53 + step * 0.64
    for row in cell.rows:
        health_row(ink, x, right, y, row)
        y += step * (1.55 if row.below else 1.0)


def health_row(ink: Ink, x: float, right: float, baseline: float, row: HealthRow) -> None:
    tone, caption = "ink", "ink2"
    label_x = x
    if row.fill:
        height = 53 if row.below else 32
        card(ink, QRectF(x - 8, baseline - 21, right - x + 16, height), row.fill)
        tone = caption = INK_ON[row.fill][0]
        mark = ink.square if row.fill == "red" else ink.triangle
        mark(x - 3, baseline + 1, 14, tone)
        label_x = x + 18
    wide = ink.text(label_x, baseline, row.label, 15, 500, caption, room=90)
    room = right - label_x - wide - 8
    ink.text(right, baseline, row.value, 15, 600, tone, room=room, align="right")
    if row.below:
        ink.text(right, baseline + 20, row.below, 15, 600, tone, room=right - x, align="right")


def paint_people(ink: Ink, rect: QRectF, blocks: tuple[Block, ...]) -> None:
    """Blocks from the top; open lines that find no room are counted in a last row."""
    card(ink, rect)
    panel = Panel(ink, rect)
    heights = [panel.height(block) for block in blocks]
    shown, folded = panel.choose(list(blocks), heights)
    for block in shown:
        panel.paint(block)
    if folded:
        panel.paint(Line(text=f"and {folded} more", right="", done=False))


class Panel:
    """Draws blocks one below the other; `y` is the top of the next one."""

    def __init__(self, ink: Ink, rect: QRectF) -> None:
        self.ink = ink
        self.rect = rect
        self.x, self.right = rect.left() + 14, rect.right() - 14
        self.y = rect.top() + 10
        self._over = 0.0

    def choose(self, blocks: list[Block], heights: list[float]) -> tuple[list[Block], int]:
        """Drop open lines from the end, then ticked lines from the start, until all fit."""
        room = self.rect.height() - 14
        folded = 0
        while sum(heights) + (28 if folded else 0) > room:
            at = self._least(blocks)
            if at is None:
                break
            folded += not getattr(blocks[at], "done", False)
            del blocks[at], heights[at]
        self._over = max(0.0, sum(heights) + (28 if folded else 0) - room)
        return blocks, folded

    @staticmethod
    def _least(blocks: list[Block]) -> int | None:
        lines = [at for at, block in enumerate(blocks) if isinstance(block, Line)]
        still_open = [at for at in lines if not getattr(blocks[at], "done", False)]
        plain = [at for at in still_open if not getattr(blocks[at], "fill", "")]
        if plain:
            return plain[-1]
        return lines[-1] if lines else None

    def height(self, block: Block) -> float:
        """What the block needs at its full size."""
        match block:
            case Title():
                return 38
            case Letters():
                return 32
            case Tally():
                return 24
            case Line():
                return 28
            case Frame():
                return self._frame_height(block)
            case Pair():
                return (30 if block.big else 28) + (24 if block.below else 0)
            case Figure():
                return 25
            case Say():
                weight = 700 if block.bold else 500
                lines = self.ink.measure([(block.text, weight, "ink")], 20, 25, self._wide())
                return lines + 9
            case Rule():
                return 14

    def _wide(self) -> float:
        return self.right - self.x + 4

    def _frame_height(self, block: Frame) -> float:
        texts = self._frame_texts(block)
        boxes = 54 if block.boxes is not None else 0
        return self.ink.measure(texts, 20, 25, self._wide() - 12) + boxes + 24

    @staticmethod
    def _frame_texts(block: Frame) -> list[tuple[str, int, str]]:
        lines = [*block.lines, block.entry] if block.entry else list(block.lines)
        return [(block.head, 700, "ink"), *((line, 500, "ink") for line in lines if line)]

    def paint(self, block: Block) -> None:
        height = self.height(block)
        left = max(20.0, self.rect.bottom() - 4 - self.y)
        match block:
            case Title():
                self._title(block)
            case Letters():
                self._letters(block)
            case Tally():
                self.ink.text(self.x, self.y + 17, block.left, 16, 700, room=160)
                self._right(self.y + 17, block.right, 15, 600, "ink", 80)
            case Line():
                self._line(block)
            case Frame():
                height = max(60.0, min(height - self._over, left))
                self._frame(block, height)
            case Pair():
                self._pair(block)
            case Figure():
                self._figure(block)
            case Say():
                box = QRectF(self.x, self.y, self._wide(), min(height - 9, left))
                self.ink.block(box, [(block.text, 700 if block.bold else 500, "ink")], 20, 25)
            case Rule():
                self.ink.line(self.x, self.y + 6, self.right, self.y + 6, "line", 1)
        self.y += height

    def _right(
        self, baseline: float, text: str, px: float, weight: int, tone: str, room: float
    ) -> float:
        return self.ink.text(self.right, baseline, text, px, weight, tone, room=room, align="right")

    def _title(self, block: Title) -> None:
        baseline = self.y + 16
        used = self._right(baseline, block.right, 15, 600, "ink", 140)
        room = self.right - self.x - used - 8
        self.ink.text(self.x, baseline, block.left, 20, 700, room=room)
        self.ink.line(self.x, self.y + 27, self.right, self.y + 27, "line", 1)

    def _letters(self, block: Letters) -> None:
        count = max(1, len(block.marks))
        step = (self.right - self.x + 5) / count
        for number, (letter, state) in enumerate(block.marks):
            box = QRectF(self.x + step * number, self.y - 2, step - 5, 24)
            is_here = state == "current"
            self.ink.fill(box, "ink" if is_here else "card", radius=3)
            self.ink.outline(box, "line", 1)
            tone = "card" if is_here else "ink"
            is_signed = state == "signed"
            middle = box.center().x() - (7 if is_signed else 0)
            self.ink.text(middle, box.bottom() - 7, letter, 15, 700, tone, room=20, align="centre")
            if is_signed:
                self.ink.tick(middle + 7, box.bottom() - 7)

    def _line(self, block: Line) -> None:
        baseline = self.y + 18
        tone = "ink"
        if block.fill:
            box = QRectF(self.rect.left() + 6, self.y, self.rect.width() - 12, 26)
            card(self.ink, box, block.fill)
            tone = INK_ON[block.fill][0]
            self.ink.triangle(self.x - 2, baseline + 1, 15, tone)
        elif block.done:
            self.ink.tick(self.x, baseline)
        whole = self.right - self.x - 22 - 8
        wide = advance(block.right, 14, 500)
        most = min(wide + 1, max(whole - advance(block.text, 15, 500), whole * 0.4))
        used = self._right(baseline, block.right, 14, 500, tone if block.fill else "ink2", most)
        self.ink.text(
            self.x + 22, baseline, block.text, 15, 500, tone, room=whole - used, smallest=13
        )

    def _frame(self, block: Frame, height: float) -> None:
        box = QRectF(self.rect.left() + 7, self.y - 1, self.rect.width() - 14, height - 6)
        self.ink.fill(box, "card", radius=4)
        self.ink.outline(box, "blue" if block.live else "line", 4 if block.live else 2)
        boxes = 54 if block.boxes is not None else 0
        inner = QRectF(self.x + 5, self.y + 6, self._wide() - 12, height - 18 - boxes)
        self.ink.block(inner, self._frame_texts(block), 20, 25, smallest=14)
        if block.boxes is not None:
            self._boxes(block.boxes, box.bottom() - 56)

    def _boxes(self, digits: str, top: float) -> None:
        """Eight boxes in two groups; the next one to type carries a foot."""
        left, wide, gap = self.x + 5, 24.0, 4.0
        for number in range(8):
            x = left + number * (wide + gap) + (8 if number > 3 else 0)
            box = QRectF(x, top, wide, 46)
            self.ink.fill(box, "soft", radius=2)
            self.ink.outline(box, "ink", 1.5)
            if number < len(digits):
                middle = box.center().x()
                self.ink.text(middle, top + 33, digits[number], 28, 800, room=wide, align="centre")
            elif number == len(digits):
                self.ink.line(x + 5, top + 39, x + wide - 5, top + 39, "ink", 3)

    def _pair(self, block: Pair) -> None:
        px = 24 if block.big else 15
        baseline = self.y + (21 if block.big else 19)
        label = self.ink.text(self.x, baseline, block.label, 15, 500, "ink2", room=136)
        room = self.right - self.x - label - 8
        self._right(baseline, block.value, px, 800 if block.big else 700, "ink", room)
        if block.below:
            self._right(baseline + 25, block.below, 20, 700, "ink", room)

    def _figure(self, block: Figure) -> None:
        baseline = self.y + 16
        self.ink.text(self.x - 1, baseline, block.definition, 14, 700, room=34)
        name_x = self.x + 36
        used = self._right(baseline, block.value, 16, 700, "ink", 126)
        self.ink.text(
            name_x, baseline, block.name, 15, 500, "ink2", room=self.right - used - 6 - name_x
        )
