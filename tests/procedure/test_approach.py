"""The approach latch, sentence by sentence of its page ("Approach latch and waits")."""

import json
from dataclasses import replace

import pytest

from daq.errors import ConfigError
from daq.procedure.approach import Latch
from daq.procedure.phases import Refusal
from daq.procedure.release import Evidence, Opened
from daq.procedure.waits import LatchEvent, WaitClass, Waits, Word

WAITS = Waits(
    normal_wait_s=600.0, misfire_wait_s=1800.0, unproven_wait_s=3600.0, ignition_seen_wait_s=3600.0
)
TWO = ("Ines", "Ole")
RSO = "Ines"
HZ = 1_000_000

GOOD = Evidence(
    data_age_s=0.02, board_uid="b1", boot_nonce=77, tick=0, tick_hz=HZ, circuit_dead=True,
    key_in=False, stop_in=True, fired_latch=False, load="open", pressure_healthy=True,
    rose_and_fell=False, ambient_s=300.0, unplugged_by=TWO,
)  # fmt: skip


class Day:
    """A latch with a clock: engine time and board ticks go together unless told otherwise."""

    def __init__(self, saved=None, journal_empty=True, last_tick=None, **first):
        self.now_ns = 10**9
        self.ev = replace(GOOD, tick=5 * HZ, **first)
        self.latch = Latch(WAITS, saved=saved, journal_empty=journal_empty, last_tick=last_tick)

    def set(self, **change):
        self.ev = replace(self.ev, **change)
        return self.tick()

    def tick(self):
        return self.latch.tick(self.ev, self.now_ns, utc="08:51")

    def note(self, *events):
        for event in events:
            self.latch.note(event, utc="08:51")
        return self.tick()

    def run(self, seconds, step=5.0, engine=True, ticks=True):
        while seconds > 0:
            part = min(step, seconds)
            self.now_ns += round(part * 1e9) if engine else 0
            self.ev = replace(self.ev, tick=self.ev.tick + (round(part * HZ) if ticks else 0))
            self.tick()
            seconds -= part

    def ask(self, names=TWO, rso=RSO):
        return self.latch.ask_open(self.ev, names, rso=rso, now_ns=self.now_ns, utc="10:00")

    def left(self):
        return self.latch.left_s(self.ev, self.now_ns)

    def wait(self):
        return self.latch.wait_class(self.ev)


def opened_day(**first):
    """First opening done: the range is open in the morning, no igniter on the line."""
    day = Day(**first)
    day.tick()
    assert isinstance(day.ask(), Opened)
    return day


def closed_day():
    """People clear, igniter on the line, key in: the count may begin."""
    day = opened_day()
    day.set(load="igniter", unplugged_by=())
    day.note(LatchEvent.PEOPLE_CLEAR)
    assert day.latch.word is Word.CLOSED
    day.set(key_in=True, stop_in=False)
    return day


def fired_day(*events):
    """GO was given; then the events, and the line is off."""
    day = closed_day()
    day.note(LatchEvent.GO)
    day.set(fired_latch=True, load="unknown")
    day.note(LatchEvent.LINE_ON)
    day.note(*events)
    day.note(LatchEvent.LINE_OFF)
    return day


def burnt_day(**release):
    """A normal burn, key out, everything confirmed."""
    day = fired_day(LatchEvent.LIT, LatchEvent.BURN_OUT)
    day.set(load="open")
    day.set(
        load="open", key_in=False, stop_in=True, unplugged_by=TWO, rose_and_fell=True, **release
    )
    return day


# ---- waits ----------------------------------------------------------------------------------------


def test_a_misfire_wait_under_fifteen_minutes_is_refused():
    """Practice section 8: hard floor in code 15 min."""
    with pytest.raises(ConfigError, match="at least 900 s"):
        replace(WAITS, misfire_wait_s=899.0)
    assert replace(WAITS, misfire_wait_s=900.0).misfire_wait_s == 900.0


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_a_wait_has_to_be_a_length_of_time(bad):
    with pytest.raises(ConfigError, match="expected seconds above 0"):
        replace(WAITS, normal_wait_s=bad)


def test_no_wait_has_a_default():
    with pytest.raises(TypeError):
        Waits()


# ---- closing --------------------------------------------------------------------------------------


