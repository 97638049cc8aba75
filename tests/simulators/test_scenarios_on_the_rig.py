"""Every scenario with a fault, run through arming, count and pulse by a host without any judgement.

What must come out of a scenario by the stand and the board alone (true outcome, boots, whether the
line ever carried both switches) is checked here; the controller's part is checked elsewhere. The
count is stepped through, as a rehearsal does.
"""

import pytest

from firmware_protocol.messages import BoardState, Reason
from simulators.scenarios_io import load, names
from simulators.truth import outcome
from tests.simulators.test_rig_firing import RigBench, energised_s

# a small offset makes the count hold; a board that hears but says nothing needs a host that notices
NEEDS_THE_ENGINE = {"pressure-stuck-high", "board-silent"}
CASES = [name for name in names() if not load(name).crew and name not in NEEDS_THE_ENGINE]


def armed(bench):
    return bench.board is not None and bench.board.state == BoardState.ARMED


def count(bench, seconds):
    """Ping through the count in steps; nothing may be stepped over, the rig sees to that."""
    end = bench.rig.now_s + seconds
    while bench.rig.now_s < end and armed(bench):
        bench.rig.step(min(4.0, end - bench.rig.now_s))
        bench.ping(150)


def attempt(bench):
    """One attempt as far as the board lets it go."""
    bench.hello()
    bench.load()
    bench.selftest()
    bench.key(True)
    if bench.arm_ask() != Reason.OK or bench.arm_take() != Reason.OK:
        return
    count(bench, 55.0)
    if not armed(bench):
        return
    bench.hold(1300)
    bench.grip()
    if armed(bench):
        bench.go()
        bench.run(1200)


@pytest.mark.parametrize("name", CASES)
def test_a_scenario_ends_as_its_file_says(name):
    bench = RigBench(name, rate_hz=1000)
    expect = load(name).expect
    attempt(bench)
    for _ in range(2):
        bench.rig.step(60.0)
        bench.run(1500)
    plant = bench.rig.plant
    assert plant.line.current_a == 0
    if expect.true_outcome is not None:
        assert outcome(plant) == expect.true_outcome
    if expect.boots is not None:
        assert len(bench.rig.boots) == expect.boots
    if expect.line_on is not None:
        assert (energised_s(bench) > 0) == expect.line_on
    assert bench.rig.plan.waiting == sum(
        fault["at"] != 0 and not moment_came(bench, fault) for fault in load(name).faults
    )


def moment_came(bench, fault):
    word = str(fault["at"]).split("+")[0]
    return any(event["what"] == word for event in bench.rig.events)
