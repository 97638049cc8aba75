"""Who may sign what, when, with which code, and what opens again."""

from pathlib import Path

import pytest

from daq.procedure.checklist import load_checklist
from daq.procedure.checklist_view import view
from daq.procedure.checks import KNOWN, TOOL_CHECKS
from daq.procedure.phases import Phase, Refusal
from daq.procedure.signatures import NeedsSecond, Signatures, Signed, Started
from daq.settings_crew import Crew, Person

FIRE = load_checklist(Path("config/checklists/fire.toml"))
CREW = Crew(
    people=(
        Person(name="Rosa", roles=("RSO",), code="1111"),
        Person(name="Timo", roles=("TC",), code="2222"),
        Person(name="Pia", roles=("PAD",), code="3333"),
        Person(name="Dan", roles=("PAD", "DATA"), code="4444"),
    )
)
CODES = {person.name: person.code for person in CREW.people}
LIMITS = dict.fromkeys(KNOWN, 0.0) | {
    "wind_max_m_s": 9.0,
    "humidity_min_percent": 30.0,
    "stray_current_max_a": 0.05,
}
VALUES = {
    "heads_in": 6, "permit": "K-12", "wind_m_s": "3,5", "humidity_percent": 55, "key_with": "Pia",
    "heads_pad": 2, "heads_behind": 4, "stray_leads_a": 0.0, "stray_earth_a": 0.01,
    "heads_out": 6, "surprises": "none",
}  # fmt: skip


class Table:
    """A set of signatures, with every check true and every act performed unless told otherwise."""

    def __init__(self):
        self.now_ns = 0
        self.sigs = Signatures(FIRE, CREW, LIMITS)
        self.checks = dict.fromkeys(TOOL_CHECKS, (True, ""))
        self.performed = []
        self.refuse = {}
        self.phase = Phase.SAFE

    def perform(self, act, names):
        self.performed.append((act, names))
        return self.refuse.get(act, "")

    def sign(self, line, by, code=None, values=VALUES, **more):
        self.now_ns += 10**9
        return self.sigs.sign(
            line, by=by, code=CODES.get(by, "") if code is None else code, now_ns=self.now_ns,
            phase=self.phase, checks=self.checks, perform=self.perform, values=values, **more,
        )  # fmt: skip

    def next(self):
        """Sign the next line as its people would."""
        line = self.sigs.next_line(self.phase)
        frame = view(self.sigs, self.phase, self.now_ns)["frame"]
        answer = self.sign(line.id, frame["who"])
        if isinstance(answer, NeedsSecond):
            answer = self.sign(line.id, answer.who[0])
        assert isinstance(answer, Signed), answer
        return line.id

    def until(self, line_id):
        while self.sigs.next_line(self.phase).id != line_id:
            self.next()


@pytest.fixture
def table():
    return Table()


def test_the_whole_list_can_be_signed_from_start_to_arm_and_after_the_burn(table):
    table.until("E6")
    assert table.sigs.is_complete_before("arm")
    assert table.next() == "E6"
    assert table.sigs.next_line(Phase.SAFE) is None
    assert table.performed[-1] == ("arm", ("Timo",))
    for phase in (Phase.COUNTDOWN, Phase.FIRE, Phase.BURNING):
        table.sigs.sign_by_tool(phase, table.checks, table.now_ns, table.perform)
    table.phase = Phase.WAIT
    assert [table.next() for _ in range(3)] == ["F3", "F4", "G1"]
    table.phase = Phase.INSPECT
    assert [table.next() for _ in range(5)] == ["G2", "G3", "G4", "G5", "G6"]
    assert ("unplugged", ("Timo", "Rosa")) in table.performed
    assert ("open_range", ("Rosa", "Timo")) in table.performed


def test_a_line_is_not_signed_before_the_lines_above_it(table):
    """Practice 2.1 and 2.10: igniter early is refused and told why."""
    answer = table.sign("D6", "Pia")
    assert isinstance(answer, Refusal)
    assert answer.text.startswith("D6 cannot be signed before A1: Sign on")


def test_a_line_is_signed_once(table):
    table.next()
    assert table.sign("A1", "Rosa").text == "A1 is signed already, by Rosa."


def test_only_the_named_role_signs(table):
    assert "A1 is signed by RSO, and Timo holds none" in table.sign("A1", "Timo").text
    assert "not signed on" in table.sign("A1", "Nobody").text


def test_the_same_person_never_signs_twice_on_a_two_person_line(table):
    """Practice 1.5."""
    table.until("A5")
    answer = table.sign("A5", "Pia")
    assert answer == NeedsSecond(line="A5", first="Pia", who=("Dan",))
    assert "takes two people" in table.sign("A5", "Pia").text
    assert table.sign("A5", "Dan") == Signed(line="A5", names=("Pia", "Dan"))