def test_closed_from_people_clear_before_the_key_goes_in():
    day = opened_day()
    day.note(LatchEvent.PEOPLE_CLEAR)
    assert day.latch.word is Word.CLOSED
    assert day.latch.reason == "people clear"
    assert day.latch.since == "08:51"


@pytest.mark.parametrize(
    "event",
    [
        LatchEvent.GO,
        LatchEvent.LINE_ON,
        LatchEvent.LIT,
        LatchEvent.UNEXPLAINED_RISE,
        LatchEvent.FLAME_REPORTED,
        LatchEvent.SMOKE_REPORTED,
    ],
)
def test_energy_or_a_sign_of_fire_closes_an_open_latch(event):
    day = opened_day()
    day.note(event)
    assert day.latch.word is Word.CLOSED


def test_a_key_in_with_an_igniter_on_the_line_closes_an_open_latch():
    """Practice 1.7: pad occupied and key sensed in."""
    day = opened_day()
    day.set(load="igniter")
    assert day.latch.word is Word.OPEN
    day.set(key_in=True)
    assert day.latch.word is Word.CLOSED


def test_a_key_in_without_an_igniter_leaves_it_open():
    """Practice 2A B3: the interlocks are moved in the morning, with nothing on the line."""
    day = opened_day()
    day.set(key_in=True)
    assert day.latch.word is Word.OPEN


# ---- cold start -----------------------------------------------------------------------------------


def saved_open(**change):
    day = opened_day()
    day.set(**change)
    return day.latch.to_json()


def test_after_any_start_the_latch_is_closed_until_a_board_proves_otherwise():
    """Design invariant 7."""
    latch = Latch(WAITS, saved=saved_open())
    assert latch.word is Word.CLOSED
    assert latch.reason == "history not proven"
    assert isinstance(latch.ask_open(GOOD, TWO, rso=RSO, now_ns=0), Refusal)


def test_open_on_record_and_no_igniter_connected_stays_open():
    day = Day(saved=saved_open(), boot_nonce=78, load="dummy")
    day.tick()
    assert day.latch.word is Word.OPEN
    assert day.latch.names == TWO


def test_open_on_record_and_the_board_ran_through_stays_open():
    day = Day(saved=saved_open(), boot_nonce=77, load="igniter")
    day.tick()
    assert day.latch.word is Word.OPEN


def test_open_on_record_with_an_igniter_and_a_new_boot_is_closed_with_the_longest_class():
    day = Day(saved=saved_open(), boot_nonce=78, load="igniter")
    day.tick()
    assert day.latch.word is Word.CLOSED
    assert day.left() == 3600.0


def test_open_on_record_with_the_fired_latch_set_is_closed():
    """The fired latch survives reset and power loss."""
    day = Day(saved=saved_open(), boot_nonce=77, load="open", fired_latch=True)
    day.tick()
    assert day.latch.word is Word.CLOSED
    assert day.wait() in {WaitClass.UNPROVEN, WaitClass.IGNITION_SEEN}


def test_open_on_record_waits_for_the_line_to_be_measured():
    day = Day(saved=saved_open(), boot_nonce=78, load="unknown")
    day.tick()
    assert day.latch.word is Word.CLOSED
    assert "has not been measured" in day.ask().text
    day.set(load="open")
    assert day.latch.word is Word.OPEN


def test_no_history_in_a_used_journal_runs_the_longest_class():
    """A journal lost in any other case: the longest class runs from now."""
    day = Day(journal_empty=False)
    day.tick()
    assert day.left() == 3600.0


def test_a_start_that_heard_no_board_does_not_wash_the_history():
    """The fact of such a start wraps the one before."""
    burnt = burnt_day().latch.to_json()
    silent = Latch(WAITS, saved=Latch(WAITS, saved=burnt).to_json()).to_json()
    day = Day(saved=silent, journal_empty=False, boot_nonce=78, fired_latch=True)
    day.tick()
    assert day.latch.history.lit
    assert day.left() == 3600.0


def test_a_start_that_heard_of_smoke_proves_nothing():
    silent = Latch(WAITS, saved=saved_open())
    silent.note(LatchEvent.SMOKE_REPORTED)
    day = Day(saved=silent.to_json(), journal_empty=False)
    day.tick()
    assert day.latch.word is Word.CLOSED
    assert day.left() == 3600.0


