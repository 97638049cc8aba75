"""What the journal of this site already says when an engine starts: latch, last tick, run numbers."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from daq.journal.format import RecordFlag, RecordType
from daq.journal.recover import Record, read_folder

RUN_NUMBER: Final = re.compile(r"^[A-Z]-(\d+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """The last latch fact (None if there is none), the newest board tick, and the next run number."""

    latch: dict[str, Any] | None
    last_tick: int | None
    is_empty: bool
    next_run: int
    dry_setups: frozenset[int]


def read_history(journal: Path, runs: Path) -> History:
    """Read the site's journal; damaged parts are passed over (the latch trusts nothing it misses)."""
    numbers = [0, *(_number(path.name) for path in runs.glob("*") if path.is_dir())]
    if not journal.is_dir():
        return History(
            latch=None, last_tick=None, is_empty=True, next_run=max(numbers) + 1,
            dry_setups=frozenset(),
        )  # fmt: skip
    reading = read_folder(journal)
    latch: dict[str, Any] | None = None
    tick: int | None = None
    config: dict[str, Any] = {}
    dry: set[int] = set()
    for record in reading.records:
        body = _json(record)
        if record.kind == RecordType.FACT:
            if body.get("fact") == "LATCH":
                latch = body.get("latch")
            if isinstance(body.get("tick"), int):
                tick = int(body["tick"])
        elif record.kind == RecordType.CONFIG:
            config = body
            if not (record.flags & RecordFlag.CARRIED and latch is not None):
                latch = body.get("latch", latch)
        elif record.kind == RecordType.RUN:
            numbers.append(_number(str(body.get("id", ""))))
            if body.get("run") == "end" and config.get("mode") == "DRY":
                dry.add(int(config.get("setup_id", -1)))
    return History(
        latch=latch,
        last_tick=tick,
        is_empty=not reading.records,
        next_run=max(numbers) + 1,
        dry_setups=frozenset(dry),
    )


def _number(name: str) -> int:
    found = RUN_NUMBER.match(name)
    return int(found.group(1)) if found else 0


def _json(record: Record) -> dict[str, Any]:
    if record.kind not in (RecordType.FACT, RecordType.CONFIG, RecordType.RUN):
        return {}
    try:
        body = record.json()
    except ValueError:
        return {}
    return body if isinstance(body, dict) else {}
