"""Faults as data: triggers, checks with sentences, and that every kind acts on a running rig."""

import pytest

from firmware_protocol.numbers import ResetCause
from simulators.acts import ACTS
from simulators.demo import start_message
from simulators.faults import KINDS, Fault, FaultPlan, Trigger
from simulators.rig import Rig
from simulators.setup import StandSetup


def rig(*faults, **stand):
    message = start_message(faults=list(faults))
    message["stand"] = {**message["stand"], **stand}
    return Rig(StandSetup.from_json(message))


def fire(stand, seconds=1.0):
    """Close both switches directly: the board under test elsewhere would never do it like this."""
    stand.plant.line.key_in = stand.plant.line.joined = True
    stand.plant.drive(high=True, low=True)
    run(stand, seconds)


def run(stand, seconds):
    for _ in range(round(seconds * 1000)):
        stand.advance_ms()


def true(stand):
    return stand.true_state()


@pytest.mark.parametrize(
    "text, moment, plus",
    [
        (3, "", 3.0),
        ("3.5", "", 3.5),
        ("t0", "t0", 0.0),
        ("t0+0.05", "t0", 0.05),
        ("armed+20", "armed", 20.0),
    ],
)
def test_triggers_read_as_written(text, moment, plus):
    assert Trigger.parse(text) == Trigger(moment=moment, plus_s=plus)


def test_a_countdown_mark_is_no_trigger_and_the_sentence_says_what_is():
    with pytest.raises(ValueError, match="expected seconds or one of armed"):
        Trigger.parse("count-3")


@pytest.mark.parametrize(
    "raw, words",
    [
        ({"at": 1, "do": "explode"}, "unknown 'explode'"),
        ({"do": "key_out"}, "says no 'at'"),
        ({"at": 1, "do": "sensor_stuck"}, "needs 'channel'"),
        ({"at": 1, "do": "key_out", "quick": 1}, "does not know 'quick'"),
        ({"at": 1, "do": "switch_welded", "switch": "left"}, "expected high or low"),
    ],
)
def test_a_wrong_fault_is_refused_with_a_sentence(raw, words):
    with pytest.raises(ValueError, match=words):
        Fault.from_json(raw)


def test_an_unknown_channel_is_refused_at_the_start():
    with pytest.raises(ValueError, match="'p9'"):
        rig({"at": 5, "do": "sensor_stuck", "channel": "p9"})


def test_every_kind_has_an_act():
    assert set(ACTS) == set(KINDS)


def test_a_plan_dates_faults_at_their_moment_and_keeps_their_order():
    first = Fault.from_json({"at": "t0+2", "do": "key_out"})
    second = Fault.from_json({"at": "t0+1", "do": "stop_in"})
    third = Fault.from_json({"at": 0.5, "do": "cable_out"})
    plan = FaultPlan([first, second, third])
    assert plan.due(1.0) == [third]
    assert plan.next_s is None
    assert plan.waiting == 2
    plan.note("t0", 10.0)
    plan.note("t0", 50.0)
    assert plan.next_s == 11.0
    assert plan.due(20.0) == [second, first]


def test_sensor_faults_reach_the_counts_and_end_on_time():
    stand = rig(
        {"at": 0.1, "do": "sensor_rail", "channel": "p1", "for_s": 0.1},
        {"at": 0.1, "do": "sensor_open", "channel": "p2"},
        {"at": 0.1, "do": "sensor_offset", "channel": "f1", "si": 500.0, "for_s": 0.1},
    )
    run(stand, 0.15)
    p1, p2, f1 = stand.plant.rows(0)
    assert (p1, p2) == (65_535, 0)
    assert f1 == pytest.approx(6553.6 + 500 * 52_428.8 / 2500, abs=80)
    run(stand, 0.1)
    p1, p2, f1 = stand.plant.rows(0)
    assert p1 == pytest.approx(6553.6, abs=120)
    assert p2 == 0
    assert f1 == pytest.approx(6553.6, abs=80)