def test_a_fact_with_missing_keys_counts_as_unknown():
    saved = {**saved_open(), "history": {"lit": False}, "word": "CLOSED"}
    day = Day(saved=saved, journal_empty=False)
    day.tick()
    assert day.latch.history.unknown


# ---- first opening --------------------------------------------------------------------------------


def test_first_opening_has_no_wait_but_two_names():
    day = Day(stop_in=False, unplugged_by=())
    day.tick()
    assert day.wait() is WaitClass.FIRST
    assert isinstance(day.ask(names=("Ines",)), Refusal)
    assert isinstance(day.ask(names=("Ines", "Ines")), Refusal)
    assert isinstance(day.ask(), Opened)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"key_in": True}, "The key is in"),
        ({"key_in": None}, "not known to be out"),
        ({"load": "unknown"}, "must read open or dummy"),
        ({"fired_latch": True}, "remembers a pulse"),
    ],
)
def test_first_opening_needs_key_out_line_open_and_fired_latch_clear(change, sentence):
    day = Day()
    day.tick()
    day.set(**change)
    answer = day.ask()
    assert isinstance(answer, Refusal)
    if "fired_latch" not in change:
        assert sentence in answer.text
    assert day.latch.word is Word.CLOSED


def test_an_empty_journal_beside_a_set_fired_latch_is_no_first_opening():
    day = Day(fired_latch=True)
    day.tick()
    assert day.wait() is not WaitClass.FIRST
    assert day.left() == 3600.0


def test_an_igniter_joined_before_the_first_opening_ends_its_rule():
    day = Day()
    day.tick()
    day.set(load="igniter")
    assert day.left() == 3600.0
    day.set(load="open")
    assert day.left() == 3600.0


def test_a_new_board_without_an_igniter_since_open_is_a_first_opening():
    day = opened_day()
    day.set(board_uid="b2", boot_nonce=5)
    assert day.latch.word is Word.CLOSED
    assert day.wait() is WaitClass.FIRST


def test_a_new_board_after_an_igniter_runs_the_longest_class_from_now():
    day = closed_day()
    day.set(board_uid="b2", boot_nonce=5, key_in=False)
    assert day.left() == 3600.0
    day.run(60.0)
    assert day.left() == pytest.approx(3540.0)


# ---- what OPEN needs ------------------------------------------------------------------------------


def test_a_normal_burn_opens_after_the_normal_wait():
    day = burnt_day()
    assert day.wait() is WaitClass.NORMAL
    day.run(599.0)
    assert isinstance(day.ask(), Refusal)
    day.run(1.0)
    answer = day.ask()
    assert isinstance(answer, Opened)
    assert answer.text == "Range released by Ines and Ole."
    assert day.latch.word is Word.OPEN


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"circuit_dead": False}, "not measured DEAD"),
        ({"stop_in": False}, "The stop button is out: press it in."),
        ({"unplugged_by": ("Ole",)}, "(1 so far)"),
        ({"unplugged_by": ("Ole", "Ole")}, "(1 so far)"),
        ({"unplugged_by": ("Ole", " ")}, "(1 so far)"),
        ({"key_in": True}, "The key is in"),
        ({"data_age_s": 12.0}, "No data for 12 s"),
    ],
)
def test_each_condition_missing_is_refused_with_its_sentence(change, sentence):
    day = burnt_day()
    day.run(600.0)
    day.set(**change)
    answer = day.ask()
    assert isinstance(answer, Refusal)
    assert sentence in answer.text
    assert day.latch.word is Word.CLOSED


def test_a_refusal_names_every_missing_condition():
    """Console, words: a refusal names every missing condition."""
    day = burnt_day(circuit_dead=False)
    day.set(stop_in=False, unplugged_by=())
    answer = day.ask(names=())
    assert len(answer.missing) == 5
    assert all(text in answer.text for text in answer.missing)


def test_only_the_range_safety_officer_opens_the_range():
    """Practice section 1, roles."""
    day = burnt_day()
    day.run(600.0)
    answer = day.ask(names=("Ole", "Mika"))
    assert "Only the range safety officer" in answer.text
    assert isinstance(day.ask(names=("Ole", "Mika"), rso=""), Refusal)
    assert isinstance(day.ask(names=("Ole", "Ines")), Opened)


