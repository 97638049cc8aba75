"""`berm ledger`: add, list, show one part's life, verify, export, import; closing what has been run."""

import argparse
import json
import sys
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from daq.errors import ConfigError
from daq.ledger.closing import close_runs
from daq.ledger.events import KINDS, Entry
from daq.ledger.fold import Part
from daq.ledger.serials import stem_of, with_check
from daq.ledger.standing import first_parts
from daq.ledger.store import NAME, Ledger
from daq.settings import load_settings

SERIAL_WORDS: Final = ("serial", "serials")


def ledger(wanted: argparse.Namespace) -> int:
    """One action on the ledger of a site."""
    action = ACTIONS[wanted.action]
    if wanted.action != "start" and not (wanted.site / NAME).is_file():
        raise ConfigError(f"ledger: {wanted.site} has none yet: berm ledger start --site DIR")
    with Ledger(wanted.site) as opened:
        return action(opened, wanted)


def _start(opened: Ledger, wanted: argparse.Namespace) -> int:
    """Enter every part that the site's settings name."""
    made = opened.fold().parts
    for facts in first_parts(load_settings(wanted.site / "settings")):
        if facts["serial"] not in made:
            opened.add("made", facts, _name(wanted))
            print(f"{facts['type']:12} {_plate(facts['serial'])}")
    print(f"{wanted.site / NAME}: mark each part with its serial as printed here.")
    return 0


def _name(wanted: argparse.Namespace) -> str:
    if not wanted.by:
        raise ConfigError("ledger: expected --by NAME, who writes this; got nothing")
    return str(wanted.by)


def _add(opened: Ledger, wanted: argparse.Namespace) -> int:
    kind, *words = wanted.words or [""]
    if kind not in KINDS:
        raise ConfigError(f"ledger add: expected one of {', '.join(KINDS)}, got {kind!r}")
    entry = opened.add(kind, _facts(kind, words), _name(wanted))
    print(json.dumps(_plain(entry)) if wanted.json else f"{entry.id}  {kind}, entry {entry.number}")
    return 0


def _facts(kind: str, words: list[str]) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for word in words:
        name, equals, text = word.partition("=")
        if not equals:
            raise ConfigError(f"ledger add: expected NAME=VALUE, got {word!r}")
        facts[name] = _serials(kind, name, text) if name in SERIAL_WORDS else _value(text)
    return facts


def _serials(kind: str, name: str, text: str) -> str | list[str]:
    """Typed serials carry their check character; a new part is given its own."""
    try:
        stems = [each if kind == "made" else stem_of(each) for each in text.split(",")]
        for stem in stems:
            with_check(stem)
    except ValueError as fault:
        raise ConfigError(f"ledger add: {fault}") from fault
    return stems if name == "serials" else stems[0]


