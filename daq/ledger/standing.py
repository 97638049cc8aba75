"""What the ledger says to a set-up before it may be armed: runs not closed, parts barred, life seen."""

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, Final

from daq.ledger.closing import serials_of, unreconciled
from daq.ledger.events import LedgerError
from daq.ledger.fold import Part
from daq.ledger.store import NAME, Ledger
from daq.settings import Settings
from daq.settings_casing import Casing, Heat

TYPES: Final = {
    "joints": "fastener set",
    "closures": "closure",
    "threaded_ends": "closure",
    "rings": "closure",
    "carriers": "closure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Settings with the life the ledger knows of, and what bars the arming."""

    settings: Settings
    unreconciled: tuple[str, ...]
    barred: tuple[str, ...]


def standing_of(site: Path, settings: Settings, today: date) -> Standing:
    """Read the ledger of a site; it is never written here. No ledger bars, as a broken one does."""
    if not (site / NAME).is_file():
        none = "this site has no ledger of its parts: berm ledger start --site DIR --by NAME"
        return Standing(settings=settings, unreconciled=(), barred=(none,))
    try:
        with Ledger(site) as ledger:
            wrong = ledger.verify()
            if wrong:
                bad = f"the ledger does not hold: {wrong[0]}"
                return Standing(settings=settings, unreconciled=(), barred=(bad,))
            fold, left = ledger.fold(), unreconciled(site, ledger)
    except LedgerError as fault:
        return Standing(settings=settings, unreconciled=(), barred=(str(fault),))
    serials = serials_of({"settings": settings.to_json()})
    casing = with_life(settings.casing, fold.part(settings.casing.serial))
    return Standing(
        settings=replace(settings, casing=casing),
        unreconciled=tuple(left),
        barred=tuple(fold.barred(serials, today)),
    )


def with_life(casing: Casing, part: Part) -> Casing:
    """The casing with the worse of what its file and the ledger say of its history."""
    history = casing.history
    voided = part.failed_proof or part.over_trip_at > part.proof_at
    peaks = history.peaks_pa + tuple(part.peaks_pa) if history.wear_peak_pa else history.peaks_pa
    return replace(
        casing,
        history=replace(
            history,
            firings_seen=max(history.firings_seen, part.firings),
            proof_tested=history.proof_tested and not voided,
            peaks_pa=peaks,
            heats=history.heats + tuple(Heat(at_k=at, for_s=for_s) for at, for_s in part.heats),
        ),
    )


def first_parts(settings: Settings) -> list[dict[str, Any]]:
    """The `made` entries of everything with a serial that the settings name."""
    casing, history = settings.casing, settings.casing.history
    rules = {"firings_allowed": history.firings_allowed, "firings_before": history.firings_seen}
    parts = [{"serial": casing.serial, "type": "casing", "rules": rules}]
    parts.append({"serial": settings.motor.nozzle_serial, "type": "nozzle", "rules": {}})
    for group, kind in TYPES.items():
        parts += [{"serial": p.serial, "type": kind, "rules": {}} for p in getattr(casing, group)]
    parts += [{"serial": seal.lot, "type": "seal lot", "rules": {}} for seal in casing.seals]
    return list({part["serial"]: part for part in parts}.values())
