"""The default checklist as data, and the reader that refuses what is wrong in one."""

from pathlib import Path

import pytest

from daq.errors import ConfigError
from daq.procedure.checklist import load_checklist, read_checklist
from daq.procedure.checks import ACTS, TOOL_CHECKS
from daq.procedure.phases import Phase
from daq.procedure.phrases import load_phrases
from daq.settings_crew import Crew, Person

CONFIG = Path("config")
FIRE = load_checklist(CONFIG / "checklists" / "fire.toml")
TEXT = (CONFIG / "checklists" / "fire.toml").read_text(encoding="utf-8")


def ids(letter):
    return [line.id for line in FIRE.lines if line.id.startswith(letter)]


def test_every_step_of_the_default_checklist_is_there_in_order():
    """Practice 2A, A1 to G6; A1a and F4 are our own."""
    assert ids("A") == ["A1", "A1a", "A2", "A3", "A4", "A5", "A6"]
    assert ids("B") == [f"B{n}" for n in range(1, 10)]
    assert ids("C") == [f"C{n}" for n in range(1, 5)]
    assert ids("D") == [f"D{n}" for n in range(1, 10)]
    assert ids("E") == [f"E{n}" for n in range(1, 8)]
    assert ids("F") == [f"F{n}" for n in range(1, 5)]
    assert ids("G") == [f"G{n}" for n in range(1, 7)]


def test_the_hold_points_are_where_practice_wants_them():
    """Practice 2.22."""
    assert [x.id for x in FIRE.lines if x.hold_point] == ["D4", "D8", "E1", "E5", "E7"]


def test_the_latch_closes_before_the_key_may_go_in_and_arming_is_a_second_action():
    acts = [line.act for line in FIRE.lines]
    assert acts.index("people_clear") < acts.index("key_in") < acts.index("arm")
    assert FIRE.with_act("key_in").id == "E5"
    assert FIRE.with_act("arm").id == "E6"
    safe = [line for line in FIRE.lines if Phase.SAFE in line.phases]
    assert safe[-1].act == "arm", "arm is the last line of SAFE"


@pytest.mark.parametrize(
    "line_id", ["A5", "B3", "B5", "B8", "C1", "C4", "D2", "D5", "D6", "D7", "D8", "G2", "G3"]
)
def test_the_two_person_steps_of_practice_take_two_people(line_id):
    assert FIRE.line(line_id).is_two_person


def test_wherever_hands_are_near_the_igniter_the_tool_wants_the_key_out():
    """Practice 1.7 and 2.13."""
    for line_id in ("A5", "D2", "D4", "D5", "D6", "D7", "D8", "G2"):
        assert "key_out" in FIRE.line(line_id).tool, line_id


def test_the_vent_is_a_persons_step_and_no_reading_replaces_it():
    """Practice 2.35."""
    assert FIRE.line("G3").tool == ()


def test_every_check_and_act_of_the_page_is_used_or_kept_for_other_lists():
    used = {name for line in FIRE.lines for name in line.tool}
    assert used <= set(TOOL_CHECKS)
    kept = {"rules_filled", "dummy_fitted"}
    assert set(TOOL_CHECKS) - used <= kept, set(TOOL_CHECKS) - used
    acts = {line.act for line in FIRE.lines} | {line.start for line in FIRE.lines}
    assert acts - {None} == set(ACTS)


def test_a_crew_of_two_can_sign_every_line():
    """Practice section 1: the RSO and the TC are pad lead and pad second themselves."""
    crew = Crew(
        people=(
            Person(name="R", roles=("RSO", "PAD"), code="1111"),
            Person(name="T", roles=("TC", "PAD", "DATA"), code="2222"),
        )
    )
    assert FIRE.gaps(crew) == []


