"""From the record to the ledger: what each run was, counted from its facts and never from a form.

A LIT fact, or an outcome that nobody knows, is a firing; a GO that lit nothing is a misfire; a run in
DRY, or one that was armed and given up, is only noted. A rehearsal never reaches the ledger.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from daq.errors import JournalError
from daq.journal.format import RecordType, SegmentFlag
from daq.journal.recover import Reading, Record, read_folder
from daq.ledger.events import Entry
from daq.ledger.store import Ledger

WRITER: Final = "berm, from the record"
REHEARSAL: Final = "REHEARSAL"
UNKNOWN: Final = "unknown"


@dataclass(slots=True, kw_only=True)
class RunSeen:
    """One run as its facts tell it."""

    run: str
    config: dict[str, Any]
    rehearsal: bool
    lit: int = 0
    go: bool = False
    energised: bool = False
    tripped: bool = False
    outcome: str = ""
    peak_pa: float | None = None
    ended: bool = False
    names: set[str] = field(default_factory=set)

    @property
    def mode(self) -> str:
        return REHEARSAL if self.rehearsal else str(self.config.get("mode", ""))

    def take(self, body: dict[str, Any]) -> None:
        """One FACT of the run."""
        fact = body.get("fact")
        self.lit += fact == "LIT"
        self.go |= fact == "GO"
        self.energised |= fact == "LINE_ON"
        self.tripped |= fact == "TRIP"
        if fact == "OUTCOME":
            self.outcome = str(body.get("outcome", ""))
        if fact == "TRIP" and isinstance(body.get("pa"), (int, float)):
            self.peak(float(body["pa"]))

    def peak(self, pressure_pa: float) -> None:
        self.peak_pa = max(self.peak_pa or 0.0, pressure_pa)

    def entry(self) -> tuple[str, dict[str, Any]] | None:
        """Kind and body for the ledger; None for a rehearsal."""
        if self.mode == REHEARSAL:
            return None
        if self.mode == "DRY" and not self.lit:
            return "noted", {"run": self.run, "outcome": "dry"}
        facts: dict[str, Any] = {"run": self.run, "serials": serials_of(self.config)}
        if self.lit or self._unknown:
            word = "aborted" if self.tripped else "burnt"
            facts |= {
                "outcome": self.outcome or (word if self.lit else UNKNOWN),
                "lit": self.lit,
                "over_trip": self.tripped,
            }
            if self.peak_pa is not None:
                facts["peak_pa"] = self.peak_pa
            return "firing", facts
        if self.go or self.energised:
            return "misfire", facts
        return "noted", {"run": self.run, "outcome": self.outcome or "not fired"}

    @property
    def _unknown(self) -> bool:
        """Energy may have been given and nobody saw the end: that counts as a firing."""
        cut_off = not self.ended and (self.go or self.energised)
        return self.outcome == UNKNOWN or cut_off


def serials_of(config: dict[str, Any]) -> list[str]:
    """Every part with a serial that the settings of a CONFIG name, casing first."""
    settings = config.get("settings", {})
    casing, motor = settings.get("casing", {}), settings.get("motor", {})
    found = [casing.get("serial"), motor.get("nozzle_serial")]
    for group in ("joints", "closures", "threaded_ends", "rings", "carriers"):
        found += [part.get("serial") for part in casing.get(group, ())]
    found += [seal.get("lot") for seal in casing.get("seals", ())]
    return list(dict.fromkeys(str(serial) for serial in found if serial)) or ["unknown"]


def runs_in(reading: Reading) -> list[RunSeen]:
    """Every run that begins in a record, in order."""
    rehearsal = {
        segment.header.ordinal
        for segment in reading.segments
        if segment.header is not None and segment.header.flags & SegmentFlag.REHEARSAL
    }
    return list(_runs(reading.records, rehearsal))


def _runs(records: Iterable[Record], rehearsal: set[int]) -> Iterator[RunSeen]:
    config: dict[str, Any] = {}
    run: RunSeen | None = None
    for record in records:
        body = _body(record)
        if record.kind == RecordType.CONFIG:
            config = body
        elif record.kind == RecordType.RUN and body.get("run") == "begin":
            if run is not None:
                yield run
            run = RunSeen(
                run=str(body.get("id", "")), config=config, rehearsal=record.ordinal in rehearsal
            )
        elif run is None:
            continue
        elif record.kind == RecordType.FACT:
            run.take(body)
        elif record.kind == RecordType.STATUS:
            _status(run, body)
        elif record.kind == RecordType.RUN and body.get("run") == "end":
            run.ended = True
            yield run
            run = None
    if run is not None:
        yield run


def _status(run: RunSeen, body: dict[str, Any]) -> None:
    pressure = body.get("pressure")
    most = pressure.get("max_pa") if isinstance(pressure, dict) else None
    if run.lit and isinstance(most, (int, float)):
        run.peak(float(most))


def _body(record: Record) -> dict[str, Any]:
    if record.kind not in _READ:
        return {}
    try:
        body = record.json()
    except ValueError:
        return {}
    return body if isinstance(body, dict) else {}


_READ: Final = (RecordType.CONFIG, RecordType.RUN, RecordType.FACT, RecordType.STATUS)


def runs_of_site(site: Path, known: Iterable[str] = ()) -> list[RunSeen]:
    """Every run of a site that is not known: from the journal, else from its sealed copy."""
    seen: dict[str, RunSeen] = {}
    skip = set(known)
    folders = [site / "journal"]
    folders += sorted(p for p in (site / "runs").glob("*") if p.is_dir() and p.name not in skip)
    for folder in folders:
        if not folder.is_dir():
            continue
        try:
            reading = read_folder(folder)
        except (JournalError, OSError):
            continue
        for run in runs_in(reading):
            if run.run not in skip and (run.run not in seen or run.lit > seen[run.run].lit):
                seen[run.run] = run
    return list(seen.values())


def close_runs(site: Path, ledger: Ledger, *, still_open: Iterable[str] = ()) -> list[Entry]:
    """Write what is not in the ledger yet; the same run is written once, whoever asks."""
    written = []
    known = ledger.fold().runs | set(still_open)
    for run in runs_of_site(site, known):
        told = run.entry()
        if told is not None:
            kind, facts = told
            written.append(ledger.add(kind, facts, WRITER, name=f"run/{run.run}"))
    return written


def unreconciled(site: Path, ledger: Ledger) -> list[str]:
    """Runs of the record that the ledger does not know."""
    return [run.run for run in runs_of_site(site, ledger.fold().runs) if run.mode != REHEARSAL]
