"""`berm rate`: the rating and the trip of an assembly, with every subtraction on its own line."""

import json
import tempfile
from pathlib import Path

from daq.assembly.movement import movements
from daq.assembly.rating import rate as rated
from daq.assembly.redline import redline_of
from daq.assembly.sheet import (
    movement_text,
    rating_json,
    rating_text,
    redline_json,
    redline_text,
)
from daq.channels.calibration import calibrations
from daq.settings import load_settings
from daq.settings_demo import demo_settings


def rate(site: Path | None, stand: str, *, as_json: bool) -> int:
    """Print the sheet; 3 when arming would be refused."""
    if site is not None:
        return _rate(site / "settings", as_json=as_json)
    with tempfile.TemporaryDirectory() as folder:
        return _rate(demo_settings(stand, Path(folder) / "settings"), as_json=as_json)


def _rate(folder: Path, *, as_json: bool) -> int:
    settings = load_settings(folder)
    rating = rated(settings.casing)
    red = redline_of(settings, rating, calibrations(settings.stand))
    moves = movements(settings.casing, red.trip_pa)
    if as_json:
        print(json.dumps({"rating": rating_json(rating), "redline": redline_json(red)}, indent=1))
    else:
        print("\n\n".join((rating_text(rating), redline_text(red), movement_text(moves))))
    return 3 if red.refusals else 0
