"""Who signed which line: the running state of a checklist, with names, roles, codes and values.

A code is a guard against haste, not against malice. Three wrong codes lock that name; the range
safety officer then vouches for that person with the own code, on record. The same person never
signs twice on a two-person line, nor vouches for the other signature of it. An engine that starts
anew starts with nothing signed.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from daq.procedure.checklist import Checklist, Line, holders
from daq.procedure.phases import Phase, Refusal
from daq.procedure.typed import Value, read_values
from daq.settings_crew import Crew

WRONG_CODES: Final = 3
TOOL: Final = "tool"
SECOND_WITHIN_S: Final = 60.0
"""The two names of a two-person line are at most this far apart (practice 1.4)."""

Checks = Mapping[str, tuple[bool, str]]
"""Tool check -> (holds, sentence why not)."""
Known = Mapping[str, Value]
"""What the engine knows by name: limits of the range, serials."""
Perform = Callable[[str, tuple[str, ...]], str]
"""Performs an act for these names; "" or the sentence that refuses it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """The line counts as signed; `names` as they go into the record."""

    line: str
    names: tuple[str, ...]
    values: dict[str, Value] = field(default_factory=dict)
    act: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedsSecond:
    """The first of two names stands for 60 s; one of `who` signs next, with the own code."""

    line: str
    first: str
    who: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """The tool does its part of the line now; Enter again when its check holds."""

    line: str
    act: str


Answer = Signed | NeedsSecond | Started | Refusal


@dataclass(slots=True)
class _Pending:
    """The first signature of a two-person line."""

    line: str
    by: str
    label: str
    voucher: str
    values: dict[str, Value]
    since_ns: int


