"""What can be written into the ledger, and how one entry holds on to the one before it.

Pure. An entry is never changed: what was wrong is corrected by another entry that names it. Each
laptop writes a chain of its own; the sum of an entry covers the sum of the one before.
"""

import json
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from daq.errors import StandError

FIRST: Final = "0" * 64  # what the first entry of a laptop holds on to


class LedgerError(StandError, ValueError):
    """An entry that cannot be written, or a chain that does not hold; the text says which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry as it is stored. `number` counts from 1 in each laptop's chain; `utc` is ISO 8601."""

    id: str
    laptop: str
    number: int
    utc: str
    by: str
    kind: str
    body: str
    previous: str
    sum: str

    def facts(self) -> dict[str, Any]:
        """The body as plain values."""
        found: dict[str, Any] = json.loads(self.body)
        return found

    def right_sum(self) -> str:
        return sum_of(self)


def sum_of(entry: Entry) -> str:
    """SHA-256 over everything of an entry but its own sum."""
    told = (
        entry.previous, entry.id, entry.laptop, str(entry.number),
        entry.utc, entry.by, entry.kind, entry.body,
    )  # fmt: skip
    return sha256("\x1f".join(told).encode()).hexdigest()


def canonical(facts: dict[str, Any]) -> str:
    """One text for one body."""
    return json.dumps(facts, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


PART_TYPES: Final = (
    "casing", "nozzle", "closure", "fastener set", "seal lot", "sensor", "load cell",
)  # fmt: skip

# What each kind must say; every other word is free. `serial` is a stem, without check character.
KINDS: Final[dict[str, dict[str, type | tuple[type, ...]]]] = {
    "made": {"serial": str, "type": str},
    "inspected": {"serial": str, "passed": bool, "found": str},
    "measured": {"serial": str, "what": str, "value": (int, float), "unit": str},
    "heated": {"serial": str, "at_k": (int, float), "for_s": (int, float)},
    "calibrated": {"serial": str, "valid_until": str},
    "abused": {"serial": str, "how": str},
    "proof": {"serials": list, "passed": bool, "peak_pa": (int, float), "temperature_k": (int, float)},
    "assembled": {"serials": list},
    "firing": {"serials": list, "run": str, "outcome": str},
    "misfire": {"serials": list, "run": str},
    "noted": {"run": str, "outcome": str},
    "anomaly": {"serial": str, "text": str},
    "closed": {"anomaly": str, "text": str, "names": list},
    "retired": {"serial": str, "reason": str},
    "correction": {"replaces": str, "reason": str},
}  # fmt: skip


def fault_of(kind: str, facts: dict[str, Any]) -> str | None:
    """What is wrong with an entry by itself, as a sentence; None if nothing."""
    wanted = KINDS.get(kind)
    if wanted is None:
        return f"kind {kind!r}: expected one of {', '.join(KINDS)}"
    for name, types in wanted.items():
        value = facts.get(name)
        if not isinstance(value, types) or (isinstance(value, bool) and types is not bool):
            return f"{kind}: expected {name} as {_named(types)}, got {value!r}"
        if isinstance(value, str) and not value.strip():
            return f"{kind}: expected {name}, got an empty text"
    if kind == "made" and facts["type"] not in PART_TYPES:
        return f"made: expected type as one of {', '.join(PART_TYPES)}, got {facts['type']!r}"
    if kind == "closed" and len({str(name) for name in facts["names"]}) < 2:
        return "closed: expected two distinct names, an anomaly is not closed by one person"
    serials = facts.get("serials")
    if serials is not None and not (serials and all(isinstance(s, str) and s for s in serials)):
        return f"{kind}: expected serials as a list of texts, got {serials!r}"
    return None


def _named(types: type | tuple[type, ...]) -> str:
    one = types[0] if isinstance(types, tuple) else types
    return {str: "a text", bool: "true or false", list: "a list"}.get(one, "a number")
