"""The one window: cells laid out by `layout`, painted from a view, keys by position.

Nothing moves between phases and nothing opens over it: no dialog, no menu, no tab. Each cell is an
opaque widget that repaints only when its part of the view changed; words are painted before charts,
and when painting is slow the charts are skipped, never the words. `painted_n` is the newest status
whose phase, clock and circuit have really been painted.
"""

import sys
import time
from collections.abc import Callable
from typing import Any, Final

from PyQt6.QtCore import QEvent, QRectF, Qt, QTimer
from PyQt6.QtGui import (
    QCloseEvent,
    QGuiApplication,
    QHideEvent,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QPixmap,
    QResizeEvent,
)
from PyQt6.QtWidgets import QWidget

from daq.console.ink import Ink, Placed
from daq.console.keys import HeldKeys, Key, key_at
from daq.console.screens import foot, gauge, heads, lists, top
from daq.console.screens.layout import MIN_WINDOW, Layout, layout
from daq.console.source import Outlook, Source
from daq.console.tokens import Theme
from daq.console.view import ChannelCell, ChartsCell, View

Paint = Callable[[Ink, QRectF, Any], None]
WORDS: Final[dict[str, Paint]] = {
    "band": top.paint_band,
    "alarm": lambda ink, rect, data: top.paint_alarm(ink, rect, data[0], lit=data[1]),
    "phase": heads.paint_phase,
    "clock": heads.paint_clock,
    "circuit": heads.paint_circuit,
    "approach": heads.paint_approach,
    "health": lists.paint_health,
    "people": lists.paint_people,
    "refusal": foot.paint_refusal,
    "events": foot.paint_events,
    "keys": foot.paint_keys,
}
PROOF: Final = ("phase", "clock", "circuit")
"""Cells that count for `painted_n`."""
REPEAT_GRACE_MS: Final = 8
"""Under X11 a held key repeats as release and press with one time stamp, and the toolkit can miss
that they belong together when they do not arrive at once; the press is waited for this long."""
SLOW_S: Final = 0.025
FLASH_NS: Final = 166_000_000
"""Half a period of the only flash: 3 per second, 50 %."""


class Cell(QWidget):
    """One opaque cell; `placed` is what its last paint wrote where."""

    def __init__(self, parent: QWidget, paint: Paint) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.data: Any = None
        self.placed: list[Placed] = []
        self.painted_n = -1
        self.rect_u = QRectF()
        self.scale = 1.0
        self.theme: Theme | None = None
        self._paint = paint
        self._n = -1

    def show_data(self, data: Any, n: int, *, always: bool) -> None:
        self._n = n
        if data != self.data or always:
            self.data = data
            self.update()

    def place(self, at: Layout, rect: QRectF) -> None:
        self.rect_u, self.scale = rect, at.scale
        left, top_px = int(rect.left() * at.scale), int(rect.top() * at.scale)
        right, bottom = round(rect.right() * at.scale), round(rect.bottom() * at.scale)
        self.setGeometry(left, top_px, right - left, bottom - top_px)

    def paintEvent(self, _event: QPaintEvent | None) -> None:
        if self.data is None or self.theme is None:
            return
        painter = QPainter(self)
        ink = self._ink(painter)
        ink.fill(self.rect_u.adjusted(-2, -2, 2, 2), "ground")
        self.draw(ink)
        painter.end()
        self.placed = ink.placed
        self.painted_n = self._n

    def _ink(self, painter: QPainter) -> Ink:
        assert self.theme is not None
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setRenderHint(QPainter.RenderHint.TextAntialiasing)
        painter.translate(-self.x(), -self.y())
        painter.scale(self.scale, self.scale)
        return Ink(painter, self.theme, self.rect_u)

    def draw(self, ink: Ink) -> None:
        self._paint(ink, self.rect_u, self.data)