def test_the_second_name_comes_within_a_minute(table):
    """Practice 1.4."""
    table.until("A5")
    table.sign("A5", "Pia")
    table.now_ns += 61 * 10**9
    assert isinstance(table.sign("A5", "Dan"), NeedsSecond), "Dan is the first now"


def test_a_two_person_line_takes_the_codes_of_both(table):
    table.until("A5")
    assert "code of Pia is missing" in table.sign("A5", "Pia", code="").text
    table.sign("A5", "Pia")
    assert "not the code of Dan; 2 more" in table.sign("A5", "Dan", code="3333").text
    assert not table.sigs.is_signed("A5")


def test_a_one_person_line_takes_a_code_only_if_one_is_given(table):
    assert "not the code" in table.sign("A1", "Rosa", code="9999").text
    assert isinstance(table.sign("A1", "Rosa", code=""), Signed)


def test_three_wrong_codes_lock_the_name_and_the_officer_vouches_on_record(table):
    table.until("A6")
    for _ in range(3):
        table.sign("A6", "Pia", code="0000")
    assert table.sigs.is_locked("Pia")
    assert "locked after three wrong codes" in table.sign("A6", "Pia").text
    assert "locked after three wrong codes" in table.sign("A6", "Pia", code="").text
    assert (
        "Only the range safety officer" in table.sign("A6", "Pia", "2222", vouched_by="Timo").text
    )
    answer = table.sign("A6", "Pia", "1111", vouched_by="Rosa")
    assert answer.names == ("Pia (vouched by Rosa)",)


def test_a_right_code_forgives_the_wrong_ones_before(table):
    table.sign("A1", "Rosa", code="0000")
    table.sign("A1", "Rosa", code="0000")
    table.sign("A1", "Rosa")
    assert not table.sigs.is_locked("Rosa")
    assert table.sigs.wrong_code("Rosa", "0000").endswith("2 more and the name is locked.")


def test_who_vouches_for_one_signature_is_not_the_other(table):
    table.until("C2")
    table.sign("C2", "Timo", "1111", vouched_by="Rosa")
    assert "vouches for one signature" in table.sign("C2", "Rosa").text


def test_the_officer_cannot_vouch_for_the_own_name(table):
    assert "own signature" in table.sign("A1", "Rosa", vouched_by="Rosa").text


def test_a_tool_check_that_does_not_hold_is_refused_with_its_sentence(table):
    table.checks["roles_filled"] = (False, "The role PAD is empty: sign somebody on.")
    answer = table.sign("A1", "Rosa")
    assert answer.missing == ("The role PAD is empty: sign somebody on.",)
    del table.checks["roles_filled"]
    assert "not known yet" in table.sign("A1", "Rosa").text


def test_the_first_enter_starts_the_tools_part_and_the_next_signs(table):
    table.until("B1")
    table.checks["selftest_young"] = (False, "The self-test is too old.")
    assert table.sign("B1", "Dan") == Started(line="B1", act="selftest")
    assert table.performed[-1] == ("selftest", ("Dan",))
    table.refuse["selftest"] = "The self-test runs: 2 s left."
    assert table.sign("B1", "Dan").text == "The self-test runs: 2 s left."
    table.checks["selftest_young"] = (True, "")
    assert isinstance(table.sign("B1", "Dan"), Signed)


def test_an_act_that_is_refused_leaves_the_line_open(table):
    table.until("A1a")
    table.refuse["open_range"] = "Not released. The key is in."
    table.sign("A1a", "Rosa")
    assert table.sign("A1a", "Timo").text == "Not released. The key is in."
    assert not table.sigs.is_signed("A1a")
    assert table.performed[-1] == ("open_range", ("Rosa", "Timo"))


@pytest.mark.parametrize(
    ("line", "values", "sentence"),
    [
        ("A1", {}, "People on site, visitors included: type it, blank is not zero."),
        ("A1", {"heads_in": "many"}, "a number in people, not 'many'"),
        ("A1", {"heads_in": "nan"}, "a number in people, not 'nan'"),
        ("A1", {"heads_in": 1}, "1 people is under the limit 2 people"),
        ("A4", {"wind_m_s": 9.1, "humidity_percent": 50}, "Wind: 9.1 m/s is over the limit 9 m/s"),
        ("A4", {"wind_m_s": 1, "humidity_percent": 29}, "29 %RH is under the limit 30 %RH"),
        ("D1", {"heads_pad": 2, "heads_behind": 5}, "People behind cover: 5 typed, 4 expected."),
        ("D9", {"heads_out": 5}, "People behind cover: 5 typed, 6 expected."),
    ],
)
def test_typed_values_are_compared_by_the_tool(table, line, values, sentence):
    """Practice 2.12: two readings typed, limits compared by the tool; blank is not zero. 1.6:
    head count in and out.
    """
    table.until(line)
    answer = table.sign(line, "Rosa", values=values)
    assert sentence in answer.text


