"""Read one TOML table into one frozen dataclass; every fault is a sentence, none is a traceback.

The dataclass is the schema. A float field ends in its SI unit (`wall_m`), and the file may give it
in any unit of that dimension (`wall_mm`, `wall_in`); the value arrives in SI. Unknown keys, missing
keys, wrong types and values out of range are refused. A field without a default must be in the
file, and nothing that limits anything has a default. Ranges are written in the type:
`Annotated[float, Bound(low=0.0)]`. A dataclass may have `faults()`, which yields what only several
fields together show. The same reader reads back what `as_json` wrote.
"""

import difflib
import math
import tomllib
from dataclasses import MISSING, Field, dataclass, fields, is_dataclass
from datetime import date
from pathlib import Path
from types import NoneType
from typing import (
    TYPE_CHECKING,
    Annotated,
    Any,
    Final,
    Literal,
    NamedTuple,
    TypeVar,
    get_args,
    get_origin,
)
from typing import get_type_hints as type_hints

from daq.errors import ConfigError
from daq.units import PAIRS, UNITS, both, split_key, to_si

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Bound:
    """Range of a number, in SI: `low < x < high`, closed ends where `closed` says so."""

    low: float = -math.inf
    high: float = math.inf
    closed: str = ""  # "low", "high" or "low high"

    def holds(self, value: float) -> bool:
        above = value >= self.low if "low" in self.closed else value > self.low
        under = value <= self.high if "high" in self.closed else value < self.high
        return above and under

    def says(self, unit: str) -> str:
        """The range in words, in the unit the file uses."""
        words = []
        if self.low > -math.inf:
            words.append(
                f"{'at least' if 'low' in self.closed else 'more than'} {_in(self.low, unit)}"
            )
        if self.high < math.inf:
            words.append(
                f"{'at most' if 'high' in self.closed else 'less than'} {_in(self.high, unit)}"
            )
        return "a number " + " and ".join(words)


@dataclass(frozen=True, slots=True)
class Filled:
    """A text that may not be empty, for example the source of a number."""


Positive = Annotated[float, Bound(low=0.0)]
NotNegative = Annotated[float, Bound(low=0.0, closed="low")]
Share = Annotated[float, Bound(low=0.0, high=1.0, closed="high")]
Count = Annotated[int, Bound(low=1, closed="low")]
Index = Annotated[int, Bound(low=0, closed="low")]
Text = Annotated[str, Filled()]


class Fault(NamedTuple):
    """One thing wrong in a table: which key, what was expected, what came."""

    key: str
    expected: str
    got: str


class _Key(NamedTuple):
    """How the file may spell one field."""

    field: Field[Any]
    hint: Any
    stem: str
    dimension: str | None

    def spellings(self) -> list[str]:
        if self.dimension is None:
            return [self.stem]
        return [
            f"{self.stem}_{u}" for u, known in UNITS.items() if known.dimension == self.dimension
        ]


def _in(value: float, unit: str) -> str:
    known = UNITS.get(unit)
    return f"{(value - known.offset) / known.factor:g} {known.symbol}" if known else f"{value:g}"


def _bare(hint: Any) -> tuple[Any, tuple[Any, ...]]:
    """Take the ranges off a type: `Annotated[float, Bound()]` -> (float, (Bound(),))."""
    if get_origin(hint) is Annotated:
        base, *marks = get_args(hint)
        return base, tuple(marks)
    return hint, ()


def _is_measured(hint: Any) -> bool:
    base, _ = _bare(hint)
    return base is float or (get_origin(base) is tuple and _bare(get_args(base)[0])[0] is float)


def keys_of(cls: type) -> list[_Key]:
    """Every field of a settings dataclass with the spellings a file may use."""
    hints = type_hints(cls, include_extras=True)
    keys = []
    for entry in fields(cls):
        hint = hints[entry.name]
        split = split_key(entry.name) if _is_measured(hint) else None
        stem, dimension = (split[0], UNITS[split[1]].dimension) if split else (entry.name, None)
        keys.append(_Key(entry, hint, stem, dimension))
    return keys