def _value(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text


def _plate(serial: str) -> str:
    """A serial as it stands on the part; one that is none of ours is shown as it is."""
    try:
        return with_check(serial)
    except ValueError:
        return serial


def _list(opened: Ledger, wanted: argparse.Namespace) -> int:
    today = datetime.now(UTC).date()
    rows: list[dict[str, Any]] = [
        {
            "serial": _plate(part.serial),
            "type": part.type,
            "firings": part.firings,
            "barred": part.barred(today),
        }
        for part in opened.fold().parts.values()
    ]
    if wanted.json:
        print(json.dumps(rows, indent=1))
        return 0
    for row in rows:
        word = "; ".join(why.split(": ", 1)[1] for why in row["barred"]) or "may be used"
        print(f"{row['serial']:16} {row['type']:13} {row['firings']:3} firings  {word}")
    return 0


def _show(opened: Ledger, wanted: argparse.Namespace) -> int:
    """One part's life, oldest first; 3 when it may not be used."""
    if len(wanted.words) != 1:
        raise ConfigError("ledger show: expected one serial")
    try:
        stem = stem_of(wanted.words[0])
    except ValueError as fault:
        raise ConfigError(f"ledger show: {fault}") from fault
    part = opened.fold().part(stem)
    why = part.barred(datetime.now(UTC).date())
    told = _life(opened.entries(), stem)
    if wanted.json:
        print(json.dumps({**_state(part), "barred": why, "entries": [_plain(e) for e in told]}))
    else:
        print(f"{part.type} {_plate(stem)}: {part.firings} firings, {part.cycles} cycles")
        for entry in told:
            print(f"  {entry.utc[:16]}  {entry.kind:11} {entry.by:24} {entry.body}")
        for text in why:
            print(f"BARRED: {text}")
    return 3 if why else 0


def _life(entries: Iterable[Entry], stem: str) -> list[Entry]:
    """The entries that name a part, and those that name one of these."""
    told: list[Entry] = []
    ids: set[str] = set()
    for entry in entries:
        facts = entry.facts()
        named = stem == facts.get("serial") or stem in (facts.get("serials") or ())
        if named or {facts.get("anomaly"), facts.get("replaces")} & ids:
            told.append(entry)
            ids.add(entry.id)
    return told


def _state(part: Part) -> dict[str, Any]:
    return {
        "serial": _plate(part.serial),
        "type": part.type,
        "firings": part.firings,
        "peaks_pa": part.peaks_pa,
        "proof_valid": part.proof_valid,
        "retired": part.retired,
        "readings": [reading._asdict() for reading in part.readings],
    }


def _plain(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.id, "utc": entry.utc, "by": entry.by, "kind": entry.kind, "facts": entry.facts(),
    }  # fmt: skip


def _verify(opened: Ledger, wanted: argparse.Namespace) -> int:
    wrong = opened.verify()
    if wanted.json:
        print(json.dumps({"holds": not wrong, "wrong": wrong}))
    else:
        print(
            "\n".join(wrong) if wrong else f"{sum(1 for _ in opened.entries())} entries: all hold."
        )
    return 1 if wrong else 0


def _export(opened: Ledger, wanted: argparse.Namespace) -> int:
    if not wanted.words:
        print(opened.export(), end="")
        return 0
    Path(wanted.words[0]).write_text(opened.export(), encoding="utf-8")
    print(f"{wanted.words[0]}: {sum(1 for _ in opened.entries())} entries")
    return 0


def _import(opened: Ledger, wanted: argparse.Namespace) -> int:
    if len(wanted.words) != 1:
        raise ConfigError("ledger import: expected one file that `berm ledger export` wrote")
    try:
        text = Path(wanted.words[0]).read_text(encoding="utf-8")
    except (OSError, UnicodeError) as fault:
        raise ConfigError(f"ledger import {wanted.words[0]}: cannot be read: {fault}") from fault
    print(f"{opened.take_in(text)} entries taken in")
    return 0


def _close(opened: Ledger, wanted: argparse.Namespace) -> int:
    for entry in close_runs(wanted.site, opened):
        print(f"{entry.facts()['run']}: {entry.kind}, {entry.facts().get('outcome', 'not lit')}")
    return 0


ACTIONS: Final[dict[str, Callable[[Ledger, argparse.Namespace], int]]] = {
    "start": _start,
    "add": _add,
    "list": _list,
    "show": _show,
    "verify": _verify,
    "export": _export,
    "import": _import,
    "close": _close,
}


def close_site(site: Path) -> None:
    """Before and after a run: write what is not closed yet. A ledger that refuses is only said; the
    engine bars the arming by itself.
    """
    if not (site / NAME).is_file():
        return
    try:
        with Ledger(site) as opened:
            for entry in close_runs(site, opened):
                print(f"Ledger: run {entry.facts()['run']} entered as {entry.kind}.")
    except (ValueError, OSError) as fault:
        print(f"berm run: the ledger was not written: {fault}", file=sys.stderr)
