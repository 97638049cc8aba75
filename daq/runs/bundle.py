"""Seal a run: copy the segments that hold it, list their sums, read everything back, copy it again.

Practice 2.36: no success is reported until both copies have been read back with equal sums. Sealing
the same run again adds what came since; it never replaces bytes that differ. It reads whole segments:
run it in a process of its own, not in the engine.
"""

import os
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from daq.errors import JournalError
from daq.journal.files import sync_folder
from daq.journal.format import RecordType
from daq.journal.hashes import HASHES, check_hash_list, hash_list, read_hash_list, sha256_of
from daq.journal.recover import Record, SegmentReading, read_segment, segment_files


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFolder:
    """A sealed run. `files` are the segments in order; `has_end` is False while the run goes on."""

    path: Path
    run_id: str
    files: tuple[str, ...]
    has_end: bool
    second: Path | None
    findings: tuple[str, ...]
    """What does not verify in the copied segments: copied as it is, and said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """One segment of the run and how much of it to copy."""

    path: Path
    nbytes: int
    damage: tuple[str, ...]


def seal_run(
    journal_folder: Path, runs_folder: Path, run_id: str, second: Path | None = None
) -> RunFolder:
    """Copy run `run_id` to `runs_folder/run_id`, and to `second/run_id` if a medium is named.

    Returns only when every copy has been read back and equals its sum; JournalError otherwise.
    """
    if not run_id or Path(run_id).name != run_id or run_id in {".", ".."}:
        raise JournalError(f"{run_id!r}: a run id must be usable as the name of a folder")
    parts, has_end = _parts_of(journal_folder, run_id)
    path = runs_folder / run_id
    _seal(parts, path)
    copy = None if second is None else second / run_id
    if second is not None and copy is not None:
        if not second.is_dir():
            raise JournalError(f"{second}: the second medium is not there; the first copy is good")
        _seal(parts, copy)
        if read_hash_list(copy / HASHES) != read_hash_list(path / HASHES):
            raise JournalError(f"{copy}: differs from {path}")
    return RunFolder(
        path=path,
        run_id=run_id,
        files=tuple(part.path.name for part in parts),
        has_end=has_end,
        second=copy,
        findings=tuple(sentence for part in parts for sentence in part.damage),
    )


def verify_run(path: Path) -> list[str]:
    """Read a sealed run back; a sentence for each file that is not what was sealed."""
    return check_hash_list(path)


def _parts_of(journal_folder: Path, run_id: str) -> tuple[list[_Part], bool]:
    """The segments from the CONFIG before the run's begin to its end, oldest first.

    Read from the newest backwards, so that a long journal costs no more than the run.
    """
    parts: list[_Part] = []
    begun_at = 0
    has_end = False
    files = segment_files(journal_folder)
    for path in reversed(files):
        reading = _read(path)
        begin, end = _seqs(reading, run_id, "begin"), _seqs(reading, run_id, "end")
        if end and not has_end:
            parts, has_end = [], True
        parts.append(_part(path, reading, is_newest=path == files[-1]))
        if begin:
            begun_at = len(parts)
        if begun_at and _has_config(reading, max(begin, default=reading.next_seq)):
            return parts[::-1], has_end
    if not begun_at:
        raise JournalError(f"{journal_folder}: no run {run_id} begins in this journal")
    return parts[:begun_at][::-1], has_end


def _read(path: Path) -> SegmentReading:
    try:
        return read_segment(path.read_bytes(), path.name)
    except OSError as error:
        raise JournalError(f"{path}: cannot be read: {error.strerror}") from error


def _part(path: Path, reading: SegmentReading, *, is_newest: bool) -> _Part:
    """All of a segment; of the newest, if it is still open, only what verifies so far."""
    live = is_newest and reading.header is not None and reading.seal is None
    damage = [d for d in reading.damage if not live or d.end <= reading.end]
    words = tuple(f"{d.segment}: bytes {d.start} to {d.end}: {d.why}" for d in damage)
    if reading.header is None:
        words = (f"{path.name}: {reading.why}",)
    return _Part(path=path, nbytes=reading.end if live else reading.length, damage=words)


def _seqs(reading: SegmentReading, run_id: str, word: str) -> list[int]:
    return [r.seq for r in reading.records if _run_words(r) == (word, run_id)]


def _run_words(record: Record) -> tuple[str, str] | None:
    if record.kind != RecordType.RUN:
        return None
    try:
        body = record.json()
        return str(body["run"]), str(body["id"])
    except (ValueError, KeyError, TypeError):
        return None


def _has_config(reading: SegmentReading, before_seq: int) -> bool:
    return any(r.kind == RecordType.CONFIG and r.seq < before_seq for r in reading.records)


def _seal(parts: list[_Part], folder: Path) -> None:
    """Copy, list, sync, read back."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for part in parts:
            _copy(part, folder / part.path.name)
        sums = {part.path.name: sha256_of(folder / part.path.name) for part in parts}
        _write_new(folder / HASHES, hash_list(sums).encode())
        sync_folder(folder)
        sync_folder(folder.parent)
    except OSError as error:
        if isinstance(error, JournalError):
            raise
        raise JournalError(f"{folder}: the copy failed: {error.strerror or error}") from error
    source = {part.path.name: _sum_of_source(part) for part in parts}
    wrong = check_hash_list(folder)
    wrong += [f"{name}: differs from the journal" for name in sums if sums[name] != source[name]]
    if wrong:
        raise JournalError(f"{folder}: the copy is not good: {'; '.join(wrong)}")


def _copy(part: _Part, target: Path) -> None:
    data = part.path.read_bytes()[: part.nbytes]
    if target.exists():
        there = target.read_bytes()
        if there == data:
            return
        if not data.startswith(there):
            raise JournalError(f"{target}: is there already and differs; it is not overwritten")
    _write_new(target, data)


def _write_new(target: Path, data: bytes) -> None:
    """Under another name first, synced, then renamed: the target is always whole."""
    draft = target.with_name(target.name + ".part")
    try:
        with draft.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(target)
    except OSError:
        draft.unlink(missing_ok=True)
        raise


def _sum_of_source(part: _Part) -> str:
    return sha256(part.path.read_bytes()[: part.nbytes]).hexdigest()