class TableReader:
    """Reads the tables of one file and collects every fault it meets (in `faults`)."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[str] = []

    def fault(self, table: str, key: str, expected: str, got: str) -> None:
        place = f" [{table}]" if table else ""
        self.faults.append(f"{self.file}{place} {key}: expected {expected}, got {got}")

    def record(self, cls: type[T], table: dict[str, Any], at: str) -> T | None:
        """One dataclass from one table; None when anything in it was wrong."""
        before = len(self.faults)
        keys = keys_of(cls)
        self._refuse_unknown(keys, table, at)
        values = {}
        for key in keys:
            found = [name for name in key.spellings() if name in table]
            if len(found) > 1:
                self.fault(at, key.stem, "this value once", " and ".join(found))
            elif found:
                unit = found[0][len(key.stem) + 1 :] if key.dimension else ""
                where = f"{at}.{found[0]}" if at else found[0]
                values[key.field.name] = self._value(
                    key.hint, table[found[0]], (at, found[0], where), unit
                )
            elif key.field.default is MISSING and key.field.default_factory is MISSING:
                self.fault(at, self._name(key), "a value (there is no default)", "nothing")
        if len(self.faults) > before:
            return None
        record = cls(**values)
        check: Callable[[], Iterator[Fault]] | None = getattr(record, "faults", None)
        for wrong in check() if check else ():
            self.fault(at, *wrong)
        return record if len(self.faults) == before else None

    @staticmethod
    def _name(key: _Key) -> str:
        return key.field.name if key.dimension is None else f"{key.stem}_<unit of {key.dimension}>"

    def _refuse_unknown(self, keys: list[_Key], table: dict[str, Any], at: str) -> None:
        known = [name for key in keys for name in key.spellings()]
        for name in table:
            if name not in known:
                near = difflib.get_close_matches(name, known, n=1)
                hint = f" (nearest: {near[0]})" if near else ""
                self.fault(at, name, f"a known key{hint}", "this one, which is unknown")

    def _value(self, hint: Any, raw: Any, place: tuple[str, str, str], unit: str) -> Any:
        base, marks = _bare(hint)
        if get_origin(base) is tuple:
            return self._many(get_args(base)[0], raw, place, unit)
        if is_dataclass(base) and isinstance(base, type):
            if isinstance(raw, dict):
                return self.record(base, raw, place[2])
            return self.fault(place[0], place[1], "a table", repr(raw))
        if get_origin(base) is Literal:
            allowed = get_args(base)
            if raw in allowed and not isinstance(raw, bool):
                return raw
            return self.fault(place[0], place[1], f"one of {_listed(allowed)}", repr(raw))
        return self._plain(base, marks, raw, place, unit)

    def _many(self, hint: Any, raw: Any, place: tuple[str, str, str], unit: str) -> Any:
        if not isinstance(raw, (list, tuple)):
            return self.fault(place[0], place[1], "a list", repr(raw))
        got = []
        for number, item in enumerate(raw, 1):
            where = (place[0], f"{place[1]} (entry {number})", f"{place[2]}.{number}")
            got.append(self._value(hint, item, where, unit))
        return tuple(got)

    def _plain(
        self, base: Any, marks: tuple[Any, ...], raw: Any, place: tuple[str, str, str], unit: str
    ) -> Any:
        at, key, _ = place
        if base is date:
            day = _day(raw)
            if day is None:
                self.fault(at, key, "a date like 2026-09-14", repr(raw))
            return day
        if not _fits(base, raw):
            return self.fault(at, key, _NAMES[base], repr(raw))
        value = (to_si(float(raw), unit) if unit else float(raw)) if base is float else raw
        for mark in marks:
            if isinstance(mark, Bound) and not mark.holds(value):
                return self.fault(at, key, mark.says(unit), f"{raw:g}")
            if isinstance(mark, Filled) and not str(value).strip():
                return self.fault(at, key, "a text that is not empty", repr(raw))
        return value


_NAMES: Final = {
    float: "a finite number",
    int: "a whole number",
    str: "a text in quotes",
    bool: "true or false",
    NoneType: "nothing",
}


def _fits(base: Any, raw: Any) -> bool:
    if base is float:
        number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
        return number and math.isfinite(raw)
    if base is int:
        return isinstance(raw, int) and not isinstance(raw, bool)
    return isinstance(raw, base)


def _day(raw: Any) -> date | None:
    if isinstance(raw, str):
        try:
            return date.fromisoformat(raw)
        except ValueError:
            return None
    return raw if type(raw) is date else None


def _listed(items: tuple[Any, ...]) -> str:
    return ", ".join(f'"{item}"' if isinstance(item, str) else str(item) for item in items)


def read_file(path: Path, cls: type[T], faults: list[str]) -> T | None:
    """Read a whole TOML file as one dataclass; sentences about what is wrong go into `faults`."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        faults.append(f"{path.name}: expected a readable file, got: {error.strerror}")
    except UnicodeDecodeError as error:
        faults.append(f"{path.name}: expected UTF-8 text, got a bad byte at {error.start}")
    except tomllib.TOMLDecodeError as error:
        faults.append(f"{path.name}: expected TOML, got a syntax fault: {error}")
    else:
        reader = TableReader(path.name)
        record = reader.record(cls, table, "")
        faults += reader.faults
        return record
    return None


def read_one(path: Path, cls: type[T]) -> T:
    """As `read_file`, raising ConfigError with one sentence a line when anything is wrong."""
    faults: list[str] = []
    record = read_file(path, cls, faults)
    if record is None:
        raise ConfigError("\n".join(faults))
    return record


def as_json(value: Any) -> Any:
    """A settings record as plain JSON values in SI; `TableReader.record` reads it back."""
    if is_dataclass(value) and not isinstance(value, type):
        return {entry.name: as_json(getattr(value, entry.name)) for entry in fields(value)}
    if isinstance(value, (tuple, list)):
        return [as_json(item) for item in value]
    return value.isoformat() if isinstance(value, date) else value


def shown(value: Any, name: str = "") -> list[tuple[str, str]]:
    """Every value of a record as (dotted name, text), measured ones in both unit systems."""
    if is_dataclass(value) and not isinstance(value, type):
        rows = []
        for key in keys_of(type(value)):
            inner = getattr(value, key.field.name)
            dotted = f"{name}.{key.stem}" if name else key.stem
            if key.dimension and isinstance(inner, float):
                rows.append((dotted, _measure(inner, key)))
            else:
                rows += shown(inner, dotted)
        return rows
    if isinstance(value, tuple):
        if all(isinstance(item, (str, int, float)) for item in value):
            return [(name, ", ".join(f"{item}" for item in value) or "none")]
        return [
            row for number, item in enumerate(value, 1) for row in shown(item, f"{name}.{number}")
        ]
    return [(name, "yes" if value is True else "no" if value is False else f"{value}")]


def _measure(value: float, key: _Key) -> str:
    assert key.dimension is not None
    if key.dimension in PAIRS:
        return both(value, key.dimension)
    suffix = key.field.name[len(key.stem) + 1 :]
    return f"{value:g} {UNITS[suffix].symbol}"