def test_zero_is_a_value(table):
    table.until("D6")
    assert table.sigs.values()["stray_leads_a"] == 0.0
    assert table.sigs.values()["wind_m_s"] == 3.5


def test_a_limit_the_range_does_not_name_refuses(table):
    table.until("A4")
    del table.sigs.known["wind_max_m_s"]
    assert "name no wind_max_m_s" in table.sign("A4", "Rosa").text


def test_a_recycle_opens_each_counts_lines_and_those_after_the_mark(table):
    """Design: re-opens the lines marked each count; practice: steps after the mark are redone."""
    table.until("E6")
    table.next()
    again = table.sigs.recycle(60.0)
    assert again == ["E2", "E4", "E5", "E6"]
    assert table.sigs.next_line(Phase.SAFE).id == "E2"
    table.until("E6")
    assert table.sigs.recycle(300.0) == ["E2", "E3", "E4", "E5"]


def test_a_change_of_set_up_voids_all_but_what_keeps(table):
    table.until("E6")
    gone = table.sigs.void()
    assert "C2" in gone
    assert table.sigs.is_signed("A3")
    assert table.sigs.next_line(Phase.SAFE).id == "A1a"


def test_scrub_offers_the_release_steps_alone_and_then_the_pad_lines_again(table):
    table.until("E5")
    table.sigs.begin_release()
    assert "release steps come first" in table.sign("E5", "Timo").text
    assert [table.next() for _ in range(4)] == ["F3", "F4", "G1", "G2"]
    assert not table.sigs.releasing
    assert table.sigs.next_line(Phase.SAFE).id == "D1"
    assert not table.sigs.is_signed("D9"), "people have been forward"


def test_an_aborted_count_offers_the_release_steps_in_abort(table):
    table.until("E6")
    table.next()
    table.phase = Phase.ABORT
    assert [table.next() for _ in range(3)] == ["F3", "F4", "G1"]


def test_no_line_is_signed_in_the_count_or_the_burn(table):
    """From ARMED to burn-out nothing acts but P's digit and Space."""
    table.until("E6")
    for phase in (Phase.ARM, Phase.COUNTDOWN, Phase.HOLD, Phase.FIRE, Phase.BURNING):
        table.phase = phase
        assert isinstance(table.sign("E6", "Timo"), Refusal)
        assert view(table.sigs, phase, 0)["frame"] is None


def test_the_tool_signs_its_own_lines_and_nobody_else_does(table):
    table.phase = Phase.COUNTDOWN
    table.checks["go_table"] = (False, "Pressure is not at ambient.")
    assert table.sigs.sign_by_tool(Phase.COUNTDOWN, table.checks, 0, table.perform) == []
    assert "by the tool alone" in table.sign("E7", "Timo").text
    table.checks["go_table"] = (True, "")
    done = table.sigs.sign_by_tool(Phase.COUNTDOWN, table.checks, 0, table.perform)
    assert [(x.line, x.names) for x in done] == [("E7", ("tool",))]


def test_the_age_of_a_signature_is_known(table):
    assert table.sigs.age_s("A1", 0) == float("inf")
    table.next()
    assert table.sigs.age_s("A1", table.now_ns + 5 * 10**9) == 5.0


def test_the_view_shows_one_section_and_one_frame(table):
    table.until("A5")
    table.sign("A5", "Pia")
    seen = view(table.sigs, Phase.SAFE, table.now_ns)
    assert (seen["title"], seen["signed"], seen["total"]) == ("Firing", 5, 7)
    assert [s["state"] for s in seen["sections"]] == ["current", *["open"] * 6]
    assert [x["state"] for x in seen["lines"]] == [*["signed"] * 5, "now", "open"]
    frame = seen["frame"]
    assert (frame["id"], frame["who"], frame["needs_code_of"]) == ("A5", "Dan", "Dan")
    assert frame["signed_by"] == ["Pia"]


def test_the_frame_of_a_line_names_its_values_and_words(table):
    frame = view(table.sigs, Phase.SAFE, 0)["frame"]
    assert frame["asks"] == [
        {"key": "heads_in", "text": "People on site, visitors included", "unit": "people"}
    ]
    assert (frame["who"], frame["needs_code_of"]) == ("Rosa", None)
    table.until("C2")
    frame = view(table.sigs, Phase.SAFE, table.now_ns)["frame"]
    assert frame["say"].startswith("Trip is")
    assert frame["reply"].startswith("Trip is")
