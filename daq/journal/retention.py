"""Drop idle standby, keep everything that may matter; and lay ballast for a full disk.

`python -m daq.journal.retention JOURNAL` sweeps once, in a process of its own, because it reads whole
segments. A segment is dropped only if it was closed, reads back whole, is older than the newest ones,
and neither it nor its neighbours hold a run or a mark. Before it goes, its facts and one row a second
lie beside it, synced and read back. A run in the journal is never dropped, whoever asks.
"""

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from daq.errors import JournalError
from daq.journal.files import sync_folder
from daq.journal.format import RecordType, ordinal_of
from daq.journal.recover import segment_files
from daq.journal.standby import STANDBY, condense, read_standby
from daq.journal.walk import Record, SegmentReading, read_segment

NEWEST: Final = 6
"""An hour of standby stays whole."""
BEFORE: Final = 3
"""Segments before a run or mark that stay: zero, tare and check load are at most half an hour old."""
AFTER: Final = 1
SWEEP_S: Final = 60.0
BALLAST: Final = "ballast.bin"
BALLAST_BYTES: Final = 32 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """What the sweep must know of one segment."""

    path: Path
    reading: SegmentReading | None
    matters: bool

    @property
    def is_whole(self) -> bool:
        found = self.reading
        return found is not None and found.seal is not None and not found.damage


def sweep(folder: Path, newest: int = NEWEST) -> list[str]:
    """Names of the segments dropped now. JournalError if the folder cannot be read or written."""
    files = segment_files(folder)
    for path in files:
        if path.with_suffix(STANDBY).exists():
            _drop(path)
    files = [path for path in files if path.exists()]
    old = files[: max(0, len(files) - newest)]
    if not old:
        return []
    glances = _glances(old)
    dropped = []
    for path in _idle(glances):
        try:
            if _condensed(path):
                dropped.append(path.name)
        except OSError as error:
            raise JournalError(f"{path}: could not be condensed: {error.strerror}") from error
    return dropped


def _glances(files: Sequence[Path]) -> list[Glance]:
    """Oldest first; a run that is open at the start of a segment makes it matter."""
    found, in_run = [], False
    for path in files:
        try:
            reading = read_segment(path.read_bytes(), path.name)
        except OSError:
            found.append(Glance(path=path, reading=None, matters=True))
            continue
        words = [word for word in map(_word, reading.records) if word]
        found.append(Glance(path=path, reading=reading, matters=in_run or bool(words)))
        in_run = next((w == "begin" for w in reversed(words) if w in ("begin", "end")), in_run)
    return found


def _word(record: Record) -> str:
    """`begin`, `end`, `keep`, or "mark" for a crew's mark; "" for all else."""
    if record.kind not in (RecordType.RUN, RecordType.FACT):
        return ""
    try:
        body = record.json()
        if record.kind == RecordType.RUN:
            return str(body["run"])
        return "mark" if body.get("fact") in ("MARK", "GO", "LIT", "LINE_ON", "TRIP") else ""
    except (ValueError, KeyError, TypeError, AttributeError):
        return "mark"  # not understood: kept


def _idle(glances: Sequence[Glance]) -> list[Path]:
    """Whole segments with nothing that matters in them or near them."""
    kept = set[int]()
    for at, each in enumerate(glances):
        if each.matters:
            kept.update(range(at - BEFORE, at + AFTER + 1))
    return [g.path for at, g in enumerate(glances) if at not in kept and g.is_whole]


def _condensed(path: Path) -> bool:
    """Write and verify what stays, then drop the segment; True if it is gone."""
    text = condense(read_segment(path.read_bytes(), path.name))
    target, draft = path.with_suffix(STANDBY), path.with_suffix(STANDBY + ".part")
    with draft.open("wb") as file:
        file.write(text.encode())
        file.flush()
        os.fsync(file.fileno())
    draft.replace(target)
    sync_folder(path.parent)
    return _drop(path)


def _drop(path: Path) -> bool:
    """Only behind a remainder that reads back whole; a file that is still open elsewhere stays."""
    try:
        if read_standby(path.with_suffix(STANDBY).read_text(encoding="utf-8")).segment != path.name:
            return False
        path.unlink()
    except (OSError, ValueError, KeyError, TypeError):
        return False
    sync_folder(path.parent)
    return True


def is_due(folder: Path, newest: int = NEWEST) -> bool:
    """There are segments old enough to look at; only the names are read."""
    try:
        names = [p for p in folder.iterdir() if ordinal_of(p.name) is not None]
    except OSError:
        return False
    return len(names) > newest


# ---- ballast and housekeeping ---------------------------------------------------------------------


def lay_ballast(folder: Path, nbytes: int = BALLAST_BYTES) -> bool:
    """Set space aside that can be given back when the disk is full; True if it lies there."""
    path = folder / BALLAST
    with contextlib.suppress(OSError):
        if path.exists() and path.stat().st_size == nbytes:
            return True
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            for _ in range(nbytes >> 20):
                file.write(bytes(1 << 20))
            file.flush()
            os.fsync(file.fileno())
        return True
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)
    return False


def drop_ballast(folder: Path) -> bool:
    """Give the space back; True if there was some. The writer's next try has room again."""
    try:
        (folder / BALLAST).unlink()
    except OSError:
        return False
    return True


class Tidy:
    """The recorder's part of housekeeping: never in the safety thread, sweeps only while all is idle."""

    def __init__(self, folder: Path, every_s: float = SWEEP_S) -> None:
        self._folder, self._every_s = folder, every_s
        self._swept_s: float | None = None
        self.has_ballast = False
        self.trouble = ""

    def turn(self, now_s: float, *, recorder: str, idle: bool) -> None:
        """`recorder` is the writer's state word; `now_s` a monotonic clock."""
        if recorder == "ram only" and drop_ballast(self._folder):
            self.has_ballast = False
        if not idle or recorder != "running":
            return
        if self._swept_s is not None and now_s - self._swept_s < self._every_s:
            return
        self._swept_s = now_s
        self.has_ballast = lay_ballast(self._folder)
        if is_due(self._folder):
            self.trouble = sweep_apart(self._folder)


def sweep_apart(folder: Path) -> str:
    """Sweep in a process of its own; empty, or the sentence of what went wrong."""
    command = [sys.executable, "-m", "daq.journal.retention", str(folder)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=120.0, check=False)
    except (OSError, subprocess.TimeoutExpired) as fault:
        return f"old standby was not swept: {fault}"
    return done.stderr.strip() if done.returncode else ""


def main(arguments: Iterable[str]) -> int:
    folders = list(arguments)
    if len(folders) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    try:
        for name in sweep(Path(folders[0])):
            print(name)
    except JournalError as fault:
        print(fault, file=sys.stderr)
        return fault.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