def test_sensor_gain_drift_noise_slow_plug_and_spike_act():
    stand = rig(
        {"at": 0, "do": "sensor_gain", "channel": "f1", "factor": 2.0},
        {"at": 0, "do": "sensor_drift", "channel": "f1", "si_per_s": 10.0},
        {"at": 0, "do": "sensor_noise", "channel": "p1", "factor": 5.0},
        {"at": 0, "do": "sensor_slow", "channel": "p1", "tau_s": 0.3},
        {"at": 0, "do": "sensor_plug", "channel": "p2"},
        {"at": 0.01, "do": "sensor_spike", "channel": "p2", "si": 4e6, "times": 2, "every_s": 0.01},
        {"at": 0.2, "do": "sensor_stuck", "channel": "p1"},
    )
    seen = []
    for _ in range(50):
        stand.advance_ms()
        seen.append(stand.plant.channels["p2"]._last)
    channels = stand.plant.channels
    assert channels["f1"].gain == 2.0
    assert channels["f1"].drift_counts_per_s == pytest.approx(10 * 52_428.8 / 2500)
    assert channels["p1"].noise_factor == 5.0
    assert channels["p2"].plugged
    stand.plant.puff(1e6, 1.0)
    run(stand, 0.1)
    assert channels["p2"].sense(1.1e6, 0.0) == pytest.approx(0.0, abs=1e3)
    slow = channels["p1"].sense(1.1e6, 0.0)
    assert 0.1e6 < slow < 0.6e6
    run(stand, 0.1)
    assert channels["p1"].broken == "stuck"


def test_spikes_are_single_samples():
    stand = rig(
        {"at": 0.01, "do": "sensor_spike", "channel": "p1", "si": 4e6, "times": 3, "every_s": 0.01}
    )
    stand.plant.rows = spy(stand.plant.rows, seen := [])
    run(stand, 0.06)
    assert sum(row[0] > 20_000 for row in seen) == 3


def spy(call, seen):
    def through(group):
        seen.append(call(group))
        return seen[-1]

    return through


def test_key_and_stop_faults_cut_the_current_within_a_millisecond():
    for kind in ("key_out", "stop_in", "line_open"):
        stand = rig({"at": "t0+0.01", "do": kind})
        fire(stand, 0.009)
        assert true(stand)["current_a"] > 1
        run(stand, 0.004)
        assert true(stand)["current_a"] == 0


def test_key_back_in_and_stop_back_out():
    stand = rig(
        {"at": 0, "do": "key_in"},
        {"at": 0.01, "do": "key_out", "for_s": 0.01},
        {"at": 0, "do": "stop_in"},
        {"at": 0.01, "do": "stop_out"},
    )
    run(stand, 0.015)
    assert (true(stand)["key_in"], true(stand)["stop_in"]) == (False, False)
    run(stand, 0.01)
    assert true(stand)["key_in"]


def test_welded_contacts_are_sensed_and_line_and_supply_faults_are_measured():
    stand = rig(
        {"at": 0, "do": "switch_welded", "switch": "low"},
        {"at": 0, "do": "key_welded"},
        {"at": 0, "do": "line_ohm", "ohm": 3.0},
        {"at": 0, "do": "supply", "mv": 9800},
        joined=True,
    )
    run(stand, 0.002)
    plant = stand.plant
    assert (plant.high_closed(), plant.low_closed(), plant.key_in()) == (False, True, True)
    assert plant.continuity_mohm() == 5300
    assert plant.supply_mv() == 9800


def test_a_dead_key_contact_lets_nothing_through():
    stand = rig({"at": 0, "do": "key_contact_dead"})
    stand.advance_ms()
    fire(stand, 0.1)
    assert stand.plant.key_in()
    assert stand.plant.t0_s is None
    assert stand.plant.energised


def test_an_open_igniter_and_a_dud_light_nothing():
    broken = rig({"at": 0, "do": "igniter_open"})
    broken.advance_ms()
    fire(broken)
    assert broken.plant.t0_s is None
    dud = rig({"at": 0, "do": "igniter_dud"})
    dud.advance_ms()
    fire(dud)
    assert dud.plant.t0_s is not None
    assert dud.plant.line.bridge_open
    assert dud.plant.lit_s is None


def test_a_healthy_igniter_lights_the_motor_after_its_delay():
    stand = rig()
    fire(stand, 0.5)
    assert stand.plant.lit_s - stand.plant.t0_s == pytest.approx(0.02 + 0.12, abs=0.002)


