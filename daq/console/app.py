"""The console process: socket to the engine, fold, window, beat. `run_console` is the entry.

Two timers in the GUI thread: one reads the socket and shows the newest view, one sends the beat
every 50 ms. The beat carries the number of the status that was really painted and whether both keys
are held; it lives in this thread on purpose, so that a frozen window is a silent one.
"""

import sys
import time
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtWidgets import QApplication

from daq.console.client import EngineClient
from daq.console.cues import Cues
from daq.console.desk import Desk
from daq.console.keys import Key
from daq.console.moment import Local
from daq.console.recorded import JournalSource, follow
from daq.console.sound import Player
from daq.console.source import NoSource, Source
from daq.console.state import Fold
from daq.console.tokens import THEMES, Theme
from daq.console.view import View
from daq.console.window import ConsoleWindow
from daq.journal.follower import Follower
from daq.journal.format import RecordType

BEAT_MS: Final = 50
READ_MS: Final = 15
LEAST_REDRAW_NS: Final = 50_000_000
Size = tuple[int, int]


class Console:
    """One window on one engine. `clock`: monotonic nanoseconds of this process."""

    def __init__(
        self,
        client: EngineClient,
        *,
        theme: Theme,
        source: Source | None = None,
        player: Player | None = None,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self.client = client
        self.fold = Fold()
        self.desk = Desk()
        self.source: Source = source or NoSource()
        self.window = ConsoleWindow(theme, self.source)
        self.view: View | None = None
        self._clock = clock
        self._cues = Cues()
        self._player = player
        self._shown_ns = 0
        self._follows_journal = source is None
        window = self.window
        window.on_press, window.on_release = self.press, self.desk.release
        window.on_let_go, window.on_letter = self.desk.let_go, self.letter
        window.wants_text = lambda: self.desk.wants_text
        self._timers = [self._timer(READ_MS, self.read), self._timer(BEAT_MS, self.beat)]

    def _timer(self, every_ms: int, act: Callable[[], None]) -> QTimer:
        timer = QTimer()
        timer.setTimerType(Qt.TimerType.PreciseTimer)
        timer.timeout.connect(act)
        timer.setInterval(every_ms)
        return timer

    def start(self) -> None:
        """Show the window and start the timers."""
        self.window.show()
        self.read()
        for timer in self._timers:
            timer.start()

    def stop(self) -> None:
        for timer in self._timers:
            timer.stop()
        self.client.close()
        self.source.close()

    def read(self) -> None:
        """Newest status in, view out; repainted at each status and at least every 50 ms."""
        status = self.client.poll()
        now_ns = self._clock()
        if status is not None:
            self.fold.take(status, now_ns)
            self._follow_journal(status)
        while self.client.replies:
            self.desk.reply(self.client.replies.popleft())
        if status is None and now_ns - self._shown_ns < LEAST_REDRAW_NS:
            return
        self._shown_ns = now_ns
        self.source.poll()
        self.show(now_ns)

    def show(self, now_ns: int) -> None:
        """Fold and paint."""
        self.desk.size_ok = self.window.size_ok
        self.desk.watching = self.client.in_control is False
        local = self.desk.follow(self.fold.moment(now_ns, Local()), now_ns)
        self.view = self.fold.view(now_ns, local)
        self.window.show_view(self.view, now_ns)
        if self._player is not None:
            self._player.play(self._cues.of(self.view, now_ns))

    def beat(self) -> None:
        """The sign of life; the grip counts only while this window is shown and active."""
        if not self.window.can_grip():
            self.window.let_go()
        self.client.beat(grip=self.desk.hands.gripped, painted_n=self.window.painted_n)

    def press(self, key: Key) -> None:
        """A key went down: wishes go out before anything is painted."""
        now_ns = self._clock()
        for wish in self.desk.press(key, now_ns, self._moment(now_ns)):
            self.client.wish(wish)
        if key in {Key.F, Key.J}:
            self.beat()
        self.show(now_ns)

    def letter(self, text: str) -> None:
        now_ns = self._clock()
        self.desk.letter(text, self._moment(now_ns))
        self.show(now_ns)

    def _moment(self, now_ns: int) -> Any:
        local = self.desk.follow(self.fold.moment(now_ns, Local()), now_ns)
        return self.fold.moment(now_ns, local)

    def _follow_journal(self, status: Mapping[str, Any]) -> None:
        """Charts come from the record that the status names."""
        journal = status.get("journal")
        session = journal.get("session") if isinstance(journal, Mapping) else None
        if isinstance(session, int):
            self.source.adopt(session)
        folder = journal.get("folder") if isinstance(journal, Mapping) else None
        if self._follows_journal and isinstance(folder, str) and Path(folder).is_dir():
            self._follows_journal = False
            self.source = follow(Path(folder))
            for cell in self.window.gauges.values():
                cell.source = self.source


@lru_cache(maxsize=1)
def application() -> QApplication:
    """The one QApplication of this process, kept alive."""
    found = QApplication.instance()
    if isinstance(found, QApplication):
        return found
    return QApplication(sys.argv[:1])


def run_console(
    socket: Path | str,
    *,
    theme: str = "light",
    size: Size | None = None,
    scripted: Callable[[Console], None] | None = None,
    control: bool = True,
    stop: Callable[[], bool] | None = None,
) -> int:
    """Open the window on a running engine until it is closed; the exit code.

    `size` in pixels (None: the whole screen). `scripted` is called once the window stands, with the
    console: a rehearsal can press keys there. `control` false only watches (a crew is in control);
    `stop` is asked each second and closes the window.
    """
    app = application()
    client = EngineClient(socket, control=control)
    console = Console(client, theme=THEMES[theme], player=Player())
    if size is None:
        console.window.setWindowState(Qt.WindowState.WindowFullScreen)
    else:
        console.window.resize(*size)
    console.start()
    if scripted is not None:
        scripted(console)
    ender = QTimer()
    ender.timeout.connect(lambda: app.quit() if stop is not None and stop() else None)
    ender.start(1000)
    try:
        return int(app.exec())
    finally:
        console.stop()


def shot(
    view: View, path: Path, *, theme: Theme, size: Size, source: Source | None = None
) -> ConsoleWindow:
    """Paint one view into a PNG; the window that painted it."""
    app = application()
    window = ConsoleWindow(theme, source or NoSource())
    window.resize(*size)
    window.show()
    window.show_view(view, 0)
    app.processEvents()
    window.grab().save(str(path))
    return window


def journal_shots(
    journal: Path, out_dir: Path, *, themes: Sequence[str] = ("light",), size: Size = (1366, 768)
) -> list[Path]:
    """One PNG per phase and theme of a recorded journal: the screen as it stood at its end."""
    out_dir.mkdir(parents=True, exist_ok=True)
    source, fold = JournalSource(follower=Follower(journal)), Fold()
    made: list[Path] = []
    before = ""
    seen_ns = 0

    def shoot() -> None:
        number = len(made) // len(themes) + 1
        for theme in themes:
            path = out_dir / f"{number:02d}-{before}-{theme}.png"
            shot(fold.view(seen_ns), path, theme=THEMES[theme], size=size, source=source).close()
            made.append(path)

    while records := source.follower.poll():
        for record in records:
            if record.kind == RecordType.STATUS:
                status = record.json()
                if before not in {"", status.get("phase")}:
                    shoot()
                before, seen_ns = str(status.get("phase")), record.host_ns
                fold.take(status, seen_ns)
            else:
                source.take(record)
    if before:
        shoot()
    source.close()
    return made


def render_shots(
    out_dir: Path,
    statuses: Sequence[tuple[str, Mapping[str, Any]]],
    *,
    themes: Sequence[str] = ("light", "dark"),
    size: Size = (1366, 768),
) -> list[Path]:
    """One PNG per named status and theme, for `berm console --shots`; the files written."""
    out_dir.mkdir(parents=True, exist_ok=True)
    made = []
    for name, status in statuses:
        fold = Fold()
        fold.take(status, 0)
        for theme in themes:
            path = out_dir / f"{name}-{theme}.png"
            shot(fold.view(0), path, theme=THEMES[theme], size=size).close()
            made.append(path)
    return made
