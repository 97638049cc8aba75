"""Real processes, killed and frozen: the line goes dead by the stand's own pins, the record is whole.

The pin log is written by the simulated stand, not by the engine (fault matrix: engine killed,
engine stopped, in COUNT, FIRE and BURN).
"""

import csv
import os
import signal
import time

import pytest

from daq.console.client import EngineClient
from daq.engine.plan import REAL_STAND
from daq.journal.recover import read_folder
from daq.journal.report_text import describe
from daq.trials.processes import Helper
from daq.trials.rehearse import Played, Wanted, load_scenario, prepared, running
from simulators.control_client import StandControl
from simulators.site import start_message

LINK_SILENT_S = 0.75
"""Host silence armed 500 ms, or stale grip 200 ms, and the slices of a loaded machine."""


def wait_for(client, phase, within_s=60.0):
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        status = client.poll()
        if status is not None and status["phase"] == phase:
            return status
        time.sleep(0.005)
    raise AssertionError(f"{phase} did not come")


def line_intervals(folder):
    """(on, off) times of both switches closed, by the stand's own log; off None if left on."""
    levels, intervals = {"high": 0, "low": 0}, []
    with (folder / "pins.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["pin"] not in levels:
                continue
            was = all(levels.values())
            levels[row["pin"]] = int(row["level"])
            if all(levels.values()) and not was:
                intervals.append([float(row["time_s"]), None])
            elif was and not all(levels.values()):
                intervals[-1][1] = float(row["time_s"])
    return intervals


@pytest.mark.parametrize(
    ("phase", "how"),
    [("COUNTDOWN", signal.SIGKILL), ("FIRE", signal.SIGSTOP), ("BURNING", signal.SIGKILL)],
)
def test_an_engine_that_dies_leaves_a_dead_line_and_a_whole_record(tmp_path, phase, how):
    out = tmp_path / "out"
    out.mkdir()
    wanted = Wanted(
        scenario="misfire-no-current" if phase == "FIRE" else "nominal", headless=True, out=out
    )
    played = Played(folder=out, scenario=load_scenario(wanted.scenario))
    settings = prepared(wanted, out)
    with running(wanted, settings, played) as (socket, _crew):
        client = EngineClient(socket, who="test", control=False)
        stand = StandControl(control_of(out))
        wait_for(client, phase)
        pid = engine_pid(out)
        os.kill(pid, how)
        killed_ns = time.perf_counter_ns()
        killed_s = stand.state()["time_s"]
        time.sleep(LINK_SILENT_S + 0.5)
        state = stand.state()
        if how == signal.SIGSTOP:
            os.kill(pid, signal.SIGKILL)
        client.close()
        stand.close()
    assert state["board_state"] not in ("ARMED", "ENERGISED")
    for _, off in line_intervals(out):
        assert off is not None
        assert off - killed_s < LINK_SILENT_S
    reading = read_folder(out / "journal")
    assert not reading.missing
    newest = max(record.host_ns for record in reading.records)
    assert killed_ns - newest < 250_000_000
    said = describe(out / "journal")
    assert said.text


def control_of(folder):
    """The control socket of the stand, from the test's own hook file."""
    return (folder / "control.txt").read_text(encoding="utf-8").strip()


def engine_pid(folder):
    return int((folder / "engine.lock").read_text(encoding="utf-8").splitlines()[1])


def test_a_real_run_refuses_the_simulated_board(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    settings = prepared(Wanted(headless=True, out=out), out)
    stand = Helper(
        "simulators.stand", start_message(settings.to_json(), out_dir=str(out)), out / "log"
    )
    try:
        hello = stand.answer()
        order = {"site": str(out), "mode": REAL_STAND, "port": hello["port"]}
        engine = Helper("daq.engine.main", order, out / "log")
        engine.answer()
        ended = engine.line(20.0)
        assert "expected a real board" in ended["fault"]
        assert engine.end() == 3
    finally:
        stand.kill()


def test_a_second_engine_on_one_site_is_refused(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    prepared(Wanted(headless=True, out=out), out)
    order = {"site": str(out), "mode": REAL_STAND, "port": "/dev/none"}
    first = Helper("daq.engine.main", order, out / "log")
    try:
        first.answer()
        second = Helper("daq.engine.main", order, out / "log")
        assert "another engine" in second.line(20.0)["error"]
        assert second.end() == 2
    finally:
        first.kill()
