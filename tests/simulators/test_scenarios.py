"""Scenario files: all of them load, say what they expect, and fit the demonstration stand."""

import pytest

from simulators.demo import start_message
from simulators.faults import KINDS
from simulators.scenarios_io import load, names, parse
from simulators.setup import StandSetup

HEAD = {"title": "t", "about": "a", "tags": ["x"]}
PHASES = {
    "SAFE",
    "ARM",
    "COUNTDOWN",
    "HOLD",
    "FIRE",
    "BURNING",
    "WAIT",
    "MISFIRE",
    "ABORT",
    "INSPECT",
}


@pytest.mark.parametrize("name", names())
def test_every_scenario_loads_and_fits_the_stand(name):
    scenario = load(name)
    setup = StandSetup.from_json(scenario.apply(start_message()))
    assert len(setup.faults) == len(scenario.faults)
    assert scenario.title
    assert set(scenario.expect.phases) | set(scenario.expect.never_phases) <= PHASES
    assert scenario.expect.true_outcome in (None, "burnt", "burst", "misfire", "not fired")


def test_the_scenarios_that_the_trade_asks_for_exist():
    """Practice 9; the names the first rehearsals use."""
    wanted = {
        "nominal",
        "overpressure",
        "logger-brownout",
        "misfire-opened",
        "misfire-no-current",
        "hang-fire",
        "link-lost-count",
        "link-lost-burn",
        "key-out-count",
        "key-out-burn",
    }
    assert wanted <= set(names())
    rows = {tag for name in names() for tag in load(name).tags if tag.startswith("bad day")}
    assert len(rows) >= 16


def test_nominal_has_no_fault():
    assert load("nominal").faults == ()


def test_applying_changes_a_copy_only():
    message = start_message()
    changed = load("burst").apply(message)
    assert changed["motor"]["burst_pa"] == 10.0e6
    assert "burst_pa" not in message["motor"]
    assert message["faults"] == []


@pytest.mark.parametrize(
    "raw, words",
    [
        ({"scenario": HEAD}, r"\[expect\] is missing"),
        ({"scenario": {"title": "t"}, "expect": {"trip": True}}, "about is missing"),
        ({"scenario": HEAD, "expect": {"tripp": True}}, "'tripp'; known are"),
        ({"scenario": HEAD, "wish": {}, "expect": {"trip": True}}, "section 'wish'"),
        (
            {"scenario": HEAD, "fault": [{"at": 1, "do": "x"}], "expect": {"trip": True}},
            "unknown 'x'",
        ),
        ({"scenario": HEAD, "start": {"sun": 1}, "expect": {"trip": True}}, "'sun'"),
    ],
)
def test_a_wrong_scenario_is_refused_with_a_sentence(raw, words):
    with pytest.raises(ValueError, match=words):
        parse("x", raw)


def test_an_unknown_name_lists_the_known_ones():
    with pytest.raises(ValueError, match=r"known are .*nominal"):
        load("moonshot")


def test_most_kinds_of_fault_are_rehearsed_somewhere():
    used = {fault["do"] for name in names() for fault in load(name).faults}
    assert len(used) > 0.6 * len(KINDS)
