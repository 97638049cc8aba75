"""Keys by position, two hands, and what the desk makes of them (practice 3.8, 3.27)."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from hypothesis import given
from hypothesis import strategies as st
from scenes import ABORT, ARM, BASE, BURN, COUNT, FIRE, HOLD, NOW_NS, WAIT, with_

from daq.console.desk import Desk
from daq.console.keys import DIGITS, EVDEV, MAC, WINDOWS, HeldKeys, Key, TwoHands, key_at
from daq.console.moment import Local, Moment
from daq.console.readings import Status

MS = 1_000_000
S = 1_000 * MS


def at(status, age_s=0.03):
    return Moment(status=Status(status), age_s=age_s, local=Local())


def typed(desk, keys, status, now_ns=NOW_NS):
    desk.follow(at(status), now_ns)
    out = []
    for key in keys:
        out += desk.press(Key(key), now_ns, at(status))
    return out


@pytest.mark.parametrize("table", [EVDEV, WINDOWS, MAC], ids=["linux", "windows", "mac"])
def test_every_key_has_a_place_on_every_system(table):
    assert set(table.values()) >= {
        Key.SPACE,
        Key.F,
        Key.J,
        Key.P,
        Key.ENTER,
        Key.UP,
        Key.DOWN,
        *DIGITS,
    }


def test_codes_are_positions():
    assert key_at(41, "linux") is Key.F
    assert key_at(44, "linux") is Key.J
    assert key_at(65, "linux") is Key.SPACE
    assert key_at(0x21, "win32") is Key.F
    assert key_at(0x148, "win32") is Key.UP
    assert key_at(3, "darwin") is Key.F
    assert key_at(40, "linux") is None


def hands(*steps):
    """Steps like `F+0`, `J-300`: key, down or up, milliseconds."""
    made = TwoHands()
    for step in steps:
        key, down, ms = Key(step[0]), step[1] == "+", int(step[2:])
        if down:
            made.press(key, ms * MS)
        else:
            made.release(key)
    return made.gripped


def test_both_within_half_a_second_grip_and_either_release_ends_it():
    assert hands("F+0", "J+500")
    assert not hands("F+0", "J+501")
    assert not hands("F+0", "J+100", "F-200")
    assert not hands("F+0", "J+100", "J-200")


def test_after_a_grip_both_must_be_up_before_a_new_start():
    assert not hands("F+0", "J+100", "F-200", "F+300")
    assert hands("F+0", "J+100", "F-200", "J-250", "F+300", "J+350")


def test_one_taped_key_never_grips():
    assert not hands("F+0", "J+2000", "J-2100", "J+2200")
    assert not hands("F+0")


def test_a_repeat_that_looks_like_a_release_is_not_one():
    held = HeldKeys()
    assert held.press(Key.F, 100)
    assert not held.press(Key.F, 130), "pressed again without a release"
    held.release(Key.F, 760)
    assert not held.press(Key.F, 760), "same stamp: a repeat"
    assert not held.settle(Key.F, 760)
    held.release(Key.F, 900)
    assert held.settle(Key.F, 900)
    assert held.press(Key.F, 950)


def test_a_quick_second_press_is_a_new_one_even_before_the_release_settled():
    held = HeldKeys()
    held.press(Key.F, 100)
    held.release(Key.F, 200)
    assert not held.overtaken(Key.F, 200)
    assert held.overtaken(Key.F, 203)
    assert held.press(Key.F, 203)
    assert not held.settle(Key.F, 200)


def test_letting_go_needs_new_presses_of_both():
    made = TwoHands()
    made.press(Key.F, 0)
    made.press(Key.J, 0)
    made.let_go()
    assert not made.gripped
    made.press(Key.F, 10)
    assert not made.gripped


@given(st.lists(st.tuples(st.sampled_from("FJ"), st.booleans(), st.integers(1, 700)), max_size=30))
def test_a_grip_always_means_both_down_within_half_a_second_of_each_other(steps):
    made, now = TwoHands(), 0
    for key, down, wait in steps:
        now += wait * MS
        if down:
            made.press(Key(key), now)
        else:
            made.release(Key(key))
        if made.gripped:
            assert made.f_ns is not None
            assert made.j_ns is not None
            assert abs(made.f_ns - made.j_ns) <= 500 * MS


@pytest.mark.parametrize("status", [BASE, ARM, COUNT, HOLD, FIRE, BURN, WAIT, ABORT])
@pytest.mark.parametrize("age_s", [0.01, 4.0])
def test_space_sends_what_its_cap_says_in_every_phase_even_when_stale(status, age_s):
    """Practice 1.3: no login, no confirmation, no phase check."""
    wish = {"wish": "safe" if status["keys"]["space"] == "SAFE" else "abort"}
    assert Desk().press(Key.SPACE, NOW_NS, at(status, age_s)) == [wish]


def test_space_before_any_status_is_an_abort():
    assert Desk().press(Key.SPACE, 0, Moment(status=Status({}), age_s=9.0, seen=False)) == [
        {"wish": "abort"}
    ]


def test_p_holds_at_once_and_a_digit_tells_why():
    assert typed(Desk(), "P", COUNT) == [{"wish": "hold"}]
    assert typed(Desk(), "P3", COUNT) == [{"wish": "hold"}, {"wish": "hold", "digit": 3}]
    assert typed(Desk(), "3", COUNT) == []


def test_p_in_fire_and_burning_is_a_mark_and_nothing_else():
    for status in (FIRE, BURN):
        assert typed(Desk(), "P4", status) == [
            {"wish": "mark", "text": "P"},
            {"wish": "mark", "text": "P 4"},
        ]
    assert typed(Desk(), "P", BASE) == []


def test_enter_signs_the_frame_with_the_code_of_the_named_person():
    desk = Desk()
    assert typed(desk, ["Enter"], BASE) == []
    assert desk.notice == "R. Voss: four digits, then Enter."
    assert typed(desk, ["2", "7", "4", "1", "Enter"], BASE) == [
        {"wish": "enter", "line": "D7", "by": "R. Voss", "code": "2741"}
    ]


def test_a_code_is_never_shown_and_backspace_takes_one_digit_back():
    desk = Desk()
    typed(desk, "27", BASE)
    assert desk.follow(at(BASE), NOW_NS).shown == "●●○○"
    typed(desk, ["Back"], BASE)
    assert desk.follow(at(BASE), NOW_NS).shown == "●○○○"


def test_a_line_of_one_person_needs_only_enter():
    status = with_(BASE)
    status["checklist"]["frame"] |= {"needs_code_of": None, "who": "A. Lind"}
    assert typed(Desk(), ["Enter"], status) == [{"wish": "enter", "line": "D7", "by": "A. Lind"}]


def test_asked_values_come_before_the_code():
    status = with_(BASE)
    status["checklist"]["frame"]["asks"] = [
        {"key": "heads", "text": "Heads behind the berm", "unit": "people"},
        {"key": "wind", "text": "Wind", "unit": "m/s"},
    ]
    desk = Desk()
    typed(desk, ["6", "Enter"], status)
    assert desk.follow(at(status), NOW_NS).prompt == "Wind"
    keys = ["4", ".", "5", "Enter", "1", "2", "3", "4", "Enter"]
    assert typed(desk, keys, status) == [
        {
            "wish": "enter",
            "line": "D7",
            "by": "R. Voss",
            "code": "1234",
            "values": {"heads": 6.0, "wind": 4.5},
        }
    ]


def test_a_text_is_typed_by_letters_and_only_where_the_frame_asks_for_one():
    status = with_(BASE)
    status["checklist"]["frame"] |= {
        "needs_code_of": None,
        "asks": [{"key": "met", "text": "Weather from", "unit": None}],
    }
    desk = Desk()
    desk.follow(at(status), NOW_NS)
    assert desk.wants_text
    for letter in "tower 2":
        desk.letter(letter, at(status))
    assert typed(desk, ["Enter"], status)[0]["values"] == {"met": "tower2"}
    plain = Desk()
    plain.follow(at(COUNT), NOW_NS)
    assert not plain.wants_text


@pytest.mark.parametrize("status", [COUNT, FIRE, BURN])
def test_enter_digits_and_arrows_are_dead_from_the_count_to_burn_out(status):
    """Design: from ARMED to burn-out nothing acts but Space, F and J, P and its digit."""
    assert typed(Desk(), ["1", "Enter", "Up", "Down", "Back", "."], status) == []


def test_each_group_of_four_goes_out_by_the_person_who_types_it():
    first = with_(ARM, arming={"typed": "", "typist": "A. Lind", "state": "offered"})
    desk = Desk()
    assert typed(desk, "481", first) == []
    assert desk.follow(at(first), NOW_NS).digits == "481"
    assert typed(desk, "7", first) == [{"wish": "digits", "text": "4817", "by": "A. Lind"}]
    assert typed(desk, "2093", ARM) == [{"wish": "digits", "text": "2093", "by": "R. Voss"}]
    done = with_(ARM, arming={"typed": "48172093", "state": "typed"}, keys={"enter": "Arm"})
    assert typed(desk, ["Enter"], done) == [{"wish": "enter"}]


def test_a_group_may_ask_its_typist_for_a_code():
    asked = with_(ARM, arming={"code_of": "R. Voss"})
    desk = Desk()
    assert typed(desk, "2093", asked) == []
    assert typed(desk, "2741", asked) == [
        {"wish": "digits", "text": "2093", "by": "R. Voss", "code": "2741"}
    ]


def test_a_window_too_small_does_not_arm():
    desk = Desk()
    desk.size_ok = False
    assert typed(desk, "2093", ARM) == []
    assert "1280" in desk.notice


def test_a_hold_is_left_with_the_codes_of_two_names():
    status = with_(HOLD)
    status["checklist"]["frame"] = {
        "id": "resume",
        "text": "Resume the count",
        "who": "TC",
        "names": ["A. Lind", "R. Voss"],
        "needs_code_of": "A. Lind",
    }
    keys = ["1", "1", "1", "1", "Enter", "2", "2", "2", "2", "Enter"]
    assert typed(Desk(), keys, status) == [
        {"wish": "resume", "by": ["A. Lind", "R. Voss"], "codes": ["1111", "2222"]}
    ]


def test_a_recycle_and_a_scrub_are_frames_too():
    status = with_(HOLD)
    status["checklist"]["frame"] = {"id": "recycle", "text": "New count", "who": "A. Lind"}
    assert typed(Desk(), ["Enter"], status) == [{"wish": "recycle", "to_s": 60.0, "by": "A. Lind"}]
    status["checklist"]["frame"]["id"] = "scrub"
    assert typed(Desk(), ["Enter"], status) == [{"wish": "scrub", "by": "A. Lind"}]


def test_a_stale_screen_signs_nothing():
    desk = Desk()
    desk.follow(at(BASE), NOW_NS)
    assert desk.press(Key.ENTER, NOW_NS, at(BASE, 0.6)) == []


def test_an_alarm_takes_the_frame_only_after_a_second_without_keys():
    status = with_(
        WAIT, alarms=[{"rank": "HIGH", "what": "x", "do": "y", "since": "", "answered_by": None}]
    )
    desk = Desk()
    typed(desk, ["Up"], WAIT)
    assert not desk.follow(at(status), NOW_NS + 999 * MS).on_alarm
    assert desk.follow(at(status), NOW_NS + S).on_alarm
    assert desk.press(Key.ENTER, NOW_NS + S, at(status)) == [{"wish": "answer"}]
    answered = with_(status, alarms=[{**status["alarms"][0], "answered_by": "09:04 AL"}])
    assert not desk.follow(at(answered), NOW_NS + 3 * S).on_alarm


def test_no_alarm_takes_the_frame_from_the_count_to_burn_out():
    for status in (COUNT, HOLD, FIRE, BURN):
        odd = with_(
            status,
            alarms=[{"rank": "URGENT", "what": "x", "do": "y", "since": "", "answered_by": None}],
        )
        assert not Desk().follow(at(odd), NOW_NS + 10 * S).on_alarm


def test_a_refusal_stands_in_the_frame_until_the_next_key():
    desk = Desk()
    typed(desk, "2741", BASE)
    desk.reply({"ok": False, "text": "Wrong code of R. Voss, two tries left."})
    assert desk.follow(at(BASE), NOW_NS).notice == "Wrong code of R. Voss, two tries left."
    typed(desk, "1", BASE)
    assert desk.follow(at(BASE), NOW_NS).notice == ""


def test_time_is_stepped_in_rehearsal_only():
    assert typed(Desk(), ["Right"], BASE) == []
    assert typed(Desk(), ["Right"], with_(BASE, mode="REHEARSAL")) == [
        {"wish": "step", "seconds": 60.0}
    ]


def test_up_and_down_choose_among_open_lines():
    desk = Desk()
    typed(desk, ["Down"], BASE)
    assert desk.follow(at(BASE), NOW_NS).line == "D8"
    typed(desk, ["Down", "Down", "Up"], BASE)
    assert desk.follow(at(BASE), NOW_NS).line == "D8"
    assert desk.follow(at(COUNT), NOW_NS).line is None


def test_a_hold_without_a_frame_is_left_by_the_two_who_armed():
    desk = Desk()
    for typed_so_far, name in (("", "A. Lind"), ("4817", "R. Voss")):
        desk.follow(at(with_(ARM, arming={"typed": typed_so_far, "typist": name})), NOW_NS)
    bare = with_(HOLD, checklist={"frame": None})
    keys = ["1", "1", "1", "1", "Enter", "2", "2", "2", "2", "Enter"]
    assert typed(desk, keys, bare) == [
        {"wish": "resume", "by": ["A. Lind", "R. Voss"], "codes": ["1111", "2222"]}
    ]
    late = with_(bare, clock={"seconds": 9.0})
    assert typed(desk, ["Enter"], late) == [{"wish": "recycle", "to_s": 60.0}]


def test_the_status_may_name_conductor_and_officer():
    bare = with_(HOLD, checklist={"frame": None}, crew={"TC": "A. Lind", "RSO": "R. Voss"})
    assert Desk().follow(at(bare), NOW_NS).crew == ("A. Lind", "R. Voss")
