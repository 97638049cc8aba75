"""Where each cell stands, in design pixels: height 768, width by the window's shape.

Everything scales with the height; spare width goes to the charts, spare height (a window squarer
than 16:9) to the two middle rows. Columns run through every row.
"""

from dataclasses import dataclass
from typing import Final

from PyQt6.QtCore import QRectF

WIDTH: Final = 1365.0
HEIGHT: Final = 768.0
MARGIN: Final = 12.0
GAP: Final = 8.0
MIN_WINDOW: Final = (1280, 720)
"""Below this the console refuses ARM."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """`scale` from design to window pixels; `cells` by name, in design pixels."""

    scale: float
    width: float
    height: float
    cells: dict[str, QRectF]


def layout(window_width: float, window_height: float) -> Layout:
    """The cells for a window of this many pixels."""
    scale = max(0.1, min(window_height / HEIGHT, window_width / WIDTH))
    width, height = window_width / scale, window_height / scale
    more = width - 1366.0
    middle = 183.0 + (height - HEIGHT) / 2
    chart = 498.0 + more
    x2, x3, x4 = 350.0, 856.0 + more, 1089.0 + more
    y2 = 246.0
    y3 = y2 + middle + GAP
    y4 = y3 + middle + GAP
    cells = {
        "band": QRectF(0, 0, width, 38),
        "alarm": QRectF(MARGIN, 46, width - 2 * MARGIN, 32),
        "phase": QRectF(MARGIN, 86, 330, 152),
        "clock": QRectF(x2, 86, chart, 152),
        "circuit": QRectF(x3, 86, 225, 152),
        "approach": QRectF(x4, 86, 265, 152),
        "pressure": QRectF(MARGIN, y2, x2 - MARGIN + chart, middle),
        "thrust": QRectF(MARGIN, y3, x2 - MARGIN + chart, middle),
        "health": QRectF(x3, y2, 225, 2 * middle + GAP),
        "people": QRectF(x4, y2, 265, 2 * middle + GAP),
        "refusal": QRectF(MARGIN, y4, 330, 132),
        "events": QRectF(x2, y4, chart, 132),
        "keys": QRectF(x3, y4, 498, 132),
    }
    return Layout(scale=scale, width=width, height=height, cells=cells)
