"""`berm check`: what works on this machine and in this site, one line each, and every setting shown back.

A line that is not in order names the next step. 0 when everything a rehearsal needs is there and,
with a site, its settings hold and its rating clears; 1 otherwise.
"""

import importlib.util
import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from daq.assembly.rating import rate
from daq.assembly.redline import redline_of
from daq.channels.calibration import calibrations
from daq.procedure.checklist import load_checklist
from daq.settings import load_settings
from daq.stand.power import free_bytes, read_power


class Line(NamedTuple):
    """One thing that was looked at; `needed` decides about the exit code."""

    name: str
    works: bool
    text: str
    needed: bool = True


def check(site: Path | None, *, settings_shown: bool) -> int:
    """Print the lines; with a site also the settings, in both unit systems if asked."""
    lines = [*_machine(), *(_site(site) if site is not None else ())]
    for line in lines:
        mark = "works" if line.works else "MISSING" if line.needed else "not here"
        print(f"{line.name:14} {mark:9} {line.text}")
    if site is not None and settings_shown:
        print()
        for name, text in load_settings(site / "settings").shown():
            print(f"{name:48} {text}")
    return 0 if all(line.works or not line.needed for line in lines) else 1


def _machine() -> Iterator[Line]:
    version = ".".join(str(part) for part in sys.version_info[:3])
    yield Line("Python", sys.version_info >= (3, 11), f"{version}, 3.11 or newer is needed")
    yield _package("window", "PyQt6", "pip install 'berm[console]'; without it the terminal view")
    yield _package("pictures", "matplotlib", "pip install 'berm[report]'; without it no picture")
    has_unix = hasattr(socket, "AF_UNIX")
    yield Line("engine socket", has_unix, "Unix sockets" if has_unix else "this system has none")
    has_pty = importlib.util.find_spec("pty") is not None and os.name == "posix"
    yield Line("simulated port", True, "pseudo-terminal" if has_pty else "loopback port (--tcp)")
    yield _ports()
    power = read_power()
    yield Line("power", power.is_enough, power.text, needed=False)
    free = free_bytes(Path())
    yield Line("disk here", free > 1 << 30, f"{free / 1e9:.1f} GB free")


def _package(name: str, module: str, how: str) -> Line:
    there = importlib.util.find_spec(module) is not None
    return Line(name, there, module if there else how, needed=False)


def _ports() -> Line:
    from serial.tools import list_ports

    found = [port.device for port in list_ports.comports()]
    locked = [name for name in found if not os.access(name, os.R_OK | os.W_OK)]
    if locked:
        return Line(
            "serial ports",
            False,
            f"no permission for {', '.join(locked)}: join its group",
            needed=False,
        )
    return Line("serial ports", bool(found), ", ".join(found) or "none found", needed=False)


def _site(site: Path) -> Iterator[Line]:
    settings = load_settings(site / "settings")
    yield Line("settings", True, "five files read and checked")
    checklist = load_checklist(site / "settings" / "checklist.toml")
    gaps = checklist.gaps(settings.crew)
    yield Line("checklist", not gaps, " ".join(gaps) or f"{len(checklist.lines)} lines")
    red = redline_of(settings, rate(settings.casing), calibrations(settings.stand))
    text = (
        "; ".join(red.refusals)
        or f"trip {red.trip_pa / 1e6:.2f} MPa, margin {red.margin_pa / 1e6:+.2f} MPa"
    )
    yield Line("rating", not red.refusals, text)
    writable = os.access(site, os.W_OK)
    yield Line("site folder", writable, "can be written" if writable else "cannot be written")
