"""A person plays the test conductor in the window, by real key events, against the real engine.

The scripted crew answers; stand, engine and crew are processes as in `berm rehearse`. The person
here knows only what the window's own state says: whose turn it is, what is asked, the clock.
"""

import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from PyQt6.QtWidgets import QApplication
from test_app import DOWN, UP, send, tap

from daq.console.app import Console, application
from daq.console.client import EngineClient
from daq.console.keys import DIGITS, Key
from daq.console.tokens import LIGHT
from daq.trials.debrief import differences, look
from daq.trials.rehearse import Played, Wanted, load_scenario, prepared, running

DIGIT_OF = {str(key): key for key in DIGITS}


class Person:
    """The test conductor: looks at the newest status, presses keys."""

    def __init__(self, console, name, code):
        self.console, self.name, self.code = console, name, code
        self.gripping = False
        self.next_s = 0.0

    @property
    def status(self):
        return self.console.fold.status.at()

    def look(self):
        status = self.status
        if not status or time.monotonic() < self.next_s:
            return
        self.next_s = time.monotonic() + 0.25
        act = {"ARM": self.arm, "COUNTDOWN": self.count, "FIRE": self.keep, "BURNING": self.let_go}
        act.get(status["phase"], self.sign)(status)

    def sign(self, status):
        frame = status["checklist"]["frame"]
        if frame is None or frame["who"] != self.name:
            return
        if frame["id"] == "B3" and not self.gripping:
            self.grip()
            self.next_s = time.monotonic() + 0.5
            return
        if self.gripping:
            self.let_go(status)
        step = self.console.desk._entry.step
        if step is not None and step.kind == "code":
            tap(self.console, *(DIGIT_OF[digit] for digit in self.code))
        elif step is not None:
            for letter in "nothing":
                self.console.letter(letter)
        tap(self.console, Key.ENTER)

    def arm(self, status):
        arming = status["arming"]
        if arming["state"] == "typed":
            tap(self.console, Key.ENTER)
        elif arming["typist"] == self.name and arming["setup_id"] and not arming["typed"]:
            tap(self.console, *(DIGIT_OF[digit] for digit in arming["setup_id"][:4]))

    def count(self, status):
        left = status["clock"]["seconds"]
        self.next_s = time.monotonic() + 0.05
        if left > 12:
            tap(self.console, Key.RIGHT)
            self.next_s = time.monotonic() + 0.4
        elif left <= 2.8 and not self.gripping:
            self.grip()

    def keep(self, status):
        del status

    def grip(self):
        self.gripping = True
        send(self.console, DOWN, Key.F, Key.J)

    def let_go(self, status):
        del status
        if self.gripping:
            self.gripping = False
            send(self.console, UP, Key.F, Key.J)


@pytest.mark.timeout(170)
def test_a_person_fires_the_motor_through_the_window(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    wanted = Wanted(headless=False, out=out)
    played = Played(folder=out, scenario=load_scenario("nominal"))
    settings = prepared(wanted, out)
    conductor = settings.crew.with_role("TC")[0]
    app = application()
    with running(wanted, settings, played, person=True) as (socket, crew):
        console = Console(EngineClient(socket), theme=LIGHT)
        console.window.resize(1366, 768)
        console.start()
        console.window.activateWindow()
        person = Person(console, conductor.name, conductor.code)
        until = time.monotonic() + 140
        while crew.is_running and time.monotonic() < until:
            app.processEvents()
            person.look()
            time.sleep(0.003)
        console.window.grab().save(str(tmp_path / "end.png"))
        console.stop()
        console.window.close()
        QApplication.processEvents()
        said = crew.line(1.0)
    assert said.get("finished"), (said, person.status and person.status["phase"])
    seen = look(out)
    seen.gaps = False
    assert not differences(seen, played.scenario.expect)