def test_release_asked_twice_says_it_is_open():
    day = opened_day()
    assert "OPEN already" in day.ask().text


# ---- classes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "change", [{"pressure_healthy": False}, {"rose_and_fell": False}, {"ambient_s": 59.0}]
)
def test_pressure_not_proven_vented_runs_the_longer_wait_and_says_so(change):
    """Practice 2.35: trapped pressure is proven gone by opening a port."""
    day = burnt_day()
    day.set(**change)
    assert day.wait() is WaitClass.UNPROVEN
    day.run(3599.0)
    assert isinstance(day.ask(), Refusal)
    day.run(1.0)
    assert "Pressure not proven" in day.ask().text


def test_abort_of_a_lit_motor_always_runs_the_unproven_wait():
    day = fired_day(LatchEvent.LIT, LatchEvent.ABORTED, LatchEvent.BURN_OUT)
    day.set(key_in=False, rose_and_fell=True, ambient_s=600.0)
    assert day.wait() is WaitClass.UNPROVEN
    assert day.latch.reason == "aborted, the motor was lit"


def test_pressure_that_was_not_seen_in_the_burn_runs_the_unproven_wait():
    """Witness q high: the unproven wait applies."""
    day = fired_day(LatchEvent.LIT, LatchEvent.PRESSURE_HIDDEN, LatchEvent.BURN_OUT)
    day.set(key_in=False, rose_and_fell=True)
    assert day.wait() is WaitClass.UNPROVEN


def test_a_misfire_runs_its_class_and_no_pressure_shortens_it():
    day = fired_day()
    day.set(key_in=False, rose_and_fell=True, ambient_s=9999.0)
    assert day.wait() is WaitClass.MISFIRE
    assert day.left() == 1800.0


def test_a_line_that_opened_without_a_lit_motor_runs_its_own_class():
    """Practice 2C (b): the igniter worked, the motor may still light, most dangerous."""
    day = fired_day(LatchEvent.LINE_OPENED)
    day.set(key_in=False)
    assert day.wait() is WaitClass.IGNITION_SEEN
    assert day.latch.reason == "misfire, line opened: may still light"


def test_a_sign_of_ignition_in_a_misfire_runs_the_long_class():
    """Practice section 8: misfire with any sign of ignition."""
    day = fired_day()
    day.set(key_in=False)
    day.run(100.0)
    day.note(LatchEvent.SMOKE_REPORTED)
    assert day.wait() is WaitClass.IGNITION_SEEN
    assert day.left() == 3600.0


def test_the_longest_class_that_applies_runs():
    """Also when the range's rules make an odd order of them."""
    odd = replace(WAITS, misfire_wait_s=7200.0, ignition_seen_wait_s=1000.0)
    day = fired_day(LatchEvent.LINE_OPENED)
    day.latch.waits = odd
    assert day.wait() is WaitClass.MISFIRE
    assert day.left() == 7200.0


def test_an_unknown_outcome_runs_the_longest_class_until_data_show_a_burn():
    day = fired_day(LatchEvent.OUTCOME_UNKNOWN)
    day.set(key_in=False)
    assert day.left() == 3600.0
    assert day.latch.reason == "outcome unknown"
    day.note(LatchEvent.LIT, LatchEvent.BURN_OUT)
    day.set(rose_and_fell=True)
    assert day.wait() is WaitClass.NORMAL


def test_no_energy_given_has_no_timed_wait_but_all_other_conditions():
    day = closed_day()
    day.note(LatchEvent.ABORTED)
    day.set(key_in=False)
    assert day.wait() is WaitClass.NONE
    assert day.latch.view(day.ev, day.now_ns).left_s is None
    answer = day.ask()
    assert len(answer.missing) == 2, answer
    day.set(stop_in=True, unplugged_by=TWO)
    assert isinstance(day.ask(), Opened)


def test_no_energy_given_needs_the_pressure_at_ambient_now():
    day = closed_day()
    day.set(key_in=False, stop_in=True, unplugged_by=TWO, ambient_s=0.0)
    assert day.wait() is WaitClass.UNPROVEN
    assert isinstance(day.ask(), Refusal)


