"""Whether an entry may be added to what is there already. Pure, but for the look-ups it is given."""

import json
from collections.abc import Callable
from typing import Any, Final

from daq.ledger.events import Entry, LedgerError, fault_of

FindEntry = Callable[[str], Entry | None]
LOST_NEVER: Final = ("firing", "misfire", "proof")  # they happened: corrected, never withdrawn


def may_be_added(
    kind: str, facts: dict[str, Any], find: FindEntry, is_made: Callable[[str], bool]
) -> None:
    """Raise LedgerError with the sentence that refuses an entry."""
    wrong = fault_of(kind, facts)
    if wrong:
        raise LedgerError(wrong)
    if kind == "made" and is_made(facts["serial"]):
        raise LedgerError(
            f"made: {facts['serial']} is in the ledger already; a serial is used once"
        )
    if kind == "closed":
        opened = find(facts["anomaly"])
        if opened is None or opened.kind != "anomaly":
            raise LedgerError(f"closed: {facts['anomaly']} names no anomaly")
    if kind == "correction":
        _correction(facts, find)
    elif kind not in (
        "made",
        "firing",
        "misfire",
        "noted",
        "closed",
    ):  # what happened is always taken in
        serials = facts.get("serials") or [facts["serial"]]
        unknown = [serial for serial in serials if not is_made(serial)]
        if unknown:
            raise LedgerError(f"{kind}: {', '.join(unknown)} is in no entry `made`; make it first")


def _correction(facts: dict[str, Any], find: FindEntry) -> None:
    target = find(facts["replaces"])
    while target is not None and target.kind == "correction":
        target = find(json.loads(target.body)["replaces"])
    if target is None:
        raise LedgerError(f"correction: {facts['replaces']} names no entry")
    if target.kind == "retired":
        raise LedgerError("correction: a retirement is final and cannot be corrected")
    better = facts.get("body")
    if better is None:
        if target.kind in LOST_NEVER:
            raise LedgerError(f"correction: a {target.kind} happened; it cannot be withdrawn")
        return
    wrong = fault_of(target.kind, better) if isinstance(better, dict) else "body is no table"
    if wrong:
        raise LedgerError(f"correction: {wrong}")
    _keeps(target.kind, json.loads(target.body), better)


def _keeps(kind: str, before: dict[str, Any], after: dict[str, Any]) -> None:
    """What a correction may not change: whose entry it is, that it happened, that it failed."""
    for name in ("serial", "type", "run"):
        if before.get(name) != after.get(name):
            raise LedgerError(f"correction: {name} of a {kind} stays {before.get(name)!r}")
    lost = set(before.get("serials") or ()) - set(after.get("serials") or ())
    if lost:
        raise LedgerError(f"correction: {', '.join(sorted(lost))} took part in that {kind}")
    if kind in ("proof", "inspected") and after["passed"] and not before["passed"]:
        raise LedgerError(f"correction: a {kind} that failed stays failed; test again")
    if before.get("over_trip") and not after.get("over_trip"):
        raise LedgerError("correction: an over-trip stays on record")