class GaugeCell(Cell):
    """A channel with its chart: static layer kept as a pixmap, the rest drawn each time."""

    def __init__(self, parent: QWidget, source: Source) -> None:
        super().__init__(parent, lambda _ink, _rect, _data: None)
        self.source = source
        self.static_paints = 0
        self.last_s = 0.0
        self._still: QPixmap | None = None
        self._still_key: object = None
        self._still_placed: list[Placed] = []
        self._outlook: Outlook | None = None

    def draw(self, ink: Ink) -> None:
        start = time.perf_counter()
        cell, chart = self.data
        key = self._key(cell, chart)
        if key != self._still_key or self._still is None:
            self._draw_still(cell, chart)
            self._still_key = key
        assert self._still is not None
        ink.painter.save()
        ink.painter.resetTransform()
        ink.painter.drawPixmap(0, 0, self._still)
        ink.painter.restore()
        ink.placed.extend(self._still_placed)
        gauge.paint_live(ink, self.rect_u, cell, chart, self.source)
        self.last_s = time.perf_counter() - start

    def _key(self, cell: ChannelCell, chart: ChartsCell) -> object:
        assert self.theme is not None
        still = (cell.rungs, cell.top_si, cell.trip_si)
        outlook = self.source.outlook(gauge.name_of(cell)) if chart.band else None
        self._outlook = outlook  # kept, so that its id stays its own
        shape = (chart.frame, chart.burn_s, chart.stamp, chart.band, id(outlook))
        return (self.size(), self.scale, self.rect_u, self.theme.name, still, shape)

    def _draw_still(self, cell: ChannelCell, chart: ChartsCell) -> None:
        ratio = self.devicePixelRatioF()
        self._still = QPixmap(self.size() * ratio)
        self._still.setDevicePixelRatio(ratio)
        painter = QPainter(self._still)
        ink = self._ink(painter)
        ink.fill(self.rect_u.adjusted(-2, -2, 2, 2), "ground")
        gauge.paint_static(ink, self.rect_u, cell, chart, self.source)
        painter.end()
        self._still_placed = ink.placed
        self.static_paints += 1