def test_an_igniter_that_stays_closed_keeps_its_continuity():
    stand = rig({"at": 0, "do": "igniter_stays"})
    stand.advance_ms()
    fire(stand, 0.5)
    stand.plant.drive(high=False, low=False)
    assert stand.plant.continuity_mohm() == 2300
    assert stand.plant.lit_s is not None


def test_a_hang_fire_lights_when_it_says():
    stand = rig({"at": 0, "do": "hang_fire", "delay_s": 2.0})
    stand.advance_ms()
    fire(stand, 1.0)
    stand.plant.drive(high=False, low=False)
    assert stand.plant.lit_s is None
    run(stand, 1.2)
    assert stand.plant.lit_s - stand.plant.t0_s == pytest.approx(2.02, abs=0.002)


def test_a_motor_may_light_by_itself():
    stand = rig({"at": 0.1, "do": "light_motor"})
    run(stand, 0.3)
    assert true(stand)["lit"]
    assert stand.plant.t0_s is None


def test_over_pressure_passes_the_trip_and_the_motor_burns_on():
    stand = rig({"at": "lit+0.6", "do": "over_pressure", "throat_factor": 0.78, "over_s": 0.05})
    fire(stand, 2.0)
    top = max(row[1] for row in stand.plant.trace) - 101_325
    assert 5.26e6 < top < 7e6
    assert true(stand)["lit"]
    run(stand, 3.0)
    assert stand.plant.out_s is not None


def test_burst_leak_and_chuff_act():
    burst = rig({"at": "lit+0.5", "do": "burst"})
    fire(burst, 1.0)
    assert burst.plant.motor.burst
    assert true(burst)["pressure_pa"] < 2e5
    healthy, leaky = rig(), rig({"at": "lit+0.1", "do": "leak", "share": 0.25})
    for stand in (healthy, leaky):
        fire(stand, 1.0)
    assert true(leaky)["thrust_n"] < 0.85 * true(healthy)["thrust_n"]
    chuff = rig({"at": "lit+0.4", "do": "chuff", "off_s": 0.5, "on_s": 0.3, "times": 2})
    fire(chuff, 5.0)
    assert [event["what"] for event in chuff.events].count("lit") == 3


def test_link_faults_lose_delay_and_damage_bytes():
    stand = rig(
        {"at": 0.01, "do": "cable_out", "for_s": 0.01},
        {"at": 0.05, "do": "link_lag", "lag_s": 0.02, "for_s": 0.05},
        {"at": 0.15, "do": "link_noise", "share": 1.0, "for_s": 0.01},
        {"at": 0.2, "do": "board_silent"},
        {"at": 0.25, "do": "cable_in"},
    )
    cable = stand.cable
    run(stand, 0.015)
    assert cable.to_board(b"abc", stand.now_s) == b""
    run(stand, 0.01)
    assert cable.to_board(b"abc", stand.now_s) == b"abc"
    run(stand, 0.03)
    assert cable.to_board(b"abc", stand.now_s) == b""
    assert cable.to_board(b"", stand.now_s + 0.021) == b"abc"
    run(stand, 0.1)
    assert cable.to_board(b"abc", stand.now_s) != b"abc"
    run(stand, 0.06)
    assert cable.to_host(b"abc", stand.now_s) == b""
    assert cable.to_board(b"abc", stand.now_s) == b"abc"


def test_a_brownout_drops_the_line_and_the_board_comes_back_new():
    stand = rig({"at": "t0+0.01", "do": "brownout", "for_s": 0.6})
    first = stand.board
    fire(stand, 0.1)
    assert stand.board is None
    assert stand.pins.levels == {"high": False, "low": False} | {
        name: level for name, level in stand.pins.levels.items() if name not in ("high", "low")
    }
    assert true(stand)["powered"] is False
    run(stand, 0.7)
    assert stand.board is not None
    assert stand.board is not first
    assert [boot["cause"] for boot in stand.boots] == ["POWER", "BROWN_OUT"]
    assert stand.board_tick < 300_000


def test_a_board_reset_names_its_cause():
    stand = rig({"at": 0.05, "do": "board_reset", "cause": "watchdog"})
    run(stand, 0.1)
    assert stand.boots[-1]["cause"] == ResetCause.WATCHDOG.name
    assert "reset" in [event["what"] for event in stand.events]
