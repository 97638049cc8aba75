"""From entries to the state of every part: a pure fold, and the rules that bar a part.

Corrections first: an entry that a correction names counts with the correction's body, or not at all
where that has none. A retirement cannot be corrected, and no entry brings a part back.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final, NamedTuple

Facts = dict[str, Any]


class Told(NamedTuple):
    """One entry as the fold sees it: in order, with its body read."""

    id: str
    utc: str
    kind: str
    facts: Facts


class Reading(NamedTuple):
    """One measured value of a part, in SI (`unit` says which)."""

    at: int
    utc: str
    what: str
    value: float
    unit: str
    when: str


@dataclass(slots=True, kw_only=True)
class Part:
    """One part as its entries left it. Positions (`..._at`) count the entries of the fold."""

    serial: str
    type: str = "unknown"
    rules: Facts = field(default_factory=dict)
    firings: int = 0
    cycles: int = 0
    peaks_pa: list[float] = field(default_factory=list)
    heats: list[tuple[float, float]] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    cycle_at: int = -1
    inspected_at: int = -1
    inspection_passed: bool = True
    proof_at: int = -1
    proof_passed: bool | None = None
    failed_proof: bool = False
    over_trip_at: int = -1
    retired: str = ""
    anomalies: dict[str, str] = field(default_factory=dict)
    calibrated_until: str = ""
    calibration_lost: str = ""

    def barred(self, today: date) -> list[str]:
        """Why this part may not be chosen, in sentences; empty when it may."""
        return [f"{self.type} {self.serial}: {why}" for why in self._reasons(today)]

    def _reasons(self, today: date) -> Iterable[str]:
        if self.type == "unknown":
            yield "is not in the ledger as a made part"
        if self.retired:
            yield f"is retired ({self.retired}); that is final"
        if self.failed_proof:
            yield "has failed a proof test and is never used again"
        if self.over_trip_at > self.proof_at:
            yield "has been over the trip: quarantined until it passes a proof test"
        allowed = self.rules.get("firings_allowed")
        if isinstance(allowed, int) and self.firings >= allowed:
            yield f"{self.firings} firings seen, {allowed} allowed"
        for text in self.anomalies.values():
            yield f"an anomaly is open: {text}"
        if not self.inspection_passed:
            yield "did not pass its last inspection"
        elif self.type in ("casing", "nozzle", "closure") and self.cycle_at > self.inspected_at:
            yield "has not been inspected since its last cycle"
        yield from self._grown()
        if self.calibration_lost:
            yield f"its calibration is lost: {self.calibration_lost}"
        elif self.calibrated_until and date.fromisoformat(self.calibrated_until) < today:
            yield f"its calibration ended on {self.calibrated_until}"

    def _grown(self) -> Iterable[str]:
        """Growth past its limit: a throat voids the prediction, a tube or a hole retires."""
        for what, limit in _LIMITS.items():
            allowed = self.rules.get(limit)
            share = self.growth(what)
            if isinstance(allowed, (int, float)) and share is not None and abs(share) > allowed:
                end = "the prediction is void" if what == "throat" else "retire it"
                yield f"{what} has changed by {100 * share:+.2f} %, limit {100 * allowed:g} %: {end}"

    def growth(self, what: str) -> float | None:
        """Last over first value of what was measured, minus 1; None with nothing to compare."""
        values = [reading.value for reading in self.readings if reading.what == what]
        return values[-1] / values[0] - 1 if len(values) > 1 and values[0] else None

    @property
    def proof_valid(self) -> bool:
        """A passed proof test that nothing has voided."""
        return (
            bool(self.proof_passed) and not self.failed_proof and self.over_trip_at < self.proof_at
        )


_LIMITS: Final = {
    "throat": "throat_growth_limit",
    "tube diameter": "diameter_growth_limit",
    "hole": "hole_growth_limit",
}


def corrected(entries: Iterable[Told]) -> list[Told]:
    """The entries that count, corrections applied; the last correction of an entry wins."""
    told = list(entries)
    corrections = [entry for entry in told if entry.kind == "correction"]
    if not corrections:
        return told
    final = {entry.id for entry in told if entry.kind == "retired"}
    names = {entry.id: str(entry.facts["replaces"]) for entry in corrections}
    better: dict[str, Facts | None] = {}
    for entry in corrections:
        target = _root(entry.id, names)
        if target not in final:
            better[target] = entry.facts.get("body")
    return list(_applied(told, better))


def _root(name: str, names: dict[str, str]) -> str:
    while name in names:
        name = names[name]
    return name


def _applied(told: list[Told], better: dict[str, Facts | None]) -> Iterable[Told]:
    for entry in told:
        if entry.kind == "correction":
            continue
        if entry.id in better:
            facts = better[entry.id]
            if facts is not None:
                yield entry._replace(facts=facts)
        else:
            yield entry


class Fold:
    """Parts by serial, and the runs that are on record."""

    def __init__(self, entries: Iterable[Told] = ()) -> None:
        self.parts: dict[str, Part] = {}
        self.runs: set[str] = set()
        self._at = 0
        for entry in corrected(entries):
            self._take(entry)

    def part(self, serial: str) -> Part:
        """A part by its stem; one that is in no entry is unknown, and thereby barred."""
        return self.parts.get(serial) or Part(serial=serial)

    def barred(self, serials: Iterable[str], today: date) -> list[str]:
        """Why any of these parts may not be chosen."""
        return [why for serial in serials for why in self.part(serial).barred(today)]

    def _own(self, serial: str) -> Part:
        part = self.parts.get(serial)
        if part is None:
            part = self.parts[serial] = Part(serial=serial)
        return part

    def _take(self, entry: Told) -> None:
        self._at += 1
        facts = entry.facts
        run = facts.get("run")
        if isinstance(run, str):
            self.runs.add(run)
        if entry.kind == "noted":
            return
        if entry.kind == "closed":
            for part in self.parts.values():
                part.anomalies.pop(facts["anomaly"], None)
            return
        step = _STEPS[entry.kind]
        for serial in facts.get("serials") or [facts["serial"]]:
            step(self._own(serial), entry, self._at)


def _made(part: Part, entry: Told, at: int) -> None:
    del at
    part.type = entry.facts["type"]
    part.rules = entry.facts.get("rules", {})
    before = part.rules.get("firings_before")
    part.firings += before if isinstance(before, int) else 0


def _inspected(part: Part, entry: Told, at: int) -> None:
    part.inspected_at, part.inspection_passed = at, bool(entry.facts["passed"])


def _measured(part: Part, entry: Told, at: int) -> None:
    facts = entry.facts
    when = facts.get("when", "")
    value = float(facts["value"])
    part.readings.append(Reading(at, entry.utc, facts["what"], value, facts["unit"], when))


def _heated(part: Part, entry: Told, at: int) -> None:
    del at
    part.heats.append((float(entry.facts["at_k"]), float(entry.facts["for_s"])))


def _calibrated(part: Part, entry: Told, at: int) -> None:
    del at
    part.calibrated_until, part.calibration_lost = entry.facts["valid_until"], ""


def _abused(part: Part, entry: Told, at: int) -> None:
    del at
    part.calibration_lost = entry.facts["how"]


def _cycle(part: Part, entry: Told, at: int) -> None:
    """A peak the part has carried, from a firing or a proof."""
    part.cycles += 1
    part.cycle_at = at
    peak = entry.facts.get("peak_pa")
    if isinstance(peak, (int, float)):
        part.peaks_pa.append(float(peak))


def _proof(part: Part, entry: Told, at: int) -> None:
    _cycle(part, entry, at)
    part.proof_passed = bool(entry.facts["passed"])
    part.failed_proof |= not part.proof_passed
    if part.proof_passed:
        part.proof_at = at


def _firing(part: Part, entry: Told, at: int) -> None:
    part.firings += 1
    _cycle(part, entry, at)
    if entry.facts.get("over_trip"):
        part.over_trip_at = at


def _anomaly(part: Part, entry: Told, at: int) -> None:
    del at
    part.anomalies[entry.id] = entry.facts["text"]


def _retired(part: Part, entry: Told, at: int) -> None:
    del at
    part.retired = part.retired or entry.facts["reason"]


def _nothing(part: Part, entry: Told, at: int) -> None:
    del part, entry, at


_STEPS: Final = {
    "made": _made,
    "inspected": _inspected,
    "measured": _measured,
    "heated": _heated,
    "calibrated": _calibrated,
    "abused": _abused,
    "proof": _proof,
    "assembled": _nothing,
    "firing": _firing,
    "misfire": _nothing,
    "anomaly": _anomaly,
    "retired": _retired,
}
