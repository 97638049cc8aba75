"""The ledger's file: SQLite, full sync, write-ahead log, one table that triggers make append-only.

An entry is acknowledged when `add` returns, and then it is on the medium. `verify` reads everything
back: SQLite's own structure, the triggers, every sum, every chain, and the newest entry that
`ledger.head` beside the file remembers, so that a shortened or restored file is found too.
"""

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import astuple, fields
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from platform import node
from typing import Any, Final, Self
from uuid import getnode, uuid4

from daq.ledger.checks import may_be_added
from daq.ledger.events import FIRST, Entry, LedgerError, canonical, sum_of
from daq.ledger.fold import Fold, Told

NAME: Final = "ledger.db"
HEAD: Final = "ledger.head"
COLUMNS: Final = tuple(entry.name for entry in fields(Entry))
_SELECT: Final = f"SELECT {', '.join(COLUMNS)} FROM entries ORDER BY seq"  # noqa: S608 - our own names

SCHEMA: Final = (
    """CREATE TABLE entries (
    seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, laptop TEXT NOT NULL, number INTEGER NOT NULL,
    utc TEXT NOT NULL, "by" TEXT NOT NULL, kind TEXT NOT NULL, body TEXT NOT NULL,
    previous TEXT NOT NULL, sum TEXT NOT NULL, UNIQUE (laptop, number))""",
    """CREATE TRIGGER entries_stay BEFORE UPDATE ON entries
    BEGIN SELECT RAISE(ABORT, 'the ledger is append-only: write a correction'); END""",
    """CREATE TRIGGER entries_last BEFORE DELETE ON entries
    BEGIN SELECT RAISE(ABORT, 'the ledger is append-only: nothing is deleted'); END""",
    """CREATE VIEW truth AS
    SELECT e.seq, e.id, e.utc, e."by", e.kind, COALESCE((
        SELECT json_extract(c.body, '$.body') FROM entries c
        WHERE c.kind = 'correction' AND json_extract(c.body, '$.replaces') = e.id
        ORDER BY c.seq DESC LIMIT 1), e.body) AS body
    FROM entries e
    WHERE e.kind <> 'correction' AND (e.kind = 'retired' OR NOT EXISTS (
        SELECT 1 FROM entries c WHERE c.kind = 'correction'
        AND json_extract(c.body, '$.replaces') = e.id AND json_extract(c.body, '$.body') IS NULL))""",
    """CREATE VIEW life AS
    SELECT t.seq, t.utc, t."by", t.kind, COALESCE(s.value, json_extract(t.body, '$.serial')) AS serial,
        t.body FROM truth t LEFT JOIN json_each(t.body, '$.serials') s""",
    """CREATE VIEW parts AS
    SELECT serial, SUM(kind = 'firing') AS firings, SUM(kind IN ('firing', 'proof')) AS cycles,
        MAX(kind = 'retired') AS retired, MAX(utc) AS last FROM life
    WHERE serial IS NOT NULL GROUP BY serial""",
)  # fmt: skip


def this_laptop() -> str:
    """A short name of this machine for its chain; it gives neither host nor network away."""
    return sha256(f"{getnode():012x}|{node()}".encode()).hexdigest()[:12]


def utc_now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


