"""`berm rate`: the rating and the trip of an assembly, with every subtraction on its own line."""

import argparse
import json
import tempfile
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from daq.assembly.conventions import conventions_text
from daq.assembly.movement import Movement, movements
from daq.assembly.rating import Rating
from daq.assembly.rating import rate as rated
from daq.assembly.redline import Redline, redline_of
from daq.assembly.sheet import (
    movement_text,
    rating_json,
    rating_text,
    redline_json,
    redline_text,
)
from daq.assembly.standoff import LocalRule, LocalRules, charge_of, standoff_text
from daq.channels.calibration import calibrations
from daq.ledger.standing import standing_of
from daq.ledger.store import NAME
from daq.settings import Settings, load_settings
from daq.settings_casing import Casing
from daq.settings_demo import demo_settings
from daq.settings_table import as_json, read_one

LOCAL_RULES = "local_rules.toml"
NO_TRIP = (
    "No trip: it belongs to a stand and a motor. Give --site DIR, or --stand for an example stand."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What `berm rate` shows; `redline` is None where there is no stand and no motor."""

    casing: Casing
    rating: Rating
    redline: Redline | None
    moves: tuple[Movement, ...]
    standoff: str = ""
    barred: tuple[str, ...] = ()

    @property
    def refusals(self) -> tuple[str, ...]:
        if self.redline:
            return self.redline.refusals + self.barred
        return self.rating.refusals + tuple(t for move in self.moves for t in move.refusals)

    def text(self) -> str:
        trip = redline_text(self.redline) if self.redline else NO_TRIP
        barred = "\n".join(f"BARRED by the ledger: {why}" for why in self.barred)
        parts = (rating_text(self.rating), trip, movement_text(self.moves), self.standoff, barred)
        return "\n\n".join(part for part in parts if part)

    def to_json(self) -> dict[str, Any]:
        """Plain values in SI."""
        return {
            "rating": rating_json(self.rating),
            "redline": redline_json(self.redline) if self.redline else None,
            "movement": [as_json(move) for move in self.moves],
            "refusals": list(self.refusals),
        }


def sheet_of(assembly: Path | None, site: Path | None, stand: str | None) -> Sheet:
    """The sheet of a casing file, of a site, or of one on the stand of the other."""
    casing = read_one(assembly, Casing) if assembly else None
    if site is None and stand is None and casing is not None:
        rating = rated(casing)
        moves = movements(casing, rating.allowable_pa)
        return Sheet(casing=casing, rating=rating, redline=None, moves=moves)
    settings = _settings(site, stand)
    if casing:
        settings = replace(settings, casing=casing)
    barred: tuple[str, ...] = ()
    if site is not None and (site / NAME).is_file():
        standing = standing_of(site, settings, datetime.now(UTC).date())
        settings, barred = standing.settings, standing.barred
    return replace(full_sheet(settings, _local_rules(site)), barred=barred)


def _local_rules(site: Path | None) -> tuple[LocalRule, ...]:
    path = site / "settings" / LOCAL_RULES if site else None
    return read_one(path, LocalRules).rules if path and path.is_file() else ()


def _settings(site: Path | None, stand: str | None) -> Settings:
    if site is not None:
        return load_settings(site / "settings")
    with tempfile.TemporaryDirectory() as folder:
        return load_settings(demo_settings(stand or "fast", Path(folder) / "settings"))


def full_sheet(settings: Settings, local: tuple[LocalRule, ...] = ()) -> Sheet:
    """Rating, trip, movement at the trip and stand-off."""
    rating = rated(settings.casing)
    red = redline_of(settings, rating, calibrations(settings.stand))
    moves = movements(settings.casing, red.trip_pa)
    charge = charge_of(settings, rating.rated_burst_pa)
    return Sheet(
        casing=settings.casing,
        rating=rating,
        redline=red,
        moves=moves,
        standoff=standoff_text(charge, local),
    )


def rate(wanted: argparse.Namespace) -> int:
    """Print the sheet; 3 when arming would be refused."""
    if wanted.conventions:
        print(conventions_text())
        return 0
    sheet = sheet_of(wanted.assembly, wanted.site, wanted.stand)
    print(json.dumps(sheet.to_json(), indent=1) if wanted.json else sheet.text())
    return 3 if sheet.refusals else 0
