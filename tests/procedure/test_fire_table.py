"""The literal table of the firing procedure, pair by pair."""

import pytest

from daq.procedure.fire import REFUSED, STEPS
from daq.procedure.machine import Step, firing
from daq.procedure.phases import BOARD_AGREES, WORDS, Event, Phase, Refusal

PAIRS = [(phase, event) for phase in Phase for event in Event]
TOWARDS = {Phase.ARM: 1, Phase.COUNTDOWN: 2, Phase.HOLD: 2, Phase.FIRE: 3}


def nearness(phase):
    """How many answered steps lie behind the phase on the way to an energised line."""
    return TOWARDS.get(phase, 0)


@pytest.mark.parametrize(("phase", "event"), PAIRS)
def test_each_pair_is_in_the_table_or_refused_with_a_sentence(phase, event):
    assert ((phase, event) in STEPS) != ((phase, event) in REFUSED)
    if (phase, event) in REFUSED:
        text = REFUSED[phase, event]
        assert text.endswith(".")
        assert ": " in text, "says what is, then what to do"
        assert "error" not in text


@pytest.mark.parametrize(("phase", "event"), PAIRS)
def test_the_machine_agrees_with_the_table(phase, event):
    procedure = firing(phase)
    answer = procedure.step(event)
    if (phase, event) in STEPS:
        assert answer == Step(before=phase, event=event, after=STEPS[phase, event])
        assert procedure.phase is STEPS[phase, event]
    else:
        assert answer == Refusal(text=REFUSED[phase, event])
        assert procedure.phase is phase
    assert firing(phase).can(event) == ((phase, event) in STEPS)


@pytest.mark.parametrize("phase", Phase)
def test_abort_is_one_step_from_every_phase(phase):
    """Design invariant 3; practice 1.3: anyone may abort, no phase check."""
    assert STEPS[phase, Event.ABORT_CALLED] is Phase.ABORT
    assert STEPS[phase, Event.TRIP] is Phase.ABORT


@pytest.mark.parametrize("phase", Phase)
def test_a_voted_rise_is_burning_from_every_phase(phase):
    """Design invariant 6: the procedure follows the motor."""
    assert STEPS[phase, Event.LIT] is Phase.BURNING


@pytest.mark.parametrize("phase", Phase)
def test_safe_and_hold_are_never_refused(phase):
    """Design invariant 3; practice 1.3: hold and abort need no phase check."""
    assert STEPS[phase, Event.SAFE_CALLED] in {phase, Phase.SAFE, Phase.MISFIRE}
    assert (phase, Event.HOLD_CALLED) in STEPS


def test_fire_is_left_towards_misfire_whenever_the_pulse_is_cut():
    """Practice 2C: let go, key or stop in the pulse: energy may have gone in, it is a misfire."""
    cut = (Event.SAFE_CALLED, Event.LET_GO, Event.KEY_OUT, Event.STOP_IN, Event.CONSOLE_LOST,
           Event.CONSOLE_GONE, Event.NOT_LIT, Event.NOT_ACCEPTED)  # fmt: skip
    assert {STEPS[Phase.FIRE, event] for event in cut} == {Phase.MISFIRE}


def test_no_event_leads_from_fire_or_burning_back_to_safe():
    for event in Event:
        for phase in (Phase.FIRE, Phase.BURNING, Phase.WAIT, Phase.MISFIRE, Phase.ABORT):
            assert STEPS.get((phase, event)) is not Phase.SAFE, (phase, event)


def test_a_link_lost_in_the_pulse_leaves_the_outcome_unknown():
    assert STEPS[Phase.FIRE, Event.LINK_LOST] is Phase.WAIT
    assert STEPS[Phase.BURNING, Event.LINK_LOST] is Phase.BURNING
    for phase in (Phase.ARM, Phase.COUNTDOWN, Phase.HOLD):
        assert STEPS[phase, Event.LINK_LOST] is Phase.SAFE


def test_a_lost_console_holds_first_and_disarms_after_five_seconds():
    assert STEPS[Phase.COUNTDOWN, Event.CONSOLE_LOST] is Phase.HOLD
    for phase in (Phase.ARM, Phase.COUNTDOWN, Phase.HOLD):
        assert STEPS[phase, Event.CONSOLE_GONE] is Phase.SAFE


@pytest.mark.parametrize(("pair", "after"), STEPS.items())
def test_no_event_goes_more_than_one_step_nearer_to_the_pulse(pair, after):
    """Design invariant 4."""
    assert nearness(after) <= nearness(pair[0]) + 1


def test_only_four_events_go_nearer_and_each_is_an_answer():
    nearer = {event for (phase, event), after in STEPS.items() if nearness(after) > nearness(phase)}
    assert nearer == {Event.ASK_ARM, Event.ARMED, Event.GO_SENT}
    assert {pair for pair, after in STEPS.items() if after is Phase.FIRE} == {
        (Phase.COUNTDOWN, Event.GO_SENT),
        (Phase.FIRE, Event.HOLD_CALLED),
    }


def test_the_shortest_way_to_the_pulse_is_three_answered_steps():
    reached, paths = {Phase.SAFE}, [[]]
    frontier = {Phase.SAFE: ()}
    for _ in range(3):
        assert Phase.FIRE not in reached
        found = {}
        for phase, path in frontier.items():
            for event in Event:
                after = STEPS.get((phase, event))
                if after is not None and after not in reached:
                    found[after] = (*path, event)
        reached |= set(found)
        frontier = found
        paths.append(found)
    assert frontier[Phase.FIRE] == (Event.ASK_ARM, Event.ARMED, Event.GO_SENT)


def test_after_a_pulse_only_release_and_inspection_lead_to_a_new_attempt():
    """Practice 2.31 and 1.10: no second attempt before the release."""
    assert {p for (p, e) in STEPS if e is Event.ASK_ARM} == {Phase.SAFE}
    into_safe = {(p, e) for (p, e), after in STEPS.items() if after is Phase.SAFE}
    late = {Phase.FIRE, Phase.BURNING, Phase.WAIT, Phase.MISFIRE, Phase.ABORT, Phase.INSPECT}
    assert {pair for pair in into_safe if pair[0] in late} == {(Phase.INSPECT, Event.INSPECTED)}


def test_the_phase_can_be_read_and_not_set():
    procedure = firing()
    with pytest.raises(AttributeError):
        procedure.phase = Phase.FIRE
    assert not hasattr(procedure._model, "to_FIRE")


def test_each_phase_has_its_words_and_its_board_states():
    assert set(WORDS) == set(BOARD_AGREES) == set(Phase)
    states = {"DISARMED", "ARMED", "ENERGISED", "BURN", "TRIPPED"}
    assert set().union(*BOARD_AGREES.values()) == states
    for words in WORDS.values():
        for text in (words.now, words.next, words.not_yet):
            assert text.endswith(".")
            assert len(text) <= 56, "has to fit the phase cell"


def test_no_word_says_that_anything_stops_a_burn():
    """Practice 4.1: text lint."""
    texts = [t for w in WORDS.values() for t in (w.now, w.next, w.not_yet)] + [*REFUSED.values()]
    for text in texts:
        low = text.lower()
        assert "extinguish" not in low
        assert "shut down" not in low
        assert "safe to approach" not in low
        assert "stop" not in low or "stop in" in low or "cannot be stopped" in low
