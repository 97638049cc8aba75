"""The condition table of the page, and practice 2B: go or no go."""

from dataclasses import replace

import pytest

from daq.procedure.conditions import (
    Moment,
    Reaction,
    arming_refusal,
    broken,
    judge,
    worst,
)
from daq.procedure.reading import ChannelWord, Reading

P1 = ChannelWord(name="p1", is_pressure=True, word="NOT PROVEN")
F1 = ChannelWord(name="f1", is_pressure=False, word="OK")
GO = Reading(
    left_s=60.0, key_in=True, key_seen_out=True, stop_in=False, link_up=True, board_agrees=True,
    limits_equal=True, setup_equal=True, continuity_ok=True, continuity_text="1.20 Ω",
    switches_open=True, line_dead=True, supply_ok=True, selftest_age_s=30.0, grip=False,
    trip_over=False, pressure_ambient=True, thrust_zero=True, channels=(P1, F1), sync_age_s=0.09,
    queue_s=0.01, disk_ok=True, recorder_word="running", screen_age_s=0.1, rating=(), unsigned=(),
    calibration_ok=True, reconciled=True, latch_closed=True, range_clear_age_s=20.0,
    posts_age_s=20.0, warning_age_s=15.0, storm_text="", on_mains=True, battery_percent=90.0,
    sleep_inhibited=True, ring_ok=True,
)  # fmt: skip
AT = {
    Moment.ARM: GO,
    Moment.COUNT: replace(GO, left_s=8.0),
    Moment.PULSE: replace(GO, left_s=0.0, grip=True),
}

# change, name, reaction at ARM, in the count, in the pulse (None: not a condition there)
TABLE = [
    ({"key_in": False}, "key", "refuse", "safe", "drop"),
    ({"key_seen_out": False}, "key_seen_out", "refuse", None, None),
    ({"stop_in": True}, "stop", "refuse", "safe", "drop"),
    ({"link_up": False}, "link", "refuse", "safe", "drop"),
    ({"limits_equal": False}, "limits", "refuse", "safe", "drop"),
    ({"setup_equal": False}, "setup", "refuse", "safe", None),
    ({"continuity_ok": False}, "continuity", "refuse", "safe", None),
    ({"switches_open": False}, "switches", "refuse", "safe", None),
    ({"line_dead": False}, "line_dead", "refuse", "safe", None),
    ({"supply_ok": False}, "supply", "refuse", "safe", None),
    ({"selftest_age_s": 601.0}, "selftest", "refuse", None, None),
    ({"trip_over": True}, "trip", "refuse", "abort", "abort"),
    ({"pressure_ambient": False}, "pressure_zero", "refuse", "hold", None),
    ({"thrust_zero": False}, "thrust_zero", "refuse", "hold", None),
    ({"channels": (replace(P1, word="STUCK"), F1)}, "pressure_health", "refuse", "hold", "banner"),
    ({"channels": (F1,)}, "pressure_health", "refuse", "hold", "banner"),
    ({"channels": (P1, replace(F1, word="RAIL"))}, "thrust_health", "refuse", "hold", "banner"),
    ({"sync_age_s": 1.0}, "recorder", "refuse", "hold", "banner"),
    ({"queue_s": 0.5}, "recorder", "refuse", "hold", "banner"),
    ({"recorder_word": "ram only"}, "recorder", "refuse", "hold", "banner"),
    ({"disk_ok": False}, "disk", "refuse", "hold", "banner"),
    ({"screen_age_s": 0.251}, "screen", "refuse", "hold", "drop"),
    ({"unsigned": ("E4 is open.",)}, "checklist", "refuse", "safe", None),
    ({"rating": ("Margin short.",)}, "rating", "refuse", "safe", None),
    ({"calibration_ok": False}, "calibration", "refuse", "safe", None),
    ({"reconciled": False}, "ledger", "refuse", "safe", None),
    ({"latch_closed": False}, "latch", "refuse", "safe", None),
    ({"range_clear_age_s": 121.0}, "range_clear", "refuse", "hold", None),
    ({"posts_age_s": 121.0}, "posts", "refuse", "hold", None),
    ({"warning_age_s": 119.0}, "warning", "refuse", "hold", None),
    ({"storm_text": "thunder 12 min ago"}, "storm", "refuse", "hold", None),
    ({"on_mains": False, "battery_percent": 24.0}, "power", "refuse", "hold", None),
    ({"on_mains": False, "battery_percent": None}, "power", "refuse", "hold", None),
    ({"sleep_inhibited": False}, "power", "refuse", "hold", None),
    ({"video_ok": False}, "video", "refuse", "hold", None),
    ({"ring_ok": False}, "ring", "refuse", None, None),
    ({"board_agrees": False}, "board", "refuse", "safe", None),
]


