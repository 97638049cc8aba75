"""What `berm procedure` prints is the table and nothing else."""

import json

from daq.procedure.describe import as_json, describe, drawing, mermaid, moves, refusals, table
from daq.procedure.fire import REFUSED, STEPS
from daq.procedure.phases import Event, Phase


def test_the_printed_table_holds_every_pair():
    """Read back from the print, it is the table again."""
    head, *rows = table().splitlines()
    starts = [head.index(f" {phase} ") + 1 for phase in list(Phase)[:-1]]
    starts.append(head.rindex(Phase.INSPECT))
    read = {}
    for row in rows:
        event = Event(row.split()[0])
        for phase, at in zip(Phase, starts, strict=True):
            cell = row[at:].split()[0]
            if cell != "-":
                read[phase, event] = phase if cell == "stays" else Phase(cell)
    assert read == STEPS


def test_the_drawing_holds_every_change_of_phase():
    lines = mermaid().splitlines()
    drawn = {line.strip().split(" : ")[0] for line in lines if "-->" in line}
    for (before, after), events in moves().items():
        if set(events) - {Event.LIT, Event.TRIP, Event.ABORT_CALLED}:
            assert f"{before} --> {after}" in drawn
    assert "    note right of BURNING : LIT from every phase" in lines
    assert "    note right of ABORT : TRIP from every phase" in lines
    assert "    note right of ABORT : ABORT_CALLED from every phase" in lines


def test_the_terminal_page_names_every_phase_and_the_latch():
    text = describe()
    assert all(phase in drawing() for phase in Phase)
    assert "approach latch" in text
    assert len(refusals().splitlines()) == len(REFUSED)


def test_a_script_gets_the_same_table():
    body = json.loads(json.dumps(as_json()))
    steps = {(Phase(p), Event(e)): Phase(a) for p, e, a in body["steps"]}
    assert steps == STEPS
