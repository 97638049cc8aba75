"""On a real X display (a virtual one, started here): positions, release and focus as X tells them."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from scenes import COUNT
from test_client import FakeEngine

PROGRAM = """
import sys
from daq.console.app import run_console
sys.exit(run_console(sys.argv[1], size=(1366, 768)))
"""


@pytest.fixture
def display(tmp_path):
    """The number of a virtual display; nothing needs to be told if the X tools are not there."""
    read, write = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(write), "-screen", "0", "1400x800x24"],
        pass_fds=(write,),
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as told:
        number = told.readline().strip()
    yield f":{number}"
    server.terminate()
    server.wait(timeout=10)


def until(engine, wanted, number, seconds=15):
    """Push statuses like an engine until `wanted` is among the wishes; all wishes."""
    heard, end = [], time.monotonic() + seconds
    while time.monotonic() < end:
        number[0] += 1
        engine.push({**COUNT, "n": number[0]})
        time.sleep(0.03)
        heard += engine.wishes()
        if any(wanted(wish) for wish in heard):
            return heard
    pytest.fail(f"never came; last wishes {heard[-3:]}")


@pytest.mark.screen
@pytest.mark.timeout(90)
def test_a_real_display_grips_releases_and_aborts(display, tmp_path):
    if not shutil.which("xdotool"):
        pytest.fail("this test types with xdotool: install it beside Xvfb")
    engine = FakeEngine(tmp_path)
    env = {**os.environ, "DISPLAY": display, "QT_QPA_PLATFORM": "xcb", "PYTHONPATH": "."}
    console = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, engine.path], env=env, stderr=subprocess.PIPE, text=True
    )

    def xdo(*words):
        subprocess.run(["xdotool", *words], env=env, check=True, capture_output=True, timeout=20)

    try:
        engine._listener.settimeout(20)
        engine.accept()
        number = [100]
        until(engine, lambda wish: wish.get("painted_n", -1) > 100, number)
        xdo("search", "--sync", "--name", "berm", "windowfocus", "--sync")
        time.sleep(0.3)
        xdo("keydown", "f", "keydown", "j")
        until(engine, lambda wish: wish.get("grip") is True, number)
        end = time.monotonic() + 1.5  # longer than auto-repeat needs to begin
        while time.monotonic() < end:
            beats = until(engine, lambda wish: wish["wish"] == "beat", number)
            assert all(wish["grip"] for wish in beats if wish["wish"] == "beat")
        xdo("keyup", "j")
        until(engine, lambda wish: wish.get("grip") is False, number)
        xdo("keyup", "f")
        xdo("key", "space")
        until(engine, lambda wish: wish["wish"] == "abort", number)
    finally:
        console.terminate()
        console.communicate(timeout=10)
        engine.close()
