"""The whole console against a fake engine: real key events in, wishes on the socket out."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from PyQt6.QtCore import QEvent, Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QApplication
from scenes import BASE, COUNT, FIRE, with_
from test_client import FakeEngine

from daq.console.app import Console, application
from daq.console.client import EngineClient
from daq.console.cues import CUES
from daq.console.keys import EVDEV, X11_OFFSET, Key
from daq.console.sound import Player
from daq.console.source import NoSource
from daq.console.tokens import LIGHT
from daq.console.window import position_of

SCAN = {key: code + X11_OFFSET for code, key in reversed(EVDEV.items())}
DOWN, UP = QEvent.Type.KeyPress, QEvent.Type.KeyRelease


@pytest.fixture
def engine(tmp_path):
    made = FakeEngine(tmp_path)
    yield made
    made.close()


@pytest.fixture
def console(engine):
    application()
    made = Console(EngineClient(engine.path), theme=LIGHT, source=NoSource())
    engine.accept()
    made.window.resize(1366, 768)
    made.window.show()
    made.window.activateWindow()
    application().processEvents()
    yield made
    made.stop()
    made.window.close()


def key_event(kind, key, *, qt_key=0, repeat=False, scan=None):
    code = SCAN[key] if scan is None else scan
    none = Qt.KeyboardModifier.NoModifier
    return QKeyEvent(kind, qt_key, none, code, 0, 0, "", repeat, 1)


def send(console, kind, *keys, **more):
    for key in keys:
        QApplication.sendEvent(console.window, key_event(kind, key, **more))


def tap(console, *keys):
    for key in keys:
        send(console, DOWN, key)
        send(console, UP, key)


def push(console, engine, status):
    engine.push(status)
    console.read()
    application().processEvents()


def test_a_beat_carries_the_grip_and_the_painted_status(console, engine):
    push(console, engine, COUNT)
    console.beat()
    assert engine.wishes("beat")[-1] == {
        "wish": "beat",
        "seen": COUNT["n"],
        "painted_n": COUNT["n"],
        "grip": False,
    }
    send(console, DOWN, Key.F, Key.J)
    console.beat()
    assert engine.wishes("beat")[-1]["grip"] is True
    send(console, UP, Key.J)
    console.beat()
    assert engine.wishes("beat")[-1]["grip"] is False


def test_keys_are_taken_by_position_whatever_letter_the_layout_says(console, engine):
    push(console, engine, COUNT)
    send(console, DOWN, Key.F, qt_key=Qt.Key.Key_U)
    send(console, DOWN, Key.J, qt_key=Qt.Key.Key_H)
    assert console.desk.hands.gripped
    other = key_event(DOWN, Key.F, qt_key=Qt.Key.Key_F, scan=30 + X11_OFFSET)
    assert position_of(other) is None


def test_an_event_without_a_position_falls_back_to_its_meaning():
    event = key_event(DOWN, Key.SPACE, qt_key=Qt.Key.Key_Space, scan=0)
    assert position_of(event) is Key.SPACE


def test_auto_repeat_is_neither_a_press_nor_a_release(console, engine):
    push(console, engine, COUNT)
    send(console, DOWN, Key.F, Key.J)
    send(console, DOWN, Key.F, repeat=True)
    send(console, UP, Key.F, repeat=True)
    assert console.desk.hands.gripped
    send(console, DOWN, Key.P, repeat=True)
    assert engine.wishes("hold") == []


@pytest.mark.parametrize("loss", ["focus", "hide", "minimise", "close"])
def test_every_way_of_losing_the_window_lets_go(console, engine, loss):
    push(console, engine, FIRE)
    send(console, DOWN, Key.F, Key.J)
    assert console.desk.hands.gripped
    if loss == "focus":
        QApplication.sendEvent(console.window, QEvent(QEvent.Type.FocusAboutToChange))
        console.window.focusOutEvent(None)
    elif loss == "hide":
        console.window.hide()
    elif loss == "minimise":
        console.window.showMinimized()
    else:
        console.window.close()
    application().processEvents()
    assert not console.desk.hands.gripped
    console.beat()
    assert engine.wishes("beat")[-1]["grip"] is False


def test_a_window_that_is_not_active_sends_no_grip(console, engine, monkeypatch):
    push(console, engine, FIRE)
    send(console, DOWN, Key.F, Key.J)
    monkeypatch.setattr(console.window, "isActiveWindow", lambda: False)
    console.beat()
    assert engine.wishes("beat")[-1]["grip"] is False
    monkeypatch.undo()
    console.beat()
    assert engine.wishes("beat")[-1]["grip"] is False, "held keys must be pressed anew"


def test_space_goes_out_at_once_in_every_state(console, engine):
    send(console, DOWN, Key.SPACE)
    push(console, engine, BASE)
    send(console, DOWN, Key.SPACE)
    push(console, engine, COUNT)
    send(console, DOWN, Key.SPACE)
    told = [wish["wish"] for wish in engine.wishes("safe", "abort")]
    assert told == ["abort", "safe", "abort"]


def test_hold_and_its_reason_and_a_signature_reach_the_engine(console, engine):
    push(console, engine, COUNT)
    tap(console, Key.P, Key.D2)
    push(console, engine, with_(BASE, n=4712))
    tap(console, Key.D2, Key.D7, Key.D4, Key.D1, Key.ENTER)
    assert engine.wishes("hold", "enter") == [
        {"wish": "hold", "seen": 4711},
        {"wish": "hold", "digit": 2, "seen": 4711},
        {"wish": "enter", "line": "D7", "by": "R. Voss", "code": "2741", "seen": 4712},
    ]


def test_a_key_that_is_down_presses_once_but_space_always_counts(console, engine):
    push(console, engine, COUNT)
    send(console, DOWN, Key.P, Key.P, Key.SPACE, Key.SPACE)
    assert [wish["wish"] for wish in engine.wishes("hold", "abort")] == ["hold", "abort", "abort"]


def test_extra_keys_change_nothing(console, engine):
    push(console, engine, COUNT)
    engine.wishes()
    for scan in range(9, 140):
        if scan - X11_OFFSET not in EVDEV:
            QApplication.sendEvent(console.window, key_event(DOWN, None, scan=scan))
    assert engine.wishes() == []


def test_a_refusal_of_the_engine_is_shown_in_the_frame(console, engine):
    engine.push({"ok": True, "text": ""})
    push(console, engine, BASE)
    send(console, DOWN, Key.D1)
    engine.push({"ok": False, "text": "Wrong code, two tries left."})
    push(console, engine, with_(BASE, n=4713))
    assert any("Wrong code" in each.text for each in console.window.cells["people"].placed)


def test_a_console_that_only_watches_says_so_and_may_still_hold_and_stop(console, engine):
    engine.push({"ok": False, "text": "Another console is in control."})
    push(console, engine, BASE)
    send(console, DOWN, Key.D2, Key.D7, Key.D4, Key.D1, Key.ENTER, Key.SPACE)
    assert [wish["wish"] for wish in engine.wishes("enter", "safe")] == ["safe"]
    assert any(each.text == "Watching" for each in console.window.cells["keys"].placed)


def test_when_the_engine_goes_the_screen_turns_stale_and_the_window_lives(console, engine):
    push(console, engine, COUNT)
    start = console.fold._received_ns
    console._clock = lambda: start + 700_000_000
    engine.peer.close()
    console.read()
    application().processEvents()
    assert console.view.phase.word == "STALE"
    console.beat()
    send(console, DOWN, Key.SPACE)


def test_without_a_sound_device_there_is_one_sentence_and_no_crash():
    player = Player()
    player.play([*CUES])
    assert player.why == "" or player.why.endswith(".")


def test_sound_that_is_off_keeps_the_cues_that_may_never_be_off(monkeypatch):
    player = Player(is_on=False)
    played = []
    monkeypatch.setattr(player, "_start", played.append)
    player.play(["lit"])
    assert played == []
    player.play(["lit", "misfire"])
    assert len(played) == 1