@pytest.mark.parametrize("moment", Moment)
def test_nothing_is_broken_when_everything_holds(moment):
    conditions = judge(moment, AT[moment])
    assert all(each.holds for each in conditions), broken(conditions)
    assert worst(conditions) is None
    assert arming_refusal(conditions) == ""


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[1]}-{row[0]}")
def test_each_row_of_the_table_leads_to_its_reaction_and_to_nothing_else(row):
    change, name, *reactions = row
    for moment, expected in zip(Moment, reactions, strict=True):
        conditions = judge(moment, replace(AT[moment], **change))
        bad = [each for each in conditions if not each.holds]
        assert [each.name for each in bad] == ([] if expected is None else [name])
        if expected is not None:
            assert bad[0].reaction == Reaction(expected)
            assert bad[0].text.endswith(".")


def test_every_condition_has_its_row_in_the_test_but_the_grip():
    names = {each.name for moment in Moment for each in judge(moment, AT[moment])}
    assert names - {row[1] for row in TABLE} == {"grip"}


@pytest.mark.parametrize(
    ("left_s", "grip", "holds"),
    [
        (3.01, True, False),
        (3.0, True, True),
        (3.0, False, True),
        (1.51, False, True),
        (1.5, False, False),
        (0.5, False, False),
        (30.0, False, True),
    ],
)
def test_the_fire_control_counts_from_three_seconds_and_is_late_at_one_and_a_half(
    left_s, grip, holds
):
    """Earlier, or not yet at T−1.5 s: HOLD. Practice 2.25: a control already down never counts."""
    conditions = judge(Moment.COUNT, replace(GO, left_s=left_s, grip=grip, warning_age_s=60.0))
    found = next(each for each in conditions if each.name == "grip")
    assert (found.holds, found.reaction) == (holds, Reaction.HOLD)


def test_in_the_pulse_letting_go_drops_the_line():
    conditions = judge(Moment.PULSE, replace(AT[Moment.PULSE], grip=False))
    assert worst(conditions).reaction is Reaction.DROP


def test_the_gravest_reaction_rules():
    reading = replace(GO, left_s=8.0, trip_over=True, key_in=False, sync_age_s=9.0)
    names = [each.name for each in broken(judge(Moment.COUNT, reading))]
    assert names == ["trip", "key", "recorder"]


def test_a_failing_recorder_never_ends_a_pulse():
    """Practice 0.9: nothing that goes wrong may stop the recording, nor the recording the rest."""
    reading = replace(AT[Moment.PULSE], sync_age_s=9.0, recorder_word="ram only", disk_ok=False)
    assert worst(judge(Moment.PULSE, reading)).reaction is Reaction.BANNER


def test_the_warning_is_young_at_the_moment_of_firing():
    """Practice 2.18: fire refused when the last warning is older than 120 s."""
    assert worst(judge(Moment.ARM, replace(GO, warning_age_s=60.0))) is None
    assert worst(judge(Moment.ARM, replace(GO, warning_age_s=61.0))).name == "warning"
    assert worst(judge(Moment.COUNT, replace(GO, left_s=20.0, warning_age_s=100.0))) is None


def test_thrust_alone_may_be_waived_and_by_name():
    """Practice 2B: TC, in writing (data loss only); pressure: nobody."""
    weak = replace(F1, word="OPEN")
    bad = replace(P1, word="OPEN")
    reading = replace(GO, thrust_zero=False, channels=(P1, weak), thrust_waived_by="Timo")
    conditions = judge(Moment.ARM, reading)
    assert worst(conditions) is None
    assert any("waived by Timo" in each.text for each in conditions)
    assert worst(judge(Moment.ARM, replace(reading, channels=(bad, weak)))).name == (
        "pressure_health"
    )


def test_a_refusal_to_arm_names_every_missing_condition():
    """Console, words: a refusal names every missing condition."""
    text = arming_refusal(judge(Moment.ARM, Reading()))
    for word in ("key", "stop button", "limits", "Continuity", "switch", "recorder", "Range clear"):
        assert word in text
    assert text.startswith("Not armed. ")


def test_nothing_has_a_good_default():
    conditions = judge(Moment.ARM, Reading())
    assert {each.name for each in conditions if each.holds} <= {"grip", "thrust_health", "video"}


def test_a_gap_in_continuity_says_that_nobody_goes_forward():
    reading = replace(GO, continuity_ok=False, continuity_text="open")
    assert "nobody goes forward" in arming_refusal(judge(Moment.ARM, reading))