def test_a_blind_gap_takes_the_no_energy_class_away():
    day = closed_day()
    day.set(key_in=False, stop_in=True)
    day.set(data_age_s=11.0)
    day.run(11.0)
    day.set(data_age_s=0.0)
    assert day.latch.history.unknown
    assert day.left() == 3600.0


def test_a_pulse_that_only_the_board_knows_of_makes_the_outcome_unknown():
    day = closed_day()
    day.set(key_in=False, fired_latch=True)
    assert day.latch.history.unknown


# ---- DRY ------------------------------------------------------------------------------------------


def dry_day():
    day = opened_day(load="dummy")
    day.note(LatchEvent.PEOPLE_CLEAR)
    day.set(key_in=True, stop_in=False, unplugged_by=())
    day.note(LatchEvent.DRY_BEGAN)
    return day


def test_a_dry_count_is_released_by_key_out_and_two_names():
    day = dry_day()
    day.note(LatchEvent.GO)
    day.set(load="unknown", fired_latch=True)
    day.note(LatchEvent.LINE_ON, LatchEvent.LINE_OFF)
    assert isinstance(day.ask(), Refusal)
    day.set(key_in=False, load="open")
    assert day.wait() is WaitClass.DRY
    assert isinstance(day.ask(names=("Ines",)), Refusal)
    assert isinstance(day.ask(), Opened)


def test_a_dummy_that_goes_before_the_line_is_off_ends_the_dry_rule():
    day = dry_day()
    day.note(LatchEvent.GO)
    day.set(load="igniter")
    day.note(LatchEvent.LINE_OFF)
    assert day.wait() is WaitClass.MISFIRE
    day.note(LatchEvent.DRY_BEGAN)
    assert day.wait() is WaitClass.MISFIRE, "a later dummy does not wash it"


def test_a_rise_in_a_dry_count_ends_the_dry_rule():
    day = dry_day()
    day.note(LatchEvent.GO, LatchEvent.LINE_OFF, LatchEvent.LIT, LatchEvent.BURN_OUT)
    day.set(key_in=False)
    assert day.wait() is WaitClass.UNPROVEN


# ---- the wait's clock -----------------------------------------------------------------------------


def test_while_the_key_is_in_the_full_length_stands_still():
    day = fired_day(LatchEvent.LIT, LatchEvent.BURN_OUT)
    day.set(rose_and_fell=True)
    day.run(300.0)
    view = day.latch.view(day.ev, day.now_ns)
    assert (view.left_s, view.running, view.note) == (600.0, False, "starts at key-out")
    day.set(key_in=False)
    day.run(10.0)
    view = day.latch.view(day.ev, day.now_ns)
    assert (view.left_s, view.running, view.note) == (590.0, True, "runs from key-out")


def test_the_wait_runs_from_burn_out_when_the_key_came_out_earlier():
    day = fired_day(LatchEvent.LIT)
    day.set(key_in=False, rose_and_fell=True)
    day.run(100.0)
    assert day.latch.reason == "motor burning"
    assert not day.latch.view(day.ev, day.now_ns).running
    day.note(LatchEvent.BURN_OUT)
    day.run(5.0)
    view = day.latch.view(day.ev, day.now_ns)
    assert (view.left_s, view.note) == (595.0, "runs from burn-out")


@pytest.mark.parametrize(
    "event",
    [
        LatchEvent.GO,
        LatchEvent.LINE_ON,
        LatchEvent.UNEXPLAINED_RISE,
        LatchEvent.SMOKE_REPORTED,
        LatchEvent.FLAME_REPORTED,
        LatchEvent.SOUND_REPORTED,
        LatchEvent.KEY_IN,
        LatchEvent.CONTINUITY_CHANGED,
    ],
)
def test_the_wait_restarts_on_each_of_its_causes(event):
    """Practice 2C: a wait restarts on these."""
    day = burnt_day()
    day.run(500.0)
    day.note(event)
    assert day.latch.elapsed_s(day.ev, day.now_ns) == 0.0
    assert event.value in day.latch.view(day.ev, day.now_ns).note


