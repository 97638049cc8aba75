"""`berm run`, `berm console`, `berm new-site`: the same program on a real serial device.

`run` starts the engine in a session of its own and opens the window beside it. The window may be
closed and opened again; the engine ends only in SAFE, by Ctrl-C here or by the crew.
"""

import argparse
import contextlib
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any, Final

from daq.console.client import EngineClient
from daq.console.terminal import watch
from daq.engine.plan import DRY, REAL_STAND
from daq.errors import ConfigError
from daq.settings import load_settings
from daq.settings_demo import demo_settings
from daq.trials.evening import report_run
from daq.trials.parts import close_site
from daq.trials.processes import Helper
from daq.trials.rehearse import has_display

CAUTION: Final = (
    "This drives an igniter beside a pressure vessel. Local law, the range's own code and the\n"
    "licensed person on site come first. The key stays with the person in danger. An abort opens\n"
    "the igniter line; a motor that burns, burns on."
)


def new_site(folder: Path, stand: str) -> int:
    """Make a site: settings from the examples, to be replaced by the crew's own numbers."""
    if folder.exists() and any(folder.iterdir()):
        raise ConfigError(f"new-site {folder}: expected a new or empty folder, got one with files")
    demo_settings(stand, folder / "settings")
    for name in ("journal", "runs"):
        (folder / name).mkdir(parents=True, exist_ok=True)
    print(f"{folder}: settings of the example stand {stand!r}, invented numbers.")
    print("Replace every one of them by your own, measured; then: berm rate --site", folder)
    return 0


def run(wanted: argparse.Namespace) -> int:
    """Start the engine on the real stand, show it, and report the run when it has ended."""
    site = wanted.site.resolve()
    settings = load_settings(site / "settings")
    port = wanted.port or settings.stand.port.device
    if not port:
        raise ConfigError("run: expected --port DEVICE or [port] device in stand.toml, got neither")
    print(CAUTION)
    close_site(site)
    order: dict[str, Any] = {
        "site": str(site),
        "mode": DRY if wanted.dry else REAL_STAND,
        "port": port,
        "second": str(wanted.second) if wanted.second else None,
        "mirror": str(wanted.mirror) if wanted.mirror else None,
    }
    engine = Helper("daq.engine.main", order, site / "engine.log", own_session=True)
    serving = engine.answer()
    try:
        _show(str(serving["socket"]), engine, wanted)
    finally:
        _until_ended(engine, site)
    ended = engine.line(20.0)
    code = engine.end(10.0)
    close_site(site)
    return _report(site, ended, code)


def _show(socket: str, engine: Helper, wanted: argparse.Namespace) -> None:
    """The window, or the terminal view; Ctrl-C leaves the view, not the engine."""
    with contextlib.suppress(KeyboardInterrupt):
        if wanted.headless or not has_display():
            client = EngineClient(socket, who="terminal", control=False)
            watch(client, sys.stdout, stop=lambda _view: not engine.is_running)
        else:
            from daq.console.app import run_console

            run_console(socket, theme="dark" if wanted.dark else "light")


def _until_ended(engine: Helper, site: Path) -> None:
    """The engine outlives its views: Ctrl-C asks it to end, and it does so in SAFE only."""
    if engine.is_running:
        print(f"The engine runs on. Window again: berm console --site {site}")
        print("Ctrl-C here asks it to end; it ends in SAFE only.")
    while engine.is_running:
        try:
            time.sleep(0.2)
        except KeyboardInterrupt:
            os.kill(engine.pid, signal.SIGINT)


def _report(site: Path, ended: dict[str, Any], code: int) -> int:
    if ended.get("fault"):
        print(f"berm run: {ended['fault']}", file=sys.stderr)
        return code or 3
    folder = site / "runs" / str(ended.get("run_id", ""))
    if folder.is_dir():
        report_run(folder, folder)
    return code


def console(wanted: argparse.Namespace) -> int:
    """Open the window on the engine that runs on this site."""
    from daq.console.app import run_console

    lock = wanted.site / "engine.lock"
    if not lock.is_file():
        raise ConfigError(f"console: expected a running engine on {wanted.site}, got none")
    lines = lock.read_text(encoding="utf-8").splitlines()
    if not lines or not Path(lines[0]).exists():
        raise ConfigError(f"console: the engine of {wanted.site} is not running")
    return run_console(lines[0], theme="dark" if wanted.dark else "light")
