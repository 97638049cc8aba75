"""The terminal view says what the window says, at any width, with and without colour."""

import io
import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from scenes import NOW_NS, SCENES, SECOND_NS

from daq.console.terminal import Journalist, TerminalScreen, draw


def plain(lines):
    return [re.sub(r"\x1b\[[0-9;]*m", "", line) for line in lines]


@pytest.mark.parametrize("width", [72, 80, 100, 120])
@pytest.mark.parametrize("name", SCENES)
def test_no_line_is_wider_than_the_terminal_and_colour_changes_no_word(name, width):
    view = SCENES[name].view()
    lines = draw(view, width, colour=False)
    assert max(map(len, lines)) <= width
    assert [line.rstrip() for line in plain(draw(view, width, colour=True))] == lines
    assert len(lines) <= 45


@pytest.mark.parametrize("name", SCENES)
def test_both_truths_and_the_mode_are_always_there(name):
    view = SCENES[name].view()
    text = "\n".join(draw(view, 120, colour=False))
    for word in (view.circuit.word, view.approach.word, view.phase.word, view.band.mode):
        assert f" {word} " in text


def test_a_pipe_gets_one_line_per_change_and_one_a_second():
    teller = Journalist()
    view = SCENES["2-count-armed"].view()
    first = teller.lines(view, NOW_NS)
    assert first[0].startswith("== COUNTDOWN")
    assert any("ARMED, both groups typed" in line for line in first)
    assert teller.lines(view, NOW_NS + SECOND_NS // 2) == []
    (progress,) = teller.lines(view, NOW_NS + SECOND_NS)
    assert "T−07" in progress
    assert "circuit ARMED, approach CLOSED" in progress
    assert teller.lines(SCENES["3-fire"].view(), NOW_NS + SECOND_NS)[0].startswith("== FIRE")


def test_a_terminal_is_redrawn_in_place_and_gets_its_cursor_back():
    out = io.StringIO()
    screen = TerminalScreen(out, in_place=True, colour=False)
    screen.show(SCENES["3-fire"].view(), NOW_NS)
    screen.show(SCENES["4-burn"].view(), NOW_NS)
    screen.close()
    assert out.getvalue().count("\x1b[2J") == 1
    assert out.getvalue().endswith("\x1b[?25h")


@pytest.mark.parametrize("name", SCENES)
def test_what_to_do_is_never_cut_at_a_hundred_columns(name):
    view = SCENES[name].view()
    text = "\n".join(draw(view, 100, colour=False))
    assert view.alarm.do in text
    assert view.clock.note in text
    for line in view.approach.lines:
        assert line in text
