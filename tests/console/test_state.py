"""The fold without Qt: age, staleness, masked numbers, counted colours, the words of each cell."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from scenes import ARM, BASE, BURN, COUNT, NOW_NS, SCENES, SECOND_NS, with_

from daq.console.gauges import NearTrip
from daq.console.moment import Local
from daq.console.state import Fold
from daq.console.view import Frame

MS = 1_000_000


def view_of(status, age_ms=30, local=None):
    fold = Fold()
    fold.take(status, NOW_NS - age_ms * MS)
    return fold.view(NOW_NS, local)


@pytest.mark.parametrize("name", SCENES)
def test_coloured_causes_are_counted(name):
    """Practice 3.24: at most two in a normal phase, and each scene exactly as specified."""
    view = SCENES[name].view()
    assert len(view.causes) == SCENES[name].causes, view.causes


def test_at_250_ms_numbers_turn_grey_and_at_500_ms_the_screen_is_stale():
    assert not view_of(COUNT, 250).clock.dim
    grey = view_of(COUNT, 251)
    assert grey.clock.dim
    assert grey.pressure.dim
    assert not grey.stale
    assert grey.clock.note == "0.25 s old"
    assert not view_of(COUNT, 500).stale
    assert view_of(COUNT, 501).stale


def test_staleness_counts_from_reception_not_from_what_the_status_says_of_itself():
    old_story = with_(COUNT, utc="2020-01-01T00:00:00Z", engine_s=0.0)
    assert not view_of(old_story).stale


def test_a_stale_screen_says_was_and_claims_nothing():
    view = view_of(COUNT, 620)
    assert (view.phase.word, view.circuit.word) == ("STALE", "UNKNOWN")
    assert view.circuit.foot == "last seen ARMED"
    assert all(closed is None for _, closed in view.circuit.contacts)
    assert view.clock.hollow
    assert view.pressure.hollow
    rows = {row.label: row.value for row in view.health.rows}
    assert rows["Key"] == "was IN"
    assert rows["Stop"] == "was OUT"
    assert rows["Link"] == "was 18 ms"
    assert rows["Recorder"] == "not known"
    assert (view.health.board, view.health.engine) == ("?", "?")
    assert view.phase.rows[0] == ("Last", "COUNTDOWN, T−07")


def test_a_stale_closed_stays_closed_and_a_stale_open_must_be_treated_as_closed():
    assert view_of(COUNT, 900).approach.word == "CLOSED"
    unknown = view_of(BASE, 900).approach
    assert (unknown.word, unknown.look) == ("UNKNOWN", "unknown")
    assert unknown.lines[0] == "Treat as CLOSED"


def test_before_any_status_nothing_is_claimed():
    view = Fold().view(NOW_NS)
    assert view.n == -1
    assert (view.phase.word, view.circuit.word, view.approach.word) == (
        "STALE",
        "UNKNOWN",
        "UNKNOWN",
    )


def test_open_in_rehearsal_is_never_green():
    view = view_of(with_(BASE, mode="REHEARSAL"))
    assert view.approach.look == "rehearsal"
    assert "approach green outline" not in view.causes
    assert "approach green outline" in view_of(BASE).causes


def test_a_masked_setup_number_shows_dots_in_the_band_and_the_echo_is_the_only_place():
    view = view_of(ARM)
    assert view.band.setup == "•••• ••••"
    assert [block.value for block in view.people if getattr(block, "label", "") == "Set-up"] == [
        "4817 2093"
    ]


def test_board_and_engine_must_differ_for_200_ms_before_it_is_an_alarm():
    odd = with_(COUNT, board={"state": "DISARMED", "agrees": False})
    fold = Fold()
    fold.take(odd, NOW_NS)
    assert not fold.view(NOW_NS + 199 * MS).health.differ
    assert fold.view(NOW_NS + 200 * MS).health.differ
    fold.take(COUNT, NOW_NS + 210 * MS)
    assert not fold.view(NOW_NS + 220 * MS).health.differ


def test_near_trip_waits_100_ms_and_clears_a_second_below_its_hysteresis():
    near = NearTrip()
    assert not near.push(4.40e6, 4.33e6, 4.78e6, 0)
    assert not near.push(4.40e6, 4.33e6, 4.78e6, 99 * MS)
    assert near.push(4.40e6, 4.33e6, 4.78e6, 100 * MS)
    assert near.push(4.20e6, 4.33e6, 4.78e6, 200 * MS)
    assert near.push(4.15e6, 4.33e6, 4.78e6, 300 * MS)
    assert near.push(4.15e6, 4.33e6, 4.78e6, 1299 * MS)
    assert not near.push(4.15e6, 4.33e6, 4.78e6, 1300 * MS)


def test_an_ignition_peak_of_80_ms_does_not_cry_wolf():
    near = NearTrip()
    near.push(4.6e6, 4.33e6, 4.78e6, 0)
    near.push(3.0e6, 4.33e6, 4.78e6, 80 * MS)
    assert not near.push(4.6e6, 4.33e6, 4.78e6, 120 * MS)


def test_over_trip_has_no_delay():
    fold = Fold()
    over = with_(BURN, pressure={"pa": 4.9e6, "word": "OVER", "percent_of_trip": 102.5})
    fold.take(over, NOW_NS)
    cell = fold.view(NOW_NS).pressure
    assert (cell.mark, cell.mark_fill) == ("102 % of trip, OVER TRIP", "red")


def test_only_one_frame_is_live_when_an_alarm_has_it():
    view = SCENES["5-abort-open-alarm"].view()
    frames = [block for block in view.people if isinstance(block, Frame)]
    assert [block.live for block in frames] == [False]
    assert view.alarm.framed
    assert view.keys.enter.label == ("Answer", "alarm")


def test_a_held_key_gets_its_foot_and_blue_only_when_it_counts():
    both = Local(f_down=True, j_down=True, gripped=True)
    early = view_of(COUNT, local=both).keys
    assert early.fire_f.look == "ready"
    assert early.fire_f.foot
    counted = view_of(with_(COUNT, keys={"fire": "held"}), local=both).keys
    assert (counted.fire_f.look, counted.fire_f.foot) == ("act", True)


def test_up_and_down_move_the_frame_over_open_lines_only():
    def head(line):
        view = view_of(BASE, local=Local(line=line))
        return next(block.head for block in view.people if isinstance(block, Frame))

    assert head("D8") == "D8 Pad left, short off"
    assert head("D2").startswith("D7")


def test_words_never_promise_what_the_tool_cannot_do():
    """Practice 4.1: nothing says that an abort stops a burn, nor that anybody may approach."""
    for scene in SCENES.values():
        text = repr(scene.view()).lower()
        assert "safe to approach" not in text
        assert "stops the burn" not in text
        assert "stops the motor" not in text


def test_unknown_fields_and_odd_types_do_no_harm():
    odd = with_(BASE, pressure={"pa": None, "channels": None}, clock={"seconds": None}, events="?")
    odd["alarms"] = None
    odd["limits"] = {}
    odd["new_word"] = {"x": 1}
    view = view_of(odd)
    assert view.pressure.digits == "–"
    assert view.events == ()
    assert view_of({"n": 1}).phase.word == ""


def test_the_burn_frame_stands_from_ten_seconds_before_zero():
    assert view_of(with_(COUNT, clock={"seconds": 10.1})).charts.frame == "strip"
    assert view_of(with_(COUNT, clock={"seconds": 10.0})).charts.frame == "burn"
    assert view_of(BURN).charts.frame == "burn"


def test_age_of_the_screen_runs_while_nothing_comes():
    fold = Fold()
    fold.take(COUNT, NOW_NS)
    assert fold.view(NOW_NS + 40 * MS).health.rows[-1].value == "40 ms old"
    assert fold.view(NOW_NS + 2 * SECOND_NS).alarm.what == "No status from the engine, 2.00 s."