class ConsoleWindow(QWidget):
    """Shows views; tells key presses, releases and loss of focus to three callbacks."""

    def __init__(self, theme: Theme, source: Source) -> None:
        super().__init__()
        self.setWindowTitle("berm")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.held = HeldKeys()
        self.on_press: Callable[[Key], None] = lambda _key: None
        self.on_release: Callable[[Key], None] = lambda _key: None
        self.on_let_go: Callable[[], None] = lambda: None
        self.on_letter: Callable[[str], None] = lambda _text: None
        self.wants_text: Callable[[], bool] = lambda: False
        self.cells: dict[str, Cell] = {name: Cell(self, paint) for name, paint in WORDS.items()}
        self.gauges = {name: GaugeCell(self, source) for name in ("pressure", "thrust")}
        self._theme = theme
        self._view: View | None = None
        self._pattern = "solid"
        self._skip = False
        self.set_theme(theme)
        self.resize(1366, 768)

    # ---- what is shown -----------------------------------------------------------------------

    @property
    def painted_n(self) -> int:
        """The newest status that stands on the screen with its words."""
        return min(self.cells[name].painted_n for name in PROOF)

    @property
    def placed(self) -> list[Placed]:
        """Every text of the last paint of every cell."""
        return [each for cell in self._all() for each in cell.placed]

    def _all(self) -> list[Cell]:
        return [*self.cells.values(), *self.gauges.values()]

    def set_theme(self, theme: Theme) -> None:
        """Chosen by hand; refused from ARM to release, when nothing may change its look."""
        if self._view is not None and self._view.phase_name not in {"", "SAFE", "INSPECT"}:
            return
        self._theme = theme
        for cell in self._all():
            cell.theme = theme
            cell.update()
        self.update()

    def show_view(self, view: View, now_ns: int) -> None:
        """Hand each cell its part; words first, charts only when there is time for them."""
        self._view = view
        if view.band.pattern != self._pattern:
            self._pattern = view.band.pattern
            self.update()
        lit = not view.alarm.flash or (now_ns // FLASH_NS) % 2 == 0
        parts: dict[str, Any] = {name: getattr(view, name) for name in WORDS if name != "alarm"}
        parts["alarm"] = (view.alarm, lit)
        for name, cell in self.cells.items():
            cell.show_data(parts[name], view.n, always=name in PROOF and cell.painted_n != view.n)
        spent = sum(cell.last_s for cell in self.gauges.values())
        self._skip = spent > SLOW_S and not self._skip
        if not self._skip:
            self.gauges["pressure"].show_data((view.pressure, view.charts), view.n, always=True)
            self.gauges["thrust"].show_data((view.thrust, view.charts), view.n, always=True)

    @property
    def size_ok(self) -> bool:
        return self.width() >= MIN_WINDOW[0] and self.height() >= MIN_WINDOW[1]

    def can_grip(self) -> bool:
        """Whether a grip may count: shown, active, not minimised, not hidden."""
        handle = self.windowHandle()
        is_exposed = handle is not None and handle.isExposed()
        return self.isVisible() and self.isActiveWindow() and not self.isMinimized() and is_exposed

    def resizeEvent(self, _event: QResizeEvent | None) -> None:
        at = layout(self.width(), self.height())
        for name, cell in (*self.cells.items(), *self.gauges.items()):
            cell.place(at, at.cells[name])

    def paintEvent(self, _event: QPaintEvent | None) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        at = layout(self.width(), self.height())
        painter.scale(at.scale, at.scale)
        whole = QRectF(0, 0, at.width, at.height)
        ink = Ink(painter, self._theme, whole)
        ink.fill(whole, "ground")
        if self._pattern != "solid":
            ink.fill(whole, "card")
            top.draw_pattern(ink, whole, self._pattern)
            ink.fill(QRectF(8, 38, at.width - 16, at.height - 44), "ground")
        painter.end()

    # ---- keys --------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent | None) -> None:
        if event is None or event.isAutoRepeat():
            return
        key = position_of(event)
        if key is not None and not self._is_new(key, event.timestamp()):
            return
        if self.wants_text() and key not in {Key.SPACE, Key.ENTER, Key.BACK, Key.UP, Key.DOWN}:
            self.on_letter(event.text())
        elif key is not None:
            self.on_press(key)
        event.accept()

    def keyReleaseEvent(self, event: QKeyEvent | None) -> None:
        if event is None or event.isAutoRepeat():
            return
        key = position_of(event)
        if key is not None:
            self._release(key, event.timestamp())
        event.accept()

    def _is_new(self, key: Key, stamp: int) -> bool:
        """Whether this press counts; Space always does, even if a release of it was never seen."""
        if self.held.overtaken(key, stamp):
            self.on_release(key)
        return self.held.press(key, stamp) or key is Key.SPACE

    def _release(self, key: Key, stamp: int) -> None:
        """At once, but under X11, where a repeat may look like a release for a moment."""
        self.held.release(key, stamp)
        if QGuiApplication.platformName() == "xcb":
            QTimer.singleShot(REPEAT_GRACE_MS, lambda: self._settle(key, stamp))
        else:
            self._settle(key, stamp)

    def _settle(self, key: Key, stamp: int) -> None:
        if self.held.settle(key, stamp):
            self.on_release(key)

    def let_go(self) -> None:
        """Every release counts as let go."""
        self.held.clear()
        self.on_let_go()

    def focusNextPrevChild(self, _next: bool) -> bool:
        return False

    def changeEvent(self, event: QEvent | None) -> None:
        changes = (QEvent.Type.ActivationChange, QEvent.Type.WindowStateChange)
        if event is not None and event.type() in changes and not self.can_grip():
            self.let_go()
        super().changeEvent(event)

    def focusOutEvent(self, _event: Any) -> None:
        self.let_go()

    def hideEvent(self, _event: QHideEvent | None) -> None:
        self.let_go()

    def closeEvent(self, event: QCloseEvent | None) -> None:
        self.let_go()
        super().closeEvent(event)


MEANING: Final = {
    Qt.Key.Key_Space: Key.SPACE,
    Qt.Key.Key_F: Key.F,
    Qt.Key.Key_J: Key.J,
    Qt.Key.Key_P: Key.P,
    Qt.Key.Key_Return: Key.ENTER,
    Qt.Key.Key_Enter: Key.ENTER,
    Qt.Key.Key_Up: Key.UP,
    Qt.Key.Key_Down: Key.DOWN,
    Qt.Key.Key_Right: Key.RIGHT,
    Qt.Key.Key_Backspace: Key.BACK,
    Qt.Key.Key_Period: Key.POINT,
    Qt.Key.Key_Minus: Key.MINUS,
    **{Qt.Key(Qt.Key.Key_0 + n): Key(str(n)) for n in range(10)},
}


def position_of(event: QKeyEvent) -> Key | None:
    """The key by its position; by its meaning only when the event carries no position."""
    is_mac = sys.platform == "darwin"
    code = event.nativeVirtualKey() if is_mac else event.nativeScanCode()
    if code or is_mac:
        return key_at(code, sys.platform)
    return MEANING.get(Qt.Key(event.key())) if event.key() in MEANING else None
