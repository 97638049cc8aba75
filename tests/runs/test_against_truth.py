"""Rehearsed days, reduced and held against what the simulated stand knows really happened.

The stand's truth comes from code that shares nothing with this reduction but the unit table.
"""

import json

import pytest

from daq.runs.open_run import open_run
from daq.runs.result import result_of
from daq.trials.rehearse import Played, Wanted, load_scenario, new_folder
from daq.trials.virtual import VirtualDay

FAIR = 1.5  # k = 2 holds 95 %; with this 99.7 % of fair days pass (the noise differs each time)
WHOLE = ("nominal", "overpressure", "hang-fire")


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """Play a scenario once and give (result, truth)."""
    played = {}

    def play(name):
        if name not in played:
            wanted = Wanted(scenario=name, out=tmp_path_factory.mktemp("days") / name)
            one = Played(folder=new_folder(wanted), scenario=load_scenario(name))
            VirtualDay(wanted, one).run()
            run = open_run(one.folder / "runs" / one.engine["run_id"])
            truth = json.loads((one.folder / "truth.json").read_text(encoding="utf-8"))
            played[name] = (result_of(run), truth)
        return played[name]

    return play


@pytest.mark.parametrize("name", WHOLE)
def test_every_figure_of_a_whole_burn_holds_the_truth_inside_its_uncertainty(day, name):
    result, truth = day(name)
    for figure, real in truth["figures"].items():
        found = result["figures"][figure]
        assert found["unit"] == real["unit"]
        apart = abs(found["value"] - real["value"])
        assert apart <= FAIR * found["expanded_uncertainty"], f"{figure}: {found} against {real}"
    assert result["gaps"] == []


def test_the_trip_of_the_blocked_throat_is_told(day):
    result, _ = day("overpressure")
    assert result["outcome"] == "aborted"
    assert result["trip"]["where"] == "board"
    assert 0.5 <= result["trip"]["detection_delay_ms"] <= 1.25, "3 of 5 at 4 kS/s"
    assert result["trip"]["burn_went_on"]
    assert result["figures"]["margin_used_percent"]["value"] > 100


def test_a_brownout_at_inrush_bounds_the_impulse_and_hides_nothing(day):
    """Practice 9 row 1."""
    result, truth = day("logger-brownout")
    found, real = result["figures"]["total_impulse_n_s"], truth["figures"]["total_impulse_n_s"]
    assert found["bound"] == "between"
    assert abs(found["value"] - real["value"]) <= found["expanded_uncertainty"]
    assert any("BROWN_OUT" in gap["why"] for gap in result["gaps"])
    assert result["figures"]["average_thrust_n"]["value"] is None


def test_chuffing_is_one_firing_with_several_pulses(day):
    """Practice 9 row 10: all thrust counts."""
    result, truth = day("chuffing")
    assert result["pulses"] > 1
    for figure in ("total_impulse_n_s", "action_time_s", "peak_pressure_pa"):
        found, real = result["figures"][figure], truth["figures"][figure]
        assert abs(found["value"] - real["value"]) <= FAIR * found["expanded_uncertainty"], figure


def test_a_misfire_has_no_figures(day):
    result, truth = day("misfire-opened")
    assert truth["figures"] == {}
    assert result["outcome"] == "misfire"
    assert all(figure["value"] is None for figure in result["figures"].values())


def test_a_plugged_line_is_never_reported_as_a_low_pressure(day):
    """Practice 9 row 4."""
    result, _ = day("pressure-line-plugged")
    assert result["figures"]["peak_pressure_pa"]["value"] is None
    assert result["figures"]["margin_used_percent"]["value"] is None
    assert result["figures"]["total_impulse_n_s"]["value"] is not None