def test_a_crew_that_cannot_sign_a_line_is_told_which():
    crew = Crew(
        people=(
            Person(name="R", roles=("RSO",), code="1111"),
            Person(name="T", roles=("TC", "PAD"), code="2222"),
        )
    )
    gaps = FIRE.gaps(crew)
    assert "line B1 needs DATA, and nobody holds that role." in gaps
    assert any(gap.startswith("line A5 needs two people") for gap in gaps)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('who = ["RSO"]\ntool = ["rules_filled"]', 'whom = ["RSO"]', "line A2 whom: expected a known key (did you mean who?)"),
        ('tool = ["roles_filled"]', 'tool = ["roles_fild"]', "line A1 tool: expected 'roles_filled'?, got 'roles_fild'"),
        ('act = "arm"', 'act = "go"', "line E6 act: expected"),
        ('act = "arm"\n', "", "act: expected a line with act = 'arm', got none"),
        ('id = "A2"', 'id = "A1"', "line A1 id: expected each id once, got 2 times"),
        ('id = "A2"', 'id = "B2"', "expected an id that begins with A"),
        ('text = "Key found', 'name = "Key found', "line A6 text: expected a text, got nothing"),
        ("keeps = true", 'keeps = "yes"', "line A1 keeps: expected true or false, got 'yes'"),
        ("at_s = 300", "at_s = -3", "line E3 at_s: expected a number, 0 or more, got -3"),
        ('phases = ["COUNTDOWN"]', 'phases = ["LAUNCH"]', "line E7 phases: expected"),
        ('at_most = "wind_max_m_s"', 'at_most = "wind"', "line A4 asks wind_m_s at_most"),
        ('equals = "heads_in"', 'equals = "heads_on"', "line D9 asks heads_out equals"),
        ('second = ["TC", "PAD", "LOOKOUT"]', "", "line D9 second: expected a second person"),
        ('auto = true\ntool = ["go_table"]', "auto = true", "line E7 auto: expected at least one tool"),
        ('reply = "ALL CLEAR heard."', "reply = 4", "line G5 reply: expected a text, got 4"),
    ],
)  # fmt: skip
def test_a_fault_is_one_sentence_with_file_line_and_key(old, new, sentence):
    assert old in TEXT
    with pytest.raises(ConfigError) as caught:
        read_checklist(TEXT.replace(old, new, 1), "fire.toml")
    assert f"fire.toml {sentence}" in str(caught.value) or sentence in str(caught.value)
    assert str(caught.value).startswith("fire.toml ")


def test_people_clear_below_the_key_is_refused():
    text = TEXT.replace('act = "key_in"', 'act = "mark"', 1)
    text = text.replace('act = "range_clear"', 'act = "x"', 1).replace('"x"', '"range_clear"', 1)
    text = text.replace('act = "igniter_joined"', 'act = "key_in"', 1)
    with pytest.raises(ConfigError, match="people_clear above key_in"):
        read_checklist(text, "fire.toml")


@pytest.mark.parametrize("text", ["", "title = 3", "[[section]]", "not toml ="])
def test_junk_is_a_sentence_and_no_traceback(text):
    with pytest.raises(ConfigError):
        read_checklist(text, "x.toml")


def test_a_missing_file_is_a_sentence(tmp_path):
    with pytest.raises(ConfigError, match="expected a readable checklist"):
        load_checklist(tmp_path / "none.toml")


def test_the_phrases_load_and_give_each_digit_a_reason():
    phrases = load_phrases(CONFIG / "phrases.toml")
    words = [phrase.word for phrase in phrases.phrases]
    assert "HOLD HOLD HOLD" in words
    assert "FLAME AT THE STAND" in words
    assert phrases.reason(1) == "person or vehicle in the zone"
    assert phrases.reason(0) == "no reason given"


def test_a_faulty_phrase_is_a_sentence(tmp_path):
    path = tmp_path / "phrases.toml"
    path.write_text('[[phrase]]\nword = "X"\nmeans = ""\ndose = "y"\n[holds]\nten = "z"\n')
    with pytest.raises(ConfigError) as caught:
        load_phrases(path)
    text = str(caught.value)
    assert "[[phrase]] 1 means: expected a text" in text
    assert "[[phrase]] 1 dose: expected" in text
    assert "[holds] ten: expected a digit" in text


def test_no_line_says_that_anything_stops_a_burn_or_that_a_stand_is_safe():
    """Practice 4.1; "LINE SAFE" is a standard phrase and says nothing about the motor."""
    texts = [TEXT, (CONFIG / "phrases.toml").read_text(encoding="utf-8")]
    for text in texts:
        low = text.lower()
        for bad in ("safe to approach", "extinguish the", "stops the", "shuts down", "complies"):
            assert bad not in low


def test_the_dry_list_wants_the_dummy_wherever_the_firing_list_wants_the_igniter():
    """Practice 2.2 and 2.3: rehearse with a dummy load; taking it out is a step."""
    dry = load_checklist(CONFIG / "checklists" / "dry.toml")
    for line_id in ("D1", "E1", "E5", "E6"):
        assert "dummy_fitted" in dry.line(line_id).tool
    assert not any("continuity_in_window" in line.tool for line in dry.lines)
    assert "line_open" in dry.line("G2").tool
    assert not any(line.act == "igniter_joined" for line in dry.lines)
    acts = [line.act for line in dry.lines]
    assert acts.index("people_clear") < acts.index("key_in") < acts.index("arm")
