"""Frames for people who go on from here: a stranger recomputes the impulse (practice 7.8)."""

import numpy as np
import pytest

from daq.report.frames import to_frame
from daq.runs.open_run import open_run
from daq.runs.result import result_of
from daq.trials.rehearse import Played, Wanted, load_scenario, new_folder
from daq.trials.virtual import VirtualDay


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """One rehearsed day in virtual time."""
    wanted = Wanted(scenario="nominal", out=tmp_path_factory.mktemp("days") / "nominal")
    played = Played(folder=new_folder(wanted), scenario=load_scenario("nominal"))
    VirtualDay(wanted, played).run()
    return played


def test_a_stranger_recomputes_the_impulse_from_the_frame(day):
    run = open_run(day.folder / "runs" / day.engine["run_id"])
    frame = to_frame(run)
    assert {"time_s", "epoch", "tick", "index", "p1_counts", "p1_pa", "f1_n"} <= set(frame.columns)
    rest = frame[(frame.time_s > -1.5) & (frame.time_s < 0)]
    burn = frame[(frame.time_s > 0) & (frame.time_s < 3.4)]
    force = (burn.f1_n - rest.f1_n.mean()).to_numpy()
    impulse = float(np.sum((force[1:] + force[:-1]) / 2 * np.diff(burn.time_s.to_numpy())))
    figure = result_of(run)["figures"]["total_impulse_n_s"]
    assert abs(impulse - figure["value"]) < 0.5 * figure["expanded_uncertainty"]
