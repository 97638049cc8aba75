"""From the example settings to a running stand, and what a dead parent leaves behind."""

import json
import os
import signal
import subprocess
import sys
import time

import pytest

from daq.settings import load_settings
from daq.settings_demo import demo_settings
from daq.settings_table import as_json
from simulators.rig import Rig
from simulators.scenarios_io import load, names
from simulators.setup import StandSetup
from simulators.site import start_message


@pytest.fixture(scope="module", params=["fast", "avr"])
def settings(request, tmp_path_factory):
    return as_json(load_settings(demo_settings(request.param, tmp_path_factory.mktemp("site"))))


def test_the_example_stands_become_simulated_stands(settings):
    rig = Rig(StandSetup.from_json(start_message(settings)))
    for _ in range(200):
        rig.advance_ms()
    stand = settings["stand"]
    zero = stand["pressure"][0]["low_fraction"] * (1 << stand["pressure"][0]["bits"])
    noise = stand["pressure"][0]["noise_counts"]
    assert rig.plant.rows(0)[0] == pytest.approx(zero, abs=6 * noise + 1)
    rig.plant.line.joined = True
    window = stand["circuit"]["igniter_low_ohm"], stand["circuit"]["igniter_high_ohm"]
    assert window[0] < rig.plant.continuity_mohm() / 1000 < window[1]
    rig.plant.line.load = "dummy"
    assert rig.plant.continuity_mohm() / 1000 > stand["circuit"]["dummy_low_ohm"]


def test_truth_is_the_declared_range_and_agrees_with_a_good_certificate(settings):
    for channel in start_message(settings)["channels"]:
        if channel["kind"] != "pressure":
            continue
        card = next(
            one["calibration"]
            for one in settings["stand"]["pressure"]
            if one["name"] == channel["name"]
        )
        c0, c1 = card["coefficients_pa"]
        counts = channel["counts_at_zero"] + channel["counts_per_si"] * 5e6
        assert c0 + c1 * counts == pytest.approx(5e6, rel=2e-3)


@pytest.mark.parametrize("name", names())
def test_every_scenario_fits_the_example_stands(settings, name):
    message = load(name).apply(start_message(settings, seed=4))
    assert StandSetup.from_json(message).seed == 4


PARENT = """
import json, subprocess, sys, time
child = subprocess.Popen([sys.executable, "-m", "simulators.stand"], stdin=subprocess.PIPE)
child.stdin.write((sys.argv[1] + "\\n").encode())
child.stdin.flush()
time.sleep(60)
"""


@pytest.mark.timeout(60)
def test_a_stand_whose_starter_dies_writes_its_truth_and_goes(settings, tmp_path):
    message = json.dumps(start_message(settings, out_dir=str(tmp_path)))
    with subprocess.Popen(
        [sys.executable, "-c", PARENT, message], stdout=subprocess.PIPE, text=True
    ) as parent:
        hello = json.loads(parent.stdout.readline())
        os.kill(parent.pid, signal.SIGKILL)
        parent.wait(timeout=5)
        end = time.monotonic() + 20
        while not (tmp_path / "truth.json").exists() and time.monotonic() < end:
            time.sleep(0.05)
        assert (tmp_path / "truth.json").exists()
        while os.path.exists(hello["control"]) and time.monotonic() < end:
            time.sleep(0.05)
        assert not os.path.exists(hello["control"])
