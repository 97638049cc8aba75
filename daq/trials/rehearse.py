"""`berm rehearse`: one whole firing with the live code path on the simulated stand.

Stand, engine and scripted crew are three processes; the terminal view or the window is a fourth
party that looks through the engine's socket, as it does on the day. The folder that comes out is a
site of its own: settings, journal, the sealed run, and beside them `result.json`, the picture, and
the stand's own `truth.json` and `pins.csv`, which nothing but tests and the debrief read.
"""

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from daq.console.client import EngineClient
from daq.console.terminal import watch
from daq.engine.plan import REHEARSAL
from daq.errors import ConfigError
from daq.settings import Settings, load_settings
from daq.settings_demo import demo_settings
from daq.trials.processes import Helper
from simulators import scenarios_io
from simulators.control_client import StandControl
from simulators.scenarios_io import Scenario
from simulators.site import start_message

DEADLINE_S: Final = 150.0
PERSON_S: Final = 7200.0
CREW_VALUES: Final[dict[str, Any]] = {
    "heads_in": 4,
    "permit": "R-2026-14 (rehearsal)",
    "wind_m_s": 2.4,
    "humidity_percent": 55,
    "key_with": "pad lead",
    "stray_leads_a": 0.001,
    "stray_earth_a": 0.002,
    "surprises": "nothing",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the command line asks for."""

    scenario: str = "nominal"
    stand: str = "fast"
    out: Path | None = None
    auto: bool = False
    headless: bool = False
    seed: int = 1
    port_kind: str = "pty"
    dark: bool = False


@dataclass(slots=True)
class Played:
    """What is known when the processes have ended."""

    folder: Path
    scenario: Scenario
    crew: dict[str, Any] = field(default_factory=dict)
    engine: dict[str, Any] = field(default_factory=dict)
    wall_s: float = 0.0


def has_display() -> bool:
    """Whether a window could be shown here: a display, and Qt with the libraries it needs."""
    return has_screen() and not window_trouble()


def window_trouble() -> str:
    """Why Qt cannot be used on this machine, "" if it can."""
    try:
        from PyQt6 import QtWidgets
    except ImportError as fault:
        return f"no window: {fault} (pip install 'berm[console]', and the libraries it names)"
    del QtWidgets
    return ""


def has_screen() -> bool:
    """Whether this session has a display."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def new_folder(wanted: Wanted) -> Path:
    """The folder of this rehearsal; it must be new or empty, nothing is ever overwritten."""
    if wanted.out is None:
        stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
        folder = Path("rehearsals") / f"{wanted.scenario}-{stamp}"
    else:
        folder = wanted.out
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ConfigError(
            f"--out {folder}: expected a new or empty folder, got one with files in it"
        )
    folder.mkdir(parents=True, exist_ok=True)
    return folder.resolve()


def prepared(wanted: Wanted, folder: Path) -> Settings:
    """The demo settings of the wanted stand, in the folder of this rehearsal."""
    demo_settings(wanted.stand, folder / "settings")
    return load_settings(folder / "settings")


def welcome(settings: Settings) -> str:
    """What the person at the window has to know."""
    conductor = settings.crew.with_role("TC")[0]
    return (
        f"REHEARSAL. You are {conductor.name}, test conductor; your code is {conductor.code}.\n"
        "The scripted crew signs its own lines, moves key and plugs, and answers the poll.\n"
        "Enter signs the blue frame; F and J together from T−3 s; Space is SAFE or ABORT, always."
    )


def load_scenario(name: str) -> Scenario:
    """ConfigError with the known names if there is none of this name."""
    try:
        return scenarios_io.load(name)
    except ValueError as fault:
        raise ConfigError(str(fault)) from fault


def play(wanted: Wanted) -> Played:
    """Start everything, watch it to its end, end everything."""
    scenario = load_scenario(wanted.scenario)
    folder = new_folder(wanted)
    settings = prepared(wanted, folder)
    played = Played(folder=folder, scenario=scenario)
    started = time.monotonic()
    if has_screen() and not wanted.headless and window_trouble():
        print(window_trouble())
    person = not (wanted.auto or wanted.headless) and has_display()
    with running(wanted, settings, played, person=person) as (socket, crew):
        if wanted.headless or not has_display():
            _watch_in_terminal(socket, crew)
        else:
            if not wanted.auto:
                print(welcome(settings))
            _watch_in_window(socket, wanted, crew)
        played.crew = crew.line(1.0)
    played.wall_s = time.monotonic() - started
    return played


@contextlib.contextmanager
def running(
    wanted: Wanted, settings: Settings, played: Played, *, person: bool = False
) -> Iterator[tuple[str, Helper]]:
    """The three processes; whatever happens inside, none is left over. `person`: the conductor
    sits at the window and the scripted crew only answers.
    """
    folder = played.folder
    log = folder / "processes.log"
    message = start_message(
        settings.to_json(), out_dir=str(folder), seed=wanted.seed, port=wanted.port_kind
    )
    stand = Helper("simulators.stand", played.scenario.apply(message), log)
    helpers = [stand]
    try:
        hello = stand.answer()
        (folder / "control.txt").write_text(f"{hello['control']}\n", encoding="utf-8")
        order = {
            "site": str(folder),
            "mode": REHEARSAL,
            "port": hello["port"],
            "control": hello["control"],
        }
        engine = Helper("daq.engine.main", order, log, own_session=True)
        helpers.append(engine)
        serving = engine.answer()
        crew = Helper(
            "simulators.crew", _crew_order(settings, played, hello, serving, person=person), log
        )
        helpers.append(crew)
        yield str(serving["socket"]), crew
        crew.end(5.0)
        played.engine = engine.line(20.0)
        engine.end(10.0)
        _end_stand(hello["control"], stand)
    finally:
        for helper in helpers:
            helper.kill()


def _crew_order(
    settings: Settings,
    played: Played,
    hello: dict[str, Any],
    serving: dict[str, Any],
    *,
    person: bool,
) -> dict[str, Any]:
    return {
        "socket": serving["socket"],
        "control": hello["control"],
        "people": [
            {"name": person.name, "roles": list(person.roles), "code": person.code}
            for person in settings.crew.people
        ],
        "script": dict(played.scenario.crew),
        "values": {**CREW_VALUES, "check_load_n": settings.rules.check_load_n},
        "conductor": not person,
        "deadline_s": PERSON_S if person else DEADLINE_S,
    }


def _end_stand(control: str, stand: Helper) -> None:
    with contextlib.suppress(OSError, ValueError), StandControl(control) as client:
        client.end()
    stand.end(10.0)


def _watch_in_terminal(socket: str, crew: Helper) -> None:
    client = EngineClient(socket, who="terminal", control=False)
    try:
        watch(client, sys.stdout, stop=lambda _view: not crew.is_running)
    finally:
        client.close()


def _watch_in_window(socket: str, wanted: Wanted, crew: Helper) -> None:
    """The window; it closes by itself a few seconds after the crew is done."""
    from daq.console.app import run_console

    plays = not wanted.auto
    run_console(
        socket,
        theme="dark" if wanted.dark else "light",
        control=plays,
        stop=lambda: not crew.is_running,
    )
