"""The checklist as data: read from TOML, checked, never changed; who signs what is `signatures.py`.

Every fault of a file is one sentence: `fire.toml line D7 who: expected ..., got ...`. Unknown keys
are refused. The order in the file is the order of the day; a line cannot be signed before the ones
above it (practice 2.1).
"""

import difflib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from daq.errors import ConfigError
from daq.procedure.checks import ACTS, KNOWN, TOOL_CHECKS
from daq.procedure.phases import Phase
from daq.settings_crew import Crew

ROLES: Final = ("RSO", "TC", "PAD", "DATA", "LOOKOUT", "ALL")
TOP_KEYS: Final = frozenset({"title", "section"})
SECTION_KEYS: Final = frozenset({"letter", "title", "line"})
ASK_KEYS: Final = frozenset({"key", "text", "unit", "at_least", "at_most", "equals"})
SIGNED_IN: Final = frozenset({Phase.SAFE, Phase.WAIT, Phase.MISFIRE, Phase.ABORT, Phase.INSPECT})
"""Enter acts on checklist lines in these phases only; elsewhere a line signs itself (`auto`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One typed value of a line. With a unit it is a number, else a text; blank is never zero.

    `at_least` and `at_most` are numbers or names of the range's limits (`KNOWN`); `equals` names
    a value typed before, or a difference of two ("heads_in - heads_pad").
    """

    key: str
    text: str
    unit: str | None = None
    at_least: float | str | None = None
    at_most: float | str | None = None
    equals: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One step. `who` are the roles of the first signer, `second` those of the second person.

    `tool`: checks that must hold; `start`: set off by the first Enter while they do not; `act`:
    performed when everything else is right, before the line counts as signed; `auto`: signed by the
    tool as soon as its checks hold; `at_s`: mark of the clock; `each_count`: opened by a recycle;
    `release`: also a step of the release after a scrub or an abort; `keeps`: survives a change of
    the set-up.
    """

    id: str
    text: str
    who: tuple[str, ...] = ()
    second: tuple[str, ...] = ()
    tool: tuple[str, ...] = ()
    start: str | None = None
    act: str | None = None
    asks: tuple[Ask, ...] = ()
    say: str = ""
    reply: str = ""
    hold_if: str = ""
    phases: frozenset[Phase] = frozenset({Phase.SAFE})
    at_s: float | None = None
    auto: bool = False
    hold_point: bool = False
    each_count: bool = False
    release: bool = False
    keeps: bool = False

    @property
    def is_two_person(self) -> bool:
        return bool(self.second)


LINE_KEYS: Final = frozenset(Line.__dataclass_fields__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    letter: str
    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checklist:
    """A checked checklist; `lines` in the order of the day."""

    title: str
    sections: tuple[Section, ...]

    @property
    def lines(self) -> tuple[Line, ...]:
        return tuple(line for section in self.sections for line in section.lines)

    def line(self, line_id: str) -> Line | None:
        return next((line for line in self.lines if line.id == line_id), None)

    def section_of(self, line_id: str) -> Section:
        return next(s for s in self.sections if any(line.id == line_id for line in s.lines))

    def with_act(self, act: str) -> Line | None:
        """The first line that performs this act."""
        return next((line for line in self.lines if line.act == act), None)

    def gaps(self, crew: Crew) -> list[str]:
        """Lines this crew cannot sign, one sentence each; empty if it can sign them all."""
        return [gap for line in self.lines for gap in _gap(line, crew)]


def holders(crew: Crew, roles: tuple[str, ...]) -> list[str]:
    """Names that hold one of the roles, in the order of the crew list; ALL is everybody."""
    return [p.name for p in crew.people if "ALL" in roles or set(p.roles) & set(roles)]


def _gap(line: Line, crew: Crew) -> Iterator[str]:
    first, second = holders(crew, line.who), holders(crew, line.second)
    if line.auto:
        return
    if not first:
        yield f"line {line.id} needs {' or '.join(line.who)}, and nobody holds that role."
    elif line.second and not any(a != b for a in first for b in second):
        yield (
            f"line {line.id} needs two people, {' or '.join(line.who)} and "
            f"{' or '.join(line.second)}: give somebody else one of these roles."
        )


# ---- reading -----------------------------------------------------------------------------------


def load_checklist(path: Path) -> Checklist:
    """Read and check a checklist file; ConfigError names every fault in it, one a line."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as why:
        raise ConfigError(f"{path.name}: expected a readable checklist, got {why}") from why
    return read_checklist(text, path.name)


