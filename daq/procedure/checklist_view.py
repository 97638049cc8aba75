"""The checklist as the status carries it: one section, its lines, the one frame."""

from typing import Any

from daq.procedure.checklist import Line, Section, holders
from daq.procedure.phases import Phase
from daq.procedure.signatures import TOOL, Signatures


def view(signatures: Signatures, phase: Phase, now_ns: int) -> dict[str, Any]:
    """JSON of the status field `checklist`; the frame is None if nobody can sign anything now."""
    checklist = signatures.checklist
    line = signatures.next_line(phase)
    shown = signatures.last_line() or checklist.lines[0]
    section = checklist.section_of((shown if line is None else line).id)
    return {
        "title": checklist.title,
        "sections": [
            {"letter": s.letter, "title": s.title, "state": _section_state(signatures, s, section)}
            for s in checklist.sections
        ],
        "signed": sum(1 for each in section.lines if signatures.is_signed(each.id)),
        "total": len(section.lines),
        "lines": [_line(signatures, each, line) for each in section.lines],
        "frame": None if line is None or line.auto else _frame(signatures, line, now_ns),
    }


def _section_state(signatures: Signatures, section: Section, current: Section) -> str:
    if section is current:
        return "current"
    return "signed" if all(signatures.is_signed(x.id) for x in section.lines) else "open"


def _line(signatures: Signatures, line: Line, now_line: Line | None) -> dict[str, Any]:
    signed = signatures.is_signed(line.id)
    return {
        "id": line.id,
        "text": line.text,
        "who": _who(line),
        "state": "signed" if signed else "now" if line is now_line else "open",
        "by": list(signatures.names(line.id)),
    }


def _frame(signatures: Signatures, line: Line, now_ns: int) -> dict[str, Any]:
    first = signatures.first_of(line, now_ns)
    roles = line.second if first else line.who
    names = [name for name in holders(signatures.crew, roles) if name != first]
    who = names[0] if names else " or ".join(roles)
    return {
        "id": line.id,
        "text": line.text,
        "who": who,
        "may": names,
        "signed_by": [first] if first else [],
        "needs_code_of": who if line.is_two_person else None,
        "say": line.say,
        "reply": line.reply,
        "hold_if": line.hold_if,
        "hold_point": line.hold_point,
        "asks": [
            {"key": ask.key, "text": ask.text, "unit": ask.unit}
            for ask in (() if first else line.asks)
        ],
    }


def _who(line: Line) -> str:
    if line.auto:
        return TOOL
    first = " or ".join(line.who)
    return f"{first} + {' or '.join(line.second)}" if line.second else first