class Ledger:
    """One open ledger. Use as a context."""

    def __init__(
        self, folder: Path, *, laptop: str | None = None, clock: Callable[[], str] = utc_now
    ) -> None:
        self.path = folder / NAME
        self._head = folder / HEAD
        self._laptop = laptop or this_laptop()
        self._clock = clock
        folder.mkdir(parents=True, exist_ok=True)
        self._base = sqlite3.connect(self.path, timeout=10.0, isolation_level=None)
        try:
            self._base.execute("PRAGMA journal_mode = WAL")
            self._base.execute("PRAGMA synchronous = FULL")
            self._make()
        except (sqlite3.DatabaseError, UnicodeError) as error:
            self._base.close()
            raise LedgerError(f"{self.path}: is no ledger that can be read: {error}") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self._base.close()

    def _make(self) -> None:
        self._base.execute("BEGIN IMMEDIATE")
        if not self._base.execute("SELECT 1 FROM sqlite_master WHERE name = 'entries'").fetchone():
            for statement in SCHEMA:
                self._base.execute(statement)
        self._base.execute("COMMIT")

    # ---- reading ---------------------------------------------------------------------------------

    def entries(self) -> Iterator[Entry]:
        """Every entry in the order it came into this file."""
        try:
            for row in self._base.execute(_SELECT):
                yield Entry(**dict(zip(COLUMNS, row, strict=True)))
        except sqlite3.DatabaseError as error:
            raise LedgerError(f"{self.path}: cannot be read: {error}") from error

    def fold(self) -> Fold:
        """The state of every part now. Entries of several laptops are joined by time."""
        try:
            rows = self._base.execute(
                "SELECT id, laptop, utc, kind, body FROM entries ORDER BY seq"
            ).fetchall()
            bodies = json.loads("[" + ",".join(row[4] for row in rows) + "]")
        except (sqlite3.DatabaseError, ValueError) as error:
            raise LedgerError(f"{self.path}: cannot be read: {error}") from error
        return Fold(_joined(rows, bodies))

    def verify(self) -> list[str]:
        """A sentence for each thing that is not as it was written; empty if all holds."""
        try:
            wrong = [
                f"structure: {text}"
                for (text,) in self._base.execute("PRAGMA integrity_check")
                if text != "ok"
            ]
            known = [sql for (sql,) in self._base.execute(
                "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY rowid")]  # fmt: skip
            if known != list(SCHEMA):
                wrong.append("structure: tables, triggers or views are not those of a ledger")
            entries = list(self.entries())
        except (sqlite3.DatabaseError, LedgerError, ValueError, TypeError) as error:
            return [f"{self.path.name}: cannot be read: {error}"]
        return wrong + chain_faults(entries) + self._head_faults(entries)

    def _head_faults(self, entries: list[Entry]) -> list[str]:
        if not self._head.exists():
            return ["ledger.head is missing: a shortened file could not be told"] if entries else []
        remembered = self._head.read_text(encoding="utf-8", errors="replace").strip()
        sums = {entry.sum for entry in entries}
        if remembered in sums:
            return []
        return [f"the newest entry once was {remembered[:12]}…; it is not in this file"]

    # ---- writing ---------------------------------------------------------------------------------

    def add(self, kind: str, facts: dict[str, Any], by: str, *, name: str | None = None) -> Entry:
        """Write one entry and return it when it is on the medium.

        `name` makes the entry's id: the same thing written twice is written once. LedgerError says
        in a sentence why an entry is refused.
        """
        if not by.strip():
            raise LedgerError(f"{kind}: expected the name of who writes it, got an empty text")
        identity = name or uuid4().hex
        self._base.execute("BEGIN IMMEDIATE")
        try:
            there = self._entry(identity)
            if there is None:
                may_be_added(kind, facts, self._entry, self._part_is_made)
                there = self._append(identity, by, kind, canonical(facts))
            self._base.execute("COMMIT")
        except BaseException:
            if self._base.in_transaction:
                self._base.execute("ROLLBACK")
            raise
        self._remember(there)
        return there

    def _append(self, identity: str, by: str, kind: str, body: str) -> Entry:
        last = self._base.execute(
            "SELECT number, sum FROM entries WHERE laptop = ? ORDER BY number DESC LIMIT 1",
            (self._laptop,),
        ).fetchone() or (0, FIRST)
        return self._put(
            _summed(
                Entry(
                    id=identity,
                    laptop=self._laptop,
                    number=last[0] + 1,
                    utc=self._clock(),
                    by=by.strip(),
                    kind=kind,
                    body=body,
                    previous=last[1],
                    sum="",
                )
            )
        )

    def _put(self, entry: Entry) -> Entry:
        marks = ", ".join("?" * len(COLUMNS))
        names = ", ".join(f'"{name}"' for name in COLUMNS)
        self._base.execute(
            f"INSERT INTO entries ({names}) VALUES ({marks})",  # noqa: S608 - our own names
            astuple(entry),
        )
        return entry

    def _remember(self, entry: Entry) -> None:
        draft = self._head.with_suffix(".part")
        draft.write_text(entry.sum + "\n", encoding="utf-8")
        draft.replace(self._head)

    def _entry(self, identity: str) -> Entry | None:
        row = self._base.execute(
            _SELECT.replace("ORDER BY seq", "WHERE id = ?"), (identity,)
        ).fetchone()
        return Entry(**dict(zip(COLUMNS, row, strict=True))) if row else None

    def _part_is_made(self, serial: str) -> bool:
        return bool(
            self._base.execute(
                "SELECT 1 FROM entries WHERE kind = 'made' AND json_extract(body, '$.serial') = ?",
                (serial,),
            ).fetchone()
        )

    # ---- hand-over -------------------------------------------------------------------------------

    def export(self) -> str:
        """Everything as JSON lines, one entry a line."""
        return "".join(
            canonical(dict(zip(COLUMNS, astuple(entry), strict=True))) + "\n"
            for entry in self.entries()
        )

    def take_in(self, text: str) -> int:
        """Add what an export holds and this ledger does not; returns how many entries came.

        All or nothing: a line that cannot be read, a broken chain or two histories of one laptop
        refuse the whole.
        """
        new = _read_export(text)
        have = {entry.id: entry for entry in self.entries()}
        missing = [entry for entry in new if entry.id not in have]
        forked = [e for e in new if e.id in have and have[e.id] != e]
        taken = {(e.laptop, e.number): e.id for e in have.values()}
        forked += [e for e in missing if (e.laptop, e.number) in taken]
        if forked:
            raise LedgerError(
                f"import: entry {forked[0].number} of laptop {forked[0].laptop} differs from the one "
                "here: two histories of one laptop are never joined"
            )
        wrong = chain_faults([*have.values(), *missing])
        if wrong:
            raise LedgerError("import: " + "; ".join(wrong))
        self._base.execute("BEGIN IMMEDIATE")
        try:
            for entry in missing:
                self._put(entry)
            self._base.execute("COMMIT")
        except BaseException:
            if self._base.in_transaction:
                self._base.execute("ROLLBACK")
            raise
        if missing:
            self._remember(missing[-1])
        return len(missing)


