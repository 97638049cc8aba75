"""What `berm recover` and `berm verify` say about a record: what is there, missing, damaged.

PATH is a run folder, a site, or a journal folder. Nothing is changed in it.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from daq.errors import JournalError
from daq.journal.clean_copy import write_clean_copy
from daq.journal.format import RecordType, SegmentHeader
from daq.journal.hashes import HASHES, altered, check_hash_list
from daq.journal.recover import Reading, Record, read_folder, read_segment, segment_files

_SHOWN = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """`text` for people, `facts` for `--json`; `exit_code` 0 nothing wrong, 1 something is."""

    text: str
    exit_code: int
    facts: dict[str, Any] = field(default_factory=dict)


def describe(path: Path) -> Description:
    """What the journal or journals at `path` hold. JournalError if there is nothing to read."""
    return _together([_describe(folder, []) for folder in record_folders(path)])


def verify(path: Path) -> Description:
    """As `describe`, and every sum is taken anew: MARK, SEAL and the list beside a sealed run."""
    parts = []
    for folder in record_folders(path):
        wrong = check_hash_list(folder) if (folder / HASHES).exists() else []
        for file in segment_files(folder):
            wrong += _altered(file)
        parts.append(_describe(folder, wrong))
    return _together(parts)


def recover(path: Path, out: Path | None = None) -> Description:
    """Describe, and write what verifies as a new journal into `out` if one is named."""
    found = describe(path)
    if out is None:
        return found
    folders = record_folders(path)
    if len(folders) > 1:
        raise JournalError(f"{path}: holds {len(folders)} records; name one of them to recover it")
    reading = read_folder(folders[0])
    files = write_clean_copy(reading, out)
    count = len(reading.records)
    line = f"\nWritten: {count} records into {len(files)} new segments in {out}.\n"
    facts = found.facts | {"out": str(out)}
    return Description(text=found.text + line, exit_code=found.exit_code, facts=facts)


def record_folders(path: Path) -> list[Path]:
    """The journal and the run folders at `path`; JournalError if there are none."""
    if not path.is_dir():
        raise JournalError(f"{path}: expected a run folder, a site or a journal folder")
    runs = sorted(p for p in path.glob("runs/*") if p.is_dir())
    found = [p for p in (path, path / "journal", *runs) if any(p.glob("*.berm"))]
    sealed = [p for p in (path, *runs) if (p / HASHES).exists() and p not in found]
    if not found + sealed:
        raise JournalError(f"{path}: there is no record in it")
    return found + sealed


def _altered(file: Path) -> list[str]:
    try:
        data = file.read_bytes()
    except OSError:
        return []  # already told as a lost segment
    return list(altered(data, read_segment(data, file.name)))


def _together(parts: list[Description]) -> Description:
    return Description(
        text="\n".join(part.text for part in parts),
        exit_code=max(part.exit_code for part in parts),
        facts={"records": [part.facts for part in parts]},
    )


def _describe(folder: Path, wrong: list[str]) -> Description:
    reading = read_folder(folder)
    sections = {
        "There": list(_there(reading)),
        "Missing": list(_missing(reading)),
        "Damaged": [*_damaged(reading), *wrong],
        "Noted": list(_noted(reading)),
    }
    is_whole = reading.is_whole and not wrong
    lines = [f"{folder}: {'whole' if is_whole else 'NOT whole'}"]
    for title, rows in sections.items():
        shown = rows[:_SHOWN]
        if len(rows) > _SHOWN:
            shown.append(f"and {len(rows) - _SHOWN} more")
        lines += [f"{title}:", *(f"  {row}" for row in shown or ["nothing"])]
    facts = {"folder": str(folder), "whole": is_whole}
    facts |= {title.lower(): rows for title, rows in sections.items()}
    return Description(text="\n".join(lines) + "\n", exit_code=0 if is_whole else 1, facts=facts)


def _there(reading: Reading) -> Iterator[str]:
    size = sum(segment.length for segment in reading.segments)
    yield f"{_count(len(reading.segments), 'segment')}, {size / 2**20:.1f} MiB, {_mode(reading)}"
    span = _span(reading)
    if span:
        yield f"from {_utc(span[0])} to {_utc(span[1])} by the host's label"
    counts = Counter(record.kind for record in reading.records)
    if counts:
        yield ", ".join(f"{counts[kind]} {type_word(kind)}" for kind in sorted(counts))
    for run_id, words in runs_in(reading).items():
        ended = "begun and ended" if "end" in words else "begun, not ended"
        yield f"run {run_id}: {ended if 'begin' in words else 'ended, its begin is not here'}"


def _missing(reading: Reading) -> Iterator[str]:
    for start, stop in reading.missing:
        yield f"numbers {start} to {stop - 1} ({_count(stop - start, 'record')})"
    for item in reading.lost:
        size = f" ({item.nbytes} bytes)" if item.nbytes else ""
        yield f"segment {item.segment}{size}: {item.why}"


def _damaged(reading: Reading) -> Iterator[str]:
    for d in reading.damage:
        gone = f"; numbers {d.missing[0]} to {d.missing[1] - 1}" if d.missing else ""
        yield f"{d.segment}: bytes {d.start} to {d.end} ({d.nbytes}): {d.why}{gone}"
    for seq in reading.conflicts:
        yield f"two different records carry the number {seq}; both are kept"
    yield from reading.findings


def _noted(reading: Reading) -> Iterator[str]:
    if reading.segments and reading.segments[0].header and reading.segments[0].header.ordinal:
        yield f"begins with segment {reading.segments[0].name}; earlier ones are not kept here"
    if reading.dropped:
        rows = sum(len(each.rows) for each in reading.dropped)
        count = _count(len(reading.dropped), "idle segment")
        yield f"{count} dropped on purpose; facts and {rows} rows of a second each are kept"
    for segment in reading.segments:
        if segment.seal is None:
            yield f"{segment.name} was not closed: being written, or its writer was stopped"
    for record in reading.of_kind(RecordType.LOSS):
        yield f"number {record.seq}, the writer says: {_loss_words(record)}"
    unknown = sorted({r.kind for r in reading.records if r.kind > max(RecordType)})
    for kind in unknown:
        yield f"records of type {kind} are not known to this version; they are kept"


def _loss_words(record: Record) -> str:
    try:
        fact = record.json()
        words = "; ".join(map(str, fact["loss"]))
        return f"{words}; {fact.get('repeated', 0)} repeated, {fact.get('dropped', 0)} dropped"
    except (ValueError, KeyError, TypeError, AttributeError):
        return "something was lost"


def runs_in(reading: Reading) -> dict[str, list[str]]:
    """Run id to what the RUN records say about it, in order: `begin`, `end`, `keep`."""
    runs: dict[str, list[str]] = {}
    for record in reading.of_kind(RecordType.RUN):
        try:
            body = record.json()
            runs.setdefault(str(body["id"]), []).append(str(body["run"]))
        except (ValueError, KeyError, TypeError):
            continue
    return runs


def type_word(kind: int) -> str:
    return RecordType(kind).name if kind in RecordType.__members__.values() else f"type {kind}"


def _mode(reading: Reading) -> str:
    kinds = {s.header.is_rehearsal for s in reading.segments if s.header}
    words = {(True,): "rehearsal", (False,): "real stand", (): "no readable segment"}
    return words.get(tuple(kinds), "rehearsal and real stand MIXED")


def _span(reading: Reading) -> tuple[datetime, datetime] | None:
    headers = {s.header.ordinal: s.header for s in reading.segments if s.header}
    times = [_utc_of(headers[r.ordinal], r) for r in (reading.records[:1] + reading.records[-1:])]
    return (times[0], times[-1]) if times else None


def _utc_of(header: SegmentHeader, record: Record) -> datetime:
    microseconds = (header.utc_ns + record.host_ns - header.host_ns) // 1000
    try:
        return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)
    except OverflowError:
        return datetime(1970, 1, 1, tzinfo=UTC)


def _utc(when: datetime) -> str:
    return when.strftime("%Y-%m-%d %H:%M:%SZ")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
