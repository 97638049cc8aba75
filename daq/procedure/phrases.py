"""The standard phrases and the hold reasons: one file, the same words everywhere (practice 1)."""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from daq.errors import ConfigError

KEYS = ("word", "means", "does")


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """What is called, what it means to people, what the tool does at it."""

    word: str
    means: str
    does: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrases:
    """All phrases, and the reasons of a hold by the digit typed after P."""

    phrases: tuple[Phrase, ...]
    holds: dict[int, str]

    def reason(self, digit: int) -> str:
        """The reason in words; a digit without one is a hold all the same."""
        return self.holds.get(digit, "no reason given")


def load_phrases(path: Path) -> Phrases:
    """Read `phrases.toml`; ConfigError names every fault, one a line."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as why:
        raise ConfigError(f"{path.name}: expected readable TOML, got a fault: {why}") from why
    faults = [
        f"{path.name} {key}: expected phrase or holds, got an unknown key"
        for key in table
        if key not in {"phrase", "holds"}
    ]
    rows = table.get("phrase", [])
    given = table.get("holds", {})
    if not isinstance(rows, list) or not rows or not isinstance(given, dict):
        raise ConfigError(f"{path.name}: expected [[phrase]] tables and a table [holds], got none")
    phrases = [_phrase(row, number, path.name, faults) for number, row in enumerate(rows, 1)]
    holds = _holds(given, path.name, faults)
    if faults:
        raise ConfigError("\n".join(faults))
    return Phrases(phrases=tuple(phrases), holds=holds)


def _phrase(row: Any, number: int, name: str, faults: list[str]) -> Phrase:
    row = row if isinstance(row, dict) else {}
    where = f"{name} [[phrase]] {number}"
    faults += [
        f"{where} {key}: expected a text, got {row.get(key)!r}"
        for key in KEYS
        if not (isinstance(row.get(key), str) and row[key].strip())
    ]
    faults += [
        f"{where} {key}: expected {', '.join(KEYS)}, got an unknown key"
        for key in row
        if key not in KEYS
    ]
    return Phrase(**{key: str(row.get(key)) for key in KEYS})


def _holds(given: dict[str, Any], name: str, faults: list[str]) -> dict[int, str]:
    holds = {}
    for key, text in given.items():
        if len(key) == 1 and key.isdigit() and isinstance(text, str) and text.strip():
            holds[int(key)] = text
        else:
            faults.append(f"{name} [holds] {key}: expected a digit and a text, got {text!r}")
    return holds