def _summed(entry: Entry) -> Entry:
    told = dict(zip(COLUMNS, astuple(entry), strict=True))
    return Entry(**(told | {"sum": sum_of(entry)}))


def _joined(rows: list[tuple[str, ...]], bodies: list[dict[str, Any]]) -> Iterable[Told]:
    """By time, but never against the order of one laptop, whose clock may have been set back."""
    told = [Told(row[0], row[2], row[3], facts) for row, facts in zip(rows, bodies, strict=True)]
    if len({row[1] for row in rows}) < 2:
        return told
    newest: dict[str, str] = {}
    keys = []
    for at, row in enumerate(rows):
        newest[row[1]] = max(newest.get(row[1], ""), row[2])
        keys.append((newest[row[1]], row[1], at))
    return [told[key[2]] for key in sorted(keys)]


def chain_faults(entries: Iterable[Entry]) -> list[str]:
    """A sentence for each entry whose sum is wrong or that does not hold on to the one before."""
    wrong = []
    last: dict[str, tuple[int, str]] = {}
    for entry in sorted(entries, key=lambda e: (e.laptop, e.number)):
        number, previous = last.get(entry.laptop, (0, FIRST))
        where = f"entry {entry.number} of laptop {entry.laptop}"
        if entry.right_sum() != entry.sum:
            wrong.append(f"{where}: its bytes are not those that were written")
        if entry.number != number + 1 or entry.previous != previous:
            wrong.append(f"{where}: does not hold on to entry {entry.number - 1}")
        last[entry.laptop] = (entry.number, entry.sum)
    return wrong


def _read_export(text: str) -> list[Entry]:
    found = []
    for number, line in enumerate(text.splitlines(), 1):
        try:
            told = json.loads(line)
            found.append(Entry(**told))
        except (ValueError, TypeError) as error:
            raise LedgerError(f"import: line {number} is no entry: {error}") from error
    return found
