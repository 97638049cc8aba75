"""The scripted crew leaves a hold as people would: by two above T−10 s, by a new count below it."""

import pytest


@pytest.mark.parametrize(
    ("at_s", "phases"), [(11.0, ["HOLD", "COUNTDOWN"]), (6.0, ["HOLD", "SAFE"])]
)
def test_the_crew_gets_over_a_hold_and_fires(counting, at_s, phases):
    bench = counting
    bench.until(lambda b: b.state.count.left_s(b.now_ns) <= at_s, 15.0)
    at = len(bench.phases)
    bench.line.wish("hold", digit=6)
    bench.until_phase("BURNING", 60.0)
    assert bench.phases[at : at + 2] == phases
    assert bench.phases.count("FIRE") == 1