class Signatures:
    """The signatures of one checklist by one crew. `known` are the limits that asks may name."""

    def __init__(self, checklist: Checklist, crew: Crew, known: Known | None = None) -> None:
        self.checklist = checklist
        self.crew = crew
        self.known: dict[str, Value] = dict(known or {})
        self.releasing = False
        self._signed: dict[str, tuple[Signed, int]] = {}
        self._pending: _Pending | None = None
        self._wrong: dict[str, int] = {}

    # ---- signing -------------------------------------------------------------------------------

    def sign(
        self,
        line_id: str,
        *,
        by: str,
        code: str,
        now_ns: int,
        phase: Phase,
        checks: Checks,
        perform: Perform,
        values: Mapping[str, Any] | None = None,
        vouched_by: str = "",
    ) -> Answer:
        """Sign a line, or start the tool's part of it, or say everything that is in the way.

        A one-person line takes a code if one is given; a two-person line asks it of both.
        """
        line = self.checklist.line(line_id)
        wrong = self._out_of_turn(line_id, line, phase)
        if wrong or line is None:
            return Refusal(text=wrong)
        pending = self._pending_of(line, now_ns)
        wrong = self._may_not_sign(line, by, pending, vouched_by) or self._code_is_wrong(
            line, by, code, vouched_by
        )
        if wrong:
            return Refusal(text=wrong)
        missing = unmet(line, checks)
        if missing and line.start and pending is None:
            refused = perform(line.start, (by,))
            return Refusal(text=refused) if refused else Started(line=line.id, act=line.start)
        asks = () if pending else line.asks
        given, faults = read_values(asks, values or {}, self.known, self.values())
        if missing or faults:
            all_of_it = (*missing, *faults)
            return Refusal(text=f"{line.id}: " + " ".join(all_of_it), missing=all_of_it)
        label = f"{by} (vouched by {vouched_by})" if vouched_by else by
        if line.is_two_person and pending is None:
            self._pending = _Pending(line.id, by, label, vouched_by, given, now_ns)
            return NeedsSecond(line=line.id, first=by, who=tuple(self._seconds(line, by)))
        return self._finish(line, by, label, pending, given, now_ns, perform)

    def _finish(
        self,
        line: Line,
        by: str,
        label: str,
        pending: _Pending | None,
        given: dict[str, Value],
        now_ns: int,
        perform: Perform,
    ) -> Signed | Refusal:
        plain = (by,) if pending is None else (pending.by, by)
        labels = (label,) if pending is None else (pending.label, label)
        refused = perform(line.act, plain) if line.act else ""
        if refused:
            return Refusal(text=refused)
        signed = Signed(
            line=line.id,
            names=labels,
            values=given if pending is None else pending.values,
            act=line.act,
        )
        self._signed[line.id] = (signed, now_ns)
        self._pending = None
        if self.releasing and self.next_line(Phase.SAFE) is None:
            self.end_release()
        return signed

    def sign_by_tool(
        self, phase: Phase, checks: Checks, now_ns: int, perform: Perform
    ) -> list[Signed]:
        """Sign every `auto` line whose turn it is and whose checks hold; what was signed."""
        done: list[Signed] = []
        while (line := self.next_line(phase)) is not None and line.auto:
            if unmet(line, checks) or (line.act and perform(line.act, (TOOL,))):
                break
            signed = Signed(line=line.id, names=(TOOL,), act=line.act)
            self._signed[line.id] = (signed, now_ns)
            done.append(signed)
        return done

    # ---- opening again -------------------------------------------------------------------------

    def recycle(self, to_s: float) -> list[str]:
        """Open again the lines marked `each_count`, and those of the clock from T−`to_s` on."""
        again = [
            line.id
            for line in self.checklist.lines
            if line.each_count or (line.at_s is not None and line.at_s <= to_s)
        ]
        return self.reopen(again)

    def void(self) -> list[str]:
        """The set-up changed: open again every line that does not keep; which were signed."""
        return self.reopen([line.id for line in self.checklist.lines if not line.keeps])

    def begin_release(self) -> None:
        """SCRUB in SAFE with the latch CLOSED: only the release lines are offered from now on."""
        self.releasing = True
        self.reopen([line.id for line in self.checklist.lines if line.release])

    def end_release(self) -> None:
        """The release lines are signed and people may have been forward: the list goes on at the
        section in which they left, with everything from there on open again.
        """
        self.releasing = False
        left = self.checklist.with_act("people_clear")
        letters = [section.letter for section in self.checklist.sections]
        start = 0 if left is None else letters.index(self.checklist.section_of(left.id).letter)
        again = [line.id for s in self.checklist.sections[start:] for line in s.lines]
        self.reopen(again)

    def reopen(self, ids: list[str]) -> list[str]:
        """Open these lines again, a half-signed one too; which of them were signed."""
        self._pending = None
        return [each for each in ids if self._signed.pop(each, None) is not None]

    # ---- asking --------------------------------------------------------------------------------

    def is_signed(self, line_id: str) -> bool:
        return line_id in self._signed

    def names(self, line_id: str) -> tuple[str, ...]:
        """Who signed the line, empty if nobody did."""
        entry = self._signed.get(line_id)
        return () if entry is None else entry[0].names

    def age_s(self, line_id: str, now_ns: int) -> float:
        """Seconds since the line was signed, infinite if it is not."""
        entry = self._signed.get(line_id)
        return float("inf") if entry is None else (now_ns - entry[1]) / 1e9

    def values(self) -> dict[str, Value]:
        """Every typed value of the signed lines, by its key."""
        return {k: v for signed, _ in self._signed.values() for k, v in signed.values.items()}

    def next_line(self, phase: Phase) -> Line | None:
        """The one line whose turn it is, None if this phase has none."""
        return next((x for x in self._offered(phase) if x.id not in self._signed), None)

    def is_complete_before(self, act: str) -> bool:
        """Whether every line above the one with this act is signed."""
        for line in self.checklist.lines:
            if line.act == act:
                return True
            if line.id not in self._signed:
                return False
        return False

    def is_locked(self, name: str) -> bool:
        return self._wrong.get(name, 0) >= WRONG_CODES

    def _offered(self, phase: Phase) -> list[Line]:
        """The lines of a phase in order; while releasing in SAFE those of the release alone."""
        if self.releasing and phase is Phase.SAFE:
            return [line for line in self.checklist.lines if line.release]
        return [line for line in self.checklist.lines if phase in line.phases]

    # ---- rules ---------------------------------------------------------------------------------

    def _out_of_turn(self, line_id: str, line: Line | None, phase: Phase) -> str:
        if line is None:
            return f"There is no line {line_id[:8]} in this checklist."
        if line.id in self._signed:
            return f"{line.id} is signed already, by {' and '.join(self.names(line.id))}."
        if line not in self._offered(phase):
            other = "the release steps come first" if self.releasing else "it belongs to "
            where = "" if self.releasing else ", ".join(sorted(line.phases))
            return f"{line.id} is not signed in {phase} now: {other}{where}."
        first = self.next_line(phase)
        if first is not None and first.id != line.id:
            return f"{line.id} cannot be signed before {first.id}: {first.text}."
        if line.auto:
            return f"{line.id} is verified by the tool alone; nobody signs it."
        return ""

    def _may_not_sign(self, line: Line, by: str, pending: _Pending | None, vouched_by: str) -> str:
        if self.crew.named(by) is None:
            return f"{by[:40] or 'Nobody'} is not signed on: the crew list has no such name."
        roles = line.second if pending else line.who
        if pending and by == pending.by:
            return f"{line.id} takes two people: {by} signed first, somebody else signs second."
        if by not in holders(self.crew, roles):
            return (
                f"{line.id} is signed by {' or '.join(roles)}, and {by} holds none of these roles."
            )
        if pending and (vouched_by == pending.by or by == pending.voucher):
            return f"{line.id} takes two people: who vouches for one signature is not the other."
        if pending and vouched_by and vouched_by == pending.voucher:
            return f"{line.id} takes two people: only one of them can be vouched for."
        return ""

    def _code_is_wrong(self, line: Line, by: str, code: str, vouched_by: str) -> str:
        """Check the code of the signer, or of the officer who vouches; count the wrong ones."""
        if vouched_by and vouched_by not in holders(self.crew, ("RSO",)):
            return f"Only the range safety officer vouches for {by}."
        if vouched_by == by:
            return f"{by} cannot vouch for the own signature."
        if not code and not line.is_two_person and not vouched_by:
            return "" if not self.is_locked(by) else _locked(by)
        return self.wrong_code(vouched_by or by, code)

    def wrong_code(self, name: str, code: str) -> str:
        """Check one code; "" if it is right, else the sentence. The third wrong one locks."""
        person = self.crew.named(name)
        if person is None:
            return f"{name[:40] or 'Nobody'} is not signed on: the crew list has no such name."
        if self.is_locked(name):
            return _locked(name)
        if not code:
            return f"The code of {name} is missing: four digits."
        if code == person.code:
            self._wrong[name] = 0
            return ""
        self._wrong[name] = self._wrong.get(name, 0) + 1
        if self.is_locked(name):
            return _locked(name)
        left = WRONG_CODES - self._wrong[name]
        return f"That is not the code of {name}; {left} more and the name is locked."

    def _pending_of(self, line: Line, now_ns: int) -> _Pending | None:
        pending = self._pending
        if pending is None or pending.line != line.id:
            return None
        if (now_ns - pending.since_ns) / 1e9 > SECOND_WITHIN_S:
            self._pending = None
            return None
        return pending

    def _seconds(self, line: Line, first: str) -> list[str]:
        return [name for name in holders(self.crew, line.second) if name != first]

    def last_line(self) -> Line | None:
        """The line signed last."""
        last = max(self._signed.values(), key=lambda entry: entry[1], default=None)
        return None if last is None else self.checklist.line(last[0].line)

    def first_of(self, line: Line, now_ns: int) -> str:
        """Who signed first on a two-person line that waits for the second, "" if nobody."""
        pending = self._pending_of(line, now_ns)
        return "" if pending is None else pending.by


def unmet(line: Line, checks: Checks) -> tuple[str, ...]:
    """The sentence of each tool check of the line that does not hold; not computed is not held."""
    told = []
    for name in line.tool:
        holds, why = checks.get(name, (False, f"{name} is not known yet: wait, or look at B1."))
        if not holds:
            told.append(why)
    return tuple(told)


def _locked(name: str) -> str:
    return (
        f"{name} is locked after three wrong codes: the range safety officer vouches, "
        "with the own code."
    )