def test_a_relight_restarts_the_wait_at_its_own_burn_out():
    """A new rise in WAIT is BURNING again."""
    day = burnt_day()
    day.run(500.0)
    day.note(LatchEvent.LIT)
    assert day.latch.reason == "motor burning"
    day.run(20.0)
    assert day.left() == 600.0
    day.note(LatchEvent.BURN_OUT)
    day.run(10.0)
    assert day.left() == 590.0


def test_a_key_put_back_in_restarts_the_wait():
    day = burnt_day()
    day.run(500.0)
    day.set(key_in=True)
    day.set(key_in=False)
    assert day.left() == 600.0


def test_a_measured_change_of_continuity_restarts_the_wait():
    day = burnt_day()
    day.run(500.0)
    day.set(load="dummy")
    assert day.left() == 600.0
    day.run(50.0)
    day.set(load="unknown")
    day.set(load="dummy")
    assert day.left() == 550.0, "a moment without a measurement is no change"


def test_more_than_ten_seconds_without_data_restarts_the_wait_when_data_are_back():
    day = burnt_day()
    day.run(500.0)
    day.set(data_age_s=10.5)
    day.run(300.0, ticks=False)
    view = day.latch.view(day.ev, day.now_ns)
    assert (view.left_s, view.running, view.note) == (600.0, False, "starts at data back")
    day.set(data_age_s=0.0)
    day.run(10.0)
    assert day.left() == 590.0


def test_ten_seconds_without_data_do_not():
    day = burnt_day()
    day.run(500.0)
    day.set(data_age_s=9.9)
    day.run(10.0)
    assert day.left() == 90.0


def test_a_process_that_slept_is_a_gap_by_the_boards_ticks():
    day = burnt_day()
    day.run(500.0)
    day.ev = replace(day.ev, tick=day.ev.tick + 3600 * HZ)
    day.tick()
    assert day.left() == 600.0


def test_a_rehearsal_step_is_no_gap_and_counts():
    day = burnt_day()
    day.run(100.0)
    day.latch.stepped(300.0)
    day.now_ns += 300 * 10**9
    day.tick()
    day.ev = replace(day.ev, tick=day.ev.tick + 300 * HZ)
    day.tick()
    assert day.left() == 200.0


def test_the_slower_of_two_proven_clocks_counts():
    """Practice 2C: the longer of the two answers wins."""
    day = burnt_day()
    day.run(100.0, ticks=False)
    assert day.left() == 600.0
    day = burnt_day()
    day.run(100.0, engine=False)
    assert day.left() == 600.0


def test_a_clock_break_leaves_the_boards_ticks():
    day = burnt_day()
    day.run(100.0)
    day.note(LatchEvent.CLOCK_BREAK)
    day.run(50.0, engine=False)
    assert day.left() == 450.0


def test_a_board_reset_leaves_the_engines_clock():
    day = burnt_day()
    day.run(100.0)
    day.set(boot_nonce=78, tick=0)
    day.run(50.0)
    assert day.left() == 450.0


def test_neither_clock_proven_starts_again_from_zero():
    day = burnt_day()
    day.run(100.0)
    day.set(boot_nonce=78, tick=0)
    day.note(LatchEvent.CLOCK_BREAK)
    assert day.left() == 600.0


def test_anybody_lengthens_the_wait_and_nobody_shortens_it():
    day = burnt_day()
    day.latch.lengthen(900.0)
    day.latch.lengthen(10.0)
    day.run(100.0)
    assert day.left() == 800.0
    day.note(LatchEvent.SMOKE_REPORTED)
    assert day.left() == 900.0


# ---- restart of the engine ------------------------------------------------------------------------


def restarted(day, gap_s, **change):
    """A new engine process on the same journal, `gap_s` later by the board's ticks."""
    saved = day.latch.to_json()
    last = day.ev.tick
    new = Day(saved=saved, journal_empty=False, last_tick=last)
    new.now_ns = 1
    new.ev = replace(day.ev, tick=last + round(gap_s * HZ), **change)
    new.tick()
    return new


def test_a_restarted_engine_carries_the_wait_on_by_the_boards_ticks():
    day = restarted(_ran(burnt_day(), 100.0), 4.0)
    assert day.latch.word is Word.CLOSED
    assert day.left() == pytest.approx(496.0)
    assert day.latch.view(day.ev, day.now_ns).note == "runs from key-out"


