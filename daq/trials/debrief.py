"""After a rehearsal: what the record shows, held against what the scenario expects.

Reads the journal, the stand's pin log and its truth; the last two are read by tests and by this
debrief only, never by anything that runs on the day.
"""

import csv
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daq.journal.format import RecordType
from daq.journal.recover import read_folder
from simulators.scenarios_io import Expect

LINE_PINS = ("high", "low")


@dataclass(slots=True)
class Seen:
    """What came out, in the words of [expect]."""

    end_phase: str = ""
    circuit: str = ""
    approach: str = ""
    waits: list[str] = field(default_factory=list)
    outcome: str = "not fired"
    true_outcome: str = ""
    trip: bool = False
    gaps: bool = False
    boots: int = 0
    line_on: bool = False
    line_left_on: bool = False
    phases: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


def look(folder: Path) -> Seen:
    """Everything a scenario can expect, from the record and the stand's own logs."""
    seen = Seen()
    for record in read_folder(folder / "journal").records:
        if record.kind == RecordType.FACT:
            _fact(seen, record.json())
        elif record.kind == RecordType.STATUS:
            _status(seen, record.json())
    _truth(seen, folder)
    return seen


def _fact(seen: Seen, fact: dict[str, Any]) -> None:
    match fact.get("fact"):
        case "PHASE":
            if not seen.phases:
                seen.phases.append(str(fact["from"]))
            seen.phases.append(str(fact["to"]))
            seen.said.append(str(fact.get("why", "")))
        case "TRIP":
            seen.trip = True
        case "OUTCOME":
            seen.outcome = str(fact["outcome"])
        case "REFUSED" | "MARK" | "RELEASED":
            seen.said.append(str(fact.get("text", "")))
        case _:
            pass


def _status(seen: Seen, status: dict[str, Any]) -> None:
    seen.end_phase = status["phase"]
    seen.circuit = status["circuit"]["word"]
    approach = status["approach"]
    seen.approach = approach["word"]
    wait = approach.get("wait")
    if status["phase"] not in ("SAFE", "ARM") and wait and wait not in seen.waits[-1:]:
        seen.waits.append(wait)
    for alarm in status["alarms"]:
        if alarm["what"] not in seen.said:
            seen.said.append(alarm["what"])


def _truth(seen: Seen, folder: Path) -> None:
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    seen.true_outcome = truth["outcome"]
    seen.boots = len(truth["boots"])
    levels = dict.fromkeys(LINE_PINS, 0)
    with (folder / "pins.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["pin"] in levels:
                levels[row["pin"]] = int(row["level"])
                seen.line_on = seen.line_on or all(levels.values())
    seen.line_left_on = any(levels.values())


def differences(seen: Seen, expect: Expect) -> list[str]:
    """A sentence for each expectation that was not met; and the line is never left on."""
    found = list(_plain(seen, expect))
    if seen.line_left_on:
        found.append("the fire line: expected off at the end, the stand's pins say on")
    if expect.wait is not None and expect.wait not in seen.waits:
        found.append(f"wait class: expected {expect.wait}, came {', '.join(seen.waits) or 'none'}")
    at = 0
    for phase in expect.phases:
        if phase not in seen.phases[at:]:
            found.append(f"phases: expected {phase} in this order, came {' > '.join(seen.phases)}")
            break
        at = seen.phases.index(phase, at) + 1
    found += [
        f"phases: expected never {phase}, came {' > '.join(seen.phases)}"
        for phase in expect.never_phases
        if phase in seen.phases
    ]
    said = "\n".join(seen.said)
    found += [
        f"texts: expected {text!r}, it was not said" for text in expect.says if text not in said
    ]
    found += [f"texts: expected never {text!r}" for text in expect.never_says if text in said]
    return found


def _plain(seen: Seen, expect: Expect) -> Iterator[str]:
    names = ("end_phase", "circuit", "approach", "outcome", "true_outcome")
    for name in (*names, "trip", "gaps", "boots", "line_on"):
        wanted, came = getattr(expect, name), getattr(seen, name)
        if wanted is not None and wanted != came:
            yield f"{name}: expected {wanted}, came {came}"
