"""The firing procedure in print: its table, its drawing, its refusals, all made from `STEPS`.

Nothing is written down twice: change the table and these pages change.
"""

from collections.abc import Iterator
from typing import Any

from daq.procedure.fire import REFUSED, STEPS
from daq.procedure.phases import BOARD_AGREES, WORDS, Event, Phase


def moves() -> dict[tuple[Phase, Phase], list[Event]]:
    """Every change of phase with the events that lead to it, in the order of the words."""
    found: dict[tuple[Phase, Phase], list[Event]] = {}
    for before in Phase:
        for event in Event:
            after = STEPS.get((before, event))
            if after is not None and after is not before:
                found.setdefault((before, after), []).append(event)
    return found


def table() -> str:
    """Events down, phases across: the phase it leads to, `stays`, or `-` where it is refused."""
    width = max(len(event) for event in Event)
    columns = [max(len(phase), *(len(_cell(phase, event)) for event in Event)) for phase in Phase]
    head = [phase.value.ljust(size) for phase, size in zip(Phase, columns, strict=True)]
    rows = [
        "  ".join(
            [event.value.ljust(width)]
            + [_cell(p, event).ljust(size) for p, size in zip(Phase, columns, strict=True)]
        ).rstrip()
        for event in Event
    ]
    return "\n".join(["  ".join(["".ljust(width), *head]).rstrip(), *rows])


def _cell(phase: Phase, event: Event) -> str:
    after = STEPS.get((phase, event))
    if after is None:
        return "-"
    return "stays" if after is phase else after.value


def mermaid() -> str:
    """The drawing as Mermaid text; what leads there from every phase is drawn once, as a note."""
    lines = ["stateDiagram-v2", f"    [*] --> {Phase.SAFE.value}"]
    everywhere = {event for event in Event if _from_everywhere(event)}
    for (before, after), events in moves().items():
        names = [event.value for event in events if event not in everywhere]
        if names:
            lines.append(f"    {before.value} --> {after.value} : {' / '.join(names)}")
    for event in Event:
        if event in everywhere:
            after = STEPS[Phase.SAFE, event]
            lines.append(f"    note right of {after.value} : {event.value} from every phase")
    return "\n".join(lines)


def _from_everywhere(event: Event) -> bool:
    return len({STEPS.get((phase, event)) for phase in Phase}) == 1


def drawing() -> str:
    """The same for a terminal: each phase with its words and where it may go."""
    return "\n".join(line for phase in Phase for line in _phase(phase)).rstrip()


def _phase(phase: Phase) -> Iterator[str]:
    words = WORDS[phase]
    yield f"{phase.value}   board: {' or '.join(sorted(BOARD_AGREES[phase]))}"
    yield f"    {words.now} {words.not_yet}"
    for (before, after), events in moves().items():
        if before is phase:
            yield f"    -> {after.value.ljust(9)}  {', '.join(event.value for event in events)}"
    yield ""


def refusals() -> str:
    """What each phase answers to the events it does not take."""
    return "\n".join(
        f"{phase.value} + {event.value}: {text}" for (phase, event), text in REFUSED.items()
    )


def describe() -> str:
    """The pages of `berm procedure`, for reading."""
    return (
        "Firing procedure: event down, phase across; 'stays' is taken and changes nothing, "
        "'-' is refused.\nSAFE names a phase; whether people may go forward is the approach latch "
        "alone.\n\n"
        f"{table()}\n\n{drawing()}\n"
    )


def as_json() -> dict[str, Any]:
    """The table for a script: phases, events, steps as [phase, event, phase], refusals."""
    return {
        "phases": [phase.value for phase in Phase],
        "events": [event.value for event in Event],
        "steps": [[p.value, e.value, after.value] for (p, e), after in STEPS.items()],
        "refused": [[p.value, e.value, text] for (p, e), text in REFUSED.items()],
    }
