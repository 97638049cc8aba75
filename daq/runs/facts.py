"""The facts of one run, out of the records: what was decided, when, by whom.

Times: `t` is the engine's own clock in s; `tick` (where given) the board's, in the epoch that was
heard last before the fact. Facts follow the numbers of the records.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from daq.journal.format import RecordType
from daq.journal.recover import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One FACT record; `nonce` is the boot it belongs to, None before the first board was heard."""

    name: str
    t: float
    tick: int | None
    nonce: int | None
    seq: int
    body: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Which records are the run: numbers from `begin` to `end` (inclusive), its CONFIG."""

    run_id: str
    begin: int
    end: int
    armed: int | None
    config: dict[str, Any]
    findings: tuple[str, ...]


def part_of(records: Sequence[Record], run_id: str | None) -> Part:
    """The wanted run, else the last one begun, else the whole record."""
    runs = [(record.seq, _body(record)) for record in records if record.kind == RecordType.RUN]
    begins = [(seq, str(body.get("id"))) for seq, body in runs if body.get("run") == "begin"]
    wanted = [each for each in begins if run_id in (None, each[1])]
    first = records[0].seq if records else 0
    last = records[-1].seq if records else 0
    if not wanted:
        config = _config_at(records, last)
        found = ("no run was begun in this record: all of it is shown",)
        name = str(config.get("run_id", "")) or (run_id or "")
        return Part(run_id=name, begin=first, end=last, armed=None, config=config, findings=found)
    armed, name = wanted[-1]
    ends = [seq for seq, body in runs if body.get("run") == "end" and seq > armed]
    before = [seq for seq, body in runs if body.get("run") == "end" and seq < armed]
    return Part(
        run_id=name,
        begin=before[-1] + 1 if before else first,
        end=ends[0] if ends else last,
        armed=armed,
        config=_config_at(records, armed),
        findings=() if ends else ("the record ends before the run does",),
    )


def facts_of(records: Sequence[Record], part: Part) -> list[Fact]:
    """All facts of the run."""
    return [fact for fact in _walk(records) if part.begin <= fact.seq <= part.end]


def _walk(records: Sequence[Record]) -> Iterator[Fact]:
    nonce: int | None = None
    for record in records:
        if record.kind != RecordType.FACT:
            continue
        body = _body(record)
        name = str(body.get("fact", ""))
        if name in ("BOARD", "BOARD_RESET") and isinstance(body.get("nonce"), int):
            nonce = body["nonce"]
        tick = body.get("tick")
        yield Fact(
            name=name,
            t=float(body.get("t") or 0.0),
            tick=tick if isinstance(tick, int) else None,
            nonce=nonce,
            seq=record.seq,
            body=body,
        )


def _config_at(records: Sequence[Record], seq: int) -> dict[str, Any]:
    """The newest CONFIG at or before a record, else the first behind it."""
    configs = [record for record in records if record.kind == RecordType.CONFIG]
    before = [record for record in configs if record.seq <= seq]
    chosen = before[-1:] or configs[:1]
    return _body(chosen[0]) if chosen else {}


def _body(record: Record) -> dict[str, Any]:
    try:
        body = record.json()
    except ValueError:
        return {}
    return body if isinstance(body, dict) else {}