def test_a_restart_longer_than_ten_seconds_starts_from_zero():
    day = restarted(_ran(burnt_day(), 100.0), 10.5)
    assert day.left() == 600.0


def test_a_restart_with_another_boot_nonce_starts_from_zero():
    day = restarted(_ran(burnt_day(), 100.0), 1.0, boot_nonce=99)
    assert day.left() == 600.0


def test_a_restart_in_the_burn_waits_as_if_the_pressure_was_not_seen():
    day = fired_day(LatchEvent.LIT)
    new = restarted(day, 2.0, key_in=False, rose_and_fell=True)
    assert new.wait() is WaitClass.UNPROVEN
    assert new.left() == 3600.0


def test_a_restart_after_go_was_lost_from_the_record_believes_the_fired_latch():
    day = closed_day()
    new = restarted(day, 1.0, fired_latch=True, key_in=False)
    assert new.latch.history.unknown


def test_the_lengthened_wait_survives_a_restart():
    day = burnt_day()
    day.latch.lengthen(5000.0)
    assert restarted(day, 1.0).left() == pytest.approx(4999.0)


def test_a_misfire_with_a_blind_restart_is_an_unknown_outcome():
    """It could have lit and burnt out unseen."""
    day = fired_day()
    new = restarted(day, 60.0, key_in=False)
    assert new.left() == 3600.0
    assert new.latch.history.unknown


# ---- record only ----------------------------------------------------------------------------------


def test_record_only_confirms_by_two_names_what_it_cannot_measure():
    day = Day(saved={**saved_open(), "boot_nonce": 77})
    day.latch.record_only = True
    day.tick()
    day.note(LatchEvent.PEOPLE_CLEAR)
    day.set(key_in=None, circuit_dead=False, stop_in=False)
    day.note(LatchEvent.LIT, LatchEvent.BURN_OUT)
    day.set(rose_and_fell=True)
    day.run(600.0)
    assert "two of you confirm" in day.ask().text
    day.set(confirmed_dead_by=TWO)
    assert isinstance(day.ask(), Opened)


def _ran(day, seconds):
    day.run(seconds)
    return day


# ---- corners --------------------------------------------------------------------------------------


def test_an_abort_before_the_light_still_counts_after_it():
    """After ABORT of a lit motor the unproven wait always runs, whichever came first."""
    day = fired_day(LatchEvent.ABORTED, LatchEvent.LIT, LatchEvent.BURN_OUT)
    day.set(key_in=False, rose_and_fell=True)
    assert day.wait() is WaitClass.UNPROVEN


def test_a_fired_latch_that_waits_for_its_release_is_no_news():
    """RELEASED goes to the board when the latch opens; its STATUS follows a moment later."""
    day = burnt_day()
    day.run(600.0)
    assert isinstance(day.ask(), Opened)
    day.run(2.0)
    assert day.latch.word is Word.OPEN
    day.set(fired_latch=False)
    day.set(fired_latch=True)
    assert day.latch.word is Word.CLOSED, "set again: a pulse or a rise that we did not see"


def test_a_board_that_restarts_in_a_dry_count_ends_the_dry_rule():
    """The load was not watched from ARM to line off."""
    day = dry_day()
    day.note(LatchEvent.GO)
    day.set(boot_nonce=78, fired_latch=True, load="unknown")
    day.note(LatchEvent.LINE_OFF)
    assert day.wait() is not WaitClass.DRY


def test_a_board_that_restarts_beside_an_igniter_closes_an_open_latch():
    """Practice 2C: after any restart with an igniter connected, the full wait from now."""
    day = opened_day()
    day.set(load="igniter")
    day.set(boot_nonce=78)
    assert day.latch.word is Word.CLOSED
    assert day.left() == 3600.0


def test_a_board_that_restarts_with_nothing_on_the_line_leaves_it_open():
    day = opened_day()
    day.set(boot_nonce=78)
    assert day.latch.word is Word.OPEN


def test_the_fact_survives_json():
    saved = json.loads(json.dumps(_ran(burnt_day(), 100.0).latch.to_json()))
    assert saved["word"] == "CLOSED"
    assert saved["history"]["lit"]
    assert saved["started_tick"] is not None
