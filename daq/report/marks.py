"""Dashed marks with a word at the foot; words that would collide go one row up."""

from collections.abc import Sequence
from typing import Final, NamedTuple

from matplotlib.axes import Axes
from matplotlib.transforms import blended_transform_factory

CHARACTER: Final = 0.0080  # of the width of the frame, at 8.6 points
ROW: Final = 0.055
FOOT: Final = 0.012


class Mark(NamedTuple):
    """Something that happened at `at_s`; `strong` marks are drawn in the danger colour."""

    at_s: float | None
    word: str
    strong: bool


def rows(marks: Sequence[Mark], window: tuple[float, float]) -> list[tuple[Mark, float, int]]:
    """(mark, place 0..1, row) for each mark inside the window, so that no two words overlap."""
    width = window[1] - window[0]
    placed: list[tuple[Mark, float, int]] = []
    taken: list[tuple[int, float, float]] = []
    for mark in sorted((m for m in marks if m.at_s is not None), key=lambda m: m.at_s or 0.0):
        at = ((mark.at_s or 0.0) - window[0]) / width
        if not 0.0 <= at <= 1.0:
            continue
        begin, end = at, at + CHARACTER * (len(mark.word) + 1.5)
        row = 0
        while any(r == row and begin < e and b < end for r, b, e in taken):
            row += 1
        taken.append((row, begin, end))
        placed.append((mark, at, row))
    return placed


def draw_marks(
    axes: Axes,
    marks: Sequence[Mark],
    window: tuple[float, float],
    ink: str,
    danger: str,
    ground: str,
) -> None:
    """Draw all marks that lie inside the window."""
    place = blended_transform_factory(axes.transAxes, axes.transAxes)
    for mark, at, row in rows(marks, window):
        colour = danger if mark.strong else ink
        axes.axvline(
            mark.at_s or 0.0,
            color=colour,
            linewidth=1.6 if mark.strong else 0.9,
            linestyle=(0, (5, 3)),
            zorder=3.5,
        )
        axes.text(
            at + 0.004, FOOT + ROW * row, mark.word, transform=place, fontsize=8.6, color=colour,
            fontweight="bold" if mark.strong else "normal", zorder=7, va="bottom",
            bbox={"facecolor": ground, "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
        )  # fmt: skip