def read_checklist(text: str, name: str) -> Checklist:
    """As `load_checklist`, from the text of a file called `name`."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as why:
        raise ConfigError(f"{name}: expected TOML, got a fault: {why}") from why
    reader = _Reader(name)
    checklist = reader.checklist(table)
    reader.order(checklist)
    if reader.faults:
        raise ConfigError("\n".join(reader.faults))
    return checklist


class _Reader:
    """Collects every fault of one file."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.faults: list[str] = []

    def fault(self, where: str, expected: str, got: object) -> None:
        self.faults.append(f"{self.name} {where}: expected {expected}, got {got}")

    def checklist(self, table: dict[str, Any]) -> Checklist:
        self._known(table, TOP_KEYS, "top")
        sections = self._tables(table.get("section"), "section")
        if not sections:
            self.fault("section", "at least one [[section]]", "none")
        return Checklist(
            title=self._text(table, "title", "top"),
            sections=tuple(self._section(each) for each in sections),
        )

    def _section(self, table: dict[str, Any]) -> Section:
        where = f"section {table.get('letter', '?')}"
        self._known(table, SECTION_KEYS, where)
        letter = self._text(table, "letter", where)
        lines = tuple(self._line(each) for each in self._tables(table.get("line"), where))
        for line in lines:
            if line.id[:1] != letter:
                self.fault(f"line {line.id} id", f"an id that begins with {letter}", line.id)
        if not lines:
            self.fault(where, "at least one [[section.line]]", "none")
        return Section(letter=letter, title=self._text(table, "title", where), lines=lines)

    def _line(self, table: dict[str, Any]) -> Line:
        where = f"line {table.get('id', '?')}"
        self._known(table, LINE_KEYS, where)
        asks = tuple(self._ask(each, where) for each in self._tables(table.get("asks"), where))
        line = Line(
            id=self._text(table, "id", where),
            text=self._text(table, "text", where),
            who=self._names(table, "who", where, ROLES),
            second=self._names(table, "second", where, ROLES),
            tool=self._names(table, "tool", where, tuple(TOOL_CHECKS)),
            start=self._name(table, "start", where, tuple(ACTS)),
            act=self._name(table, "act", where, tuple(ACTS)),
            asks=asks,
            say=self._optional(table, "say", where),
            reply=self._optional(table, "reply", where),
            hold_if=self._optional(table, "hold_if", where),
            phases=self._phases(table, where),
            at_s=self._number(table, "at_s", where),
            **{key: self._flag(table, key, where) for key in FLAGS},
        )
        self._line_makes_sense(line)
        return line

    def _line_makes_sense(self, line: Line) -> None:
        where = f"line {line.id}"
        if line.auto and (line.who or line.second or line.asks or line.start):
            self.fault(f"{where} auto", "no who, second, asks or start on it", "some")
        if line.auto and not line.tool:
            self.fault(f"{where} auto", "at least one tool check", "none")
        if not line.auto and not line.who:
            self.fault(f"{where} who", "at least one role", "none")
        if not line.auto and not line.phases & SIGNED_IN:
            allowed = ", ".join(sorted(SIGNED_IN))
            self.fault(f"{where} phases", f"a phase in which Enter signs ({allowed})", "none")
        if line.start and not line.tool:
            self.fault(f"{where} start", "a tool check that tells when it is done", "none")
        if line.reply and not line.say:
            self.fault(f"{where} reply", "say, the words it replies to", "nothing")

    def _ask(self, table: dict[str, Any], where: str) -> Ask:
        self._known(table, ASK_KEYS, f"{where} asks")
        key = self._text(table, "key", f"{where} asks")
        return Ask(
            key=key,
            text=self._text(table, "text", f"{where} asks {key}"),
            unit=self._optional(table, "unit", f"{where} asks {key}") or None,
            at_least=self._limit(table, "at_least", f"{where} asks {key}"),
            at_most=self._limit(table, "at_most", f"{where} asks {key}"),
            equals=self._optional(table, "equals", f"{where} asks {key}") or None,
        )

    def order(self, checklist: Checklist) -> None:
        """What only the whole list shows."""
        ids = [line.id for line in checklist.lines]
        for twice in sorted({each for each in ids if ids.count(each) > 1}):
            self.fault(f"line {twice} id", "each id once", f"{ids.count(twice)} times")
        self._asked_before(checklist)
        acts = [line.act for line in checklist.lines]
        for act in ("people_clear", "key_in", "arm", "unplugged", "open_range"):
            if act not in acts:
                self.fault("act", f"a line with act = {act!r}", "none")
        self._before(acts, "people_clear", "key_in", "the latch closes before the key may go in")
        self._before(acts, "key_in", "arm", "arming is a second, separate action")
        self._before(acts, "arm", "unplugged", "the line is unplugged after the attempt")
        for line in checklist.lines:
            if line.act in TWO_NAMES and not line.is_two_person:
                self.fault(f"line {line.id} second", f"a second person for {line.act}", "none")
            if line.act == "open_range" and "RSO" not in line.who:
                self.fault(f"line {line.id} who", "RSO, who alone opens the range", line.who)

    def _asked_before(self, checklist: Checklist) -> None:
        keys: set[str] = set()
        for line in checklist.lines:
            for ask in line.asks:
                where = f"line {line.id} asks {ask.key}"
                if ask.key in keys:
                    self.fault(where, "each key once", "a second one")
                for name in (ask.equals or "").split(" - ") if ask.equals else ():
                    if name not in keys:
                        self.fault(f"{where} equals", "a value asked above", repr(name))
                keys.add(ask.key)

    def _before(self, acts: list[str | None], first: str, then: str, why: str) -> None:
        if first in acts and then in acts and acts.index(first) > acts.index(then):
            self.fault("act", f"{first} above {then} ({why})", "the other order")

    # ---- single keys ---------------------------------------------------------------------------

    def _known(self, table: dict[str, Any], known: frozenset[str], where: str) -> None:
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                hint = f" (did you mean {near[0]}?)" if near else ""
                self.fault(f"{where} {key}", f"a known key{hint}", "an unknown one")

    def _tables(self, value: object, where: str) -> list[dict[str, Any]]:
        if value is None:
            return []
        if isinstance(value, list) and all(isinstance(each, dict) for each in value):
            return value
        self.fault(where, "a list of tables", type(value).__name__)
        return []

    def _text(self, table: dict[str, Any], key: str, where: str) -> str:
        value = table.get(key)
        if isinstance(value, str) and value.strip():
            return value
        self.fault(f"{where} {key}", "a text", "nothing" if value is None else repr(value))
        return "?"

    def _optional(self, table: dict[str, Any], key: str, where: str) -> str:
        return self._text(table, key, where) if key in table else ""

    def _flag(self, table: dict[str, Any], key: str, where: str) -> bool:
        value = table.get(key, False)
        if not isinstance(value, bool):
            self.fault(f"{where} {key}", "true or false", repr(value))
        return bool(value)

    def _number(self, table: dict[str, Any], key: str, where: str) -> float | None:
        value = table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            self.fault(f"{where} {key}", "a number, 0 or more", repr(value))
            return None
        return float(value)

    def _limit(self, table: dict[str, Any], key: str, where: str) -> float | str | None:
        value = table.get(key)
        if isinstance(value, str):
            return self._one_of(value, f"{where} {key}", tuple(KNOWN))
        if value is None or (isinstance(value, int | float) and not isinstance(value, bool)):
            return None if value is None else float(value)
        self.fault(f"{where} {key}", "a number or the name of a limit", repr(value))
        return None

    def _name(
        self, table: dict[str, Any], key: str, where: str, known: tuple[str, ...]
    ) -> str | None:
        return self._one_of(table[key], f"{where} {key}", known) if key in table else None

    def _names(
        self, table: dict[str, Any], key: str, where: str, known: tuple[str, ...]
    ) -> tuple[str, ...]:
        value = table.get(key, [])
        if not isinstance(value, list):
            self.fault(f"{where} {key}", "a list of names", repr(value))
            return ()
        return tuple(self._one_of(each, f"{where} {key}", known) for each in value)

    def _one_of(self, value: object, where: str, known: tuple[str, ...]) -> str:
        if value not in known:
            near = difflib.get_close_matches(str(value), known, 1)
            hint = f"{near[0]!r}?" if near else f"one of {', '.join(known)}"
            self.fault(where, hint, repr(value))
        return str(value)

    def _phases(self, table: dict[str, Any], where: str) -> frozenset[Phase]:
        if "phases" not in table:
            return frozenset({Phase.SAFE})
        names = self._names(table, "phases", where, tuple(Phase))
        return frozenset(Phase(each) for each in names if each in set(Phase))


FLAGS: Final = ("auto", "hold_point", "each_count", "release", "keeps")
TWO_NAMES: Final = frozenset({"open_range", "people_clear", "unplugged"})
