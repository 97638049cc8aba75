"""Every text inside its cell and beside every other, in every scene, theme and window size."""

import itertools
import json
import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from PyQt6.QtCore import QRectF
from scenes import BASE, NOW_NS, SCENES, Scene, with_

from daq.console.app import application, journal_shots, render_shots
from daq.console.ink import family
from daq.console.screens.layout import layout
from daq.console.source import NoSource
from daq.console.tokens import THEMES
from daq.console.window import ConsoleWindow
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter
from daq.procedure.checklist import load_checklist
from daq.procedure.phases import WORDS

SIZES = [(1280, 720), (1366, 768), (1920, 1080)]
CHART_TEXT_MAY_MEET = {"expected", "band", "REHEARSAL", "DRY"}
"""Words printed in a chart lie over the trace, never over each other or over numbers."""


@pytest.fixture(scope="module", autouse=True)
def app():
    return application()


def painted(view, theme="light", size=(1366, 768), source=None):
    window = ConsoleWindow(THEMES[theme], source or NoSource())
    window.resize(*size)
    window.show()
    window.show_view(view, NOW_NS)
    application().processEvents()
    return window


def overlapping(placed):
    boxes = [(each.text, each.box.adjusted(0.5, 0.5, -0.5, -0.5)) for each in placed if each.text]
    return [
        (one, other) for (one, a), (other, b) in itertools.combinations(boxes, 2) if a.intersects(b)
    ]


def outside(placed):
    return [
        (each.text, each.box, each.cell)
        for each in placed
        if not each.cell.adjusted(-0.5, -0.5, 0.5, 0.5).contains(each.box)
    ]


def test_the_font_is_inter():
    assert family() == "Inter"


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("name", SCENES)
def test_every_text_fits_its_cell_at_full_size_and_touches_no_other(name, theme, size):
    scene = SCENES[name]
    window = painted(scene.view(), theme, size, scene.source())
    placed = window.placed
    assert len(placed) > 90
    assert [each.text for each in placed if each.cut or each.drawn_px < each.asked_px] == []
    assert outside(placed) == []
    assert overlapping(placed) == []
    window.close()


@pytest.mark.parametrize(
    "width, height", [(1024, 768), (1280, 720), (1366, 768), (2560, 1440), (1440, 1200)]
)
def test_cells_never_overlap_and_stay_inside_the_window(width, height):
    made = layout(width, height)
    whole = QRectF(0, 0, made.width, made.height)
    assert all(whole.contains(rect) for rect in made.cells.values())
    for (_, a), (_, b) in itertools.combinations(made.cells.items(), 2):
        assert not a.intersects(b)


@pytest.mark.parametrize("phase", WORDS)
def test_the_procedures_own_sentences_never_get_cut(phase):
    words = WORDS[phase]
    status = with_(BASE, phase=str(phase), now=words.now, next=words.next, not_yet=words.not_yet)
    window = painted(Scene(name="words", status=status).view())
    assert not [each for each in window.cells["phase"].placed if each.cut]
    window.close()


def test_long_live_texts_are_reduced_or_wrapped_but_never_spill():
    long = (
        "Range foul: a walker with a dog on the north track, post 3 has eyes on; everybody holds."
    )
    status = with_(
        BASE,
        casing="C-0170-B, firing 12 of 25",
        nozzle="NZ-0005-long, 21.405 mm",
        refusal={"t": "08:39:52", "text": f"ARM refused: {long} {long}"},
        events=[{"t": "T+1234.57 s", "text": long}],
        alarms=[{"rank": "HIGH", "what": long, "do": long, "since": "08:00", "answered_by": None}],
        approach={"reason": long, "lines": [long, long]},
        power={"word": "on battery, 71 %, generator not running"},
    )
    status["checklist"]["frame"]["text"] = long
    status["checklist"]["frame"]["say"] = long
    status["checklist"]["lines"][7]["text"] = long
    window = painted(Scene(name="long", status=status).view())
    assert outside(window.placed) == []
    window.close()


def test_a_checklist_longer_than_the_panel_says_how_many_more():
    status = with_(BASE)
    status["checklist"]["lines"] += [
        {"id": f"D{n}", "text": "One more line", "who": "AL", "state": "open", "by": []}
        for n in range(10, 22)
    ]
    window = painted(Scene(name="many", status=status).view())
    people = window.cells["people"].placed
    assert any(each.text.startswith("and ") and each.text.endswith(" more") for each in people)
    assert outside(people) == []
    window.close()


def test_static_chart_layers_are_painted_once_and_painting_is_quick():
    """Paint cost: 20 frames a second must leave the thread free; cached layers are why it does."""
    scene = SCENES["4-burn-near-trip"]
    fold, window = scene.fold(), painted(scene.view(), source=scene.source())
    application().processEvents()
    before = {name: cell.static_paints for name, cell in window.gauges.items()}
    start = time.perf_counter()
    for step in range(10):
        window.show_view(fold.view(NOW_NS + step * 1_000_000), NOW_NS)
        for cell in (*window.cells.values(), *window.gauges.values()):
            cell.repaint()
    each_s = (time.perf_counter() - start) / 10
    assert {name: cell.static_paints for name, cell in window.gauges.items()} == before
    assert each_s < 0.08, "whole window, on a busy machine"
    window.close()


def test_painted_n_is_the_status_whose_words_really_stand_there():
    window = ConsoleWindow(THEMES["light"], NoSource())
    window.resize(1366, 768)
    scene = SCENES["2-count-armed"]
    window.show_view(scene.view(), NOW_NS)
    assert window.painted_n == -1
    window.show()
    application().processEvents()
    assert window.painted_n == scene.status["n"]
    window.hide()
    newer = Scene(name="newer", status=with_(scene.status, n=9999)).view()
    window.show_view(newer, NOW_NS)
    application().processEvents()
    assert window.painted_n == scene.status["n"]
    window.close()


def test_the_theme_is_locked_from_arm_to_release():
    window = painted(SCENES["2-count-armed"].view())
    window.set_theme(THEMES["dark"])
    assert window.cells["phase"].theme is THEMES["light"]
    window.show_view(SCENES["1-preparation"].view(), NOW_NS)
    window.set_theme(THEMES["dark"])
    assert window.cells["phase"].theme is THEMES["dark"]
    window.close()


def test_only_an_unanswered_urgent_flashes_three_times_a_second():
    """Practice 3.25: one flashing item, 3 to 5 per second."""
    view = SCENES["5-abort-open-alarm"].view()
    window = painted(view)
    halves = []
    for ms in range(0, 1000, 10):
        window.show_view(view, ms * 1_000_000)
        halves.append(window.cells["alarm"].data[1])
    changes = sum(a != b for a, b in itertools.pairwise(halves))
    assert changes in {5, 6}
    quiet = SCENES["5-abort-wait"].view()
    window.show_view(quiet, 170_000_000)
    assert window.cells["alarm"].data[1]
    window.close()


def test_shots_are_written_for_every_status_and_theme(tmp_path):
    made = render_shots(tmp_path, [("safe", BASE)], size=(1280, 720))
    assert [path.name for path in made] == ["safe-light.png", "safe-dark.png"]
    assert all(path.stat().st_size > 10_000 for path in made)


def test_a_recorded_journal_is_shown_phase_by_phase(tmp_path):
    writer = JournalWriter(tmp_path / "journal", rehearsal=True)
    writer.start()
    for name in ("2-count-armed", "3-fire", "4-burn"):
        for _ in range(3):
            writer.put(RecordType.STATUS, json.dumps(SCENES[name].status).encode(), 0)
    writer.close()
    made = journal_shots(tmp_path / "journal", tmp_path / "out", size=(1280, 720))
    assert [path.name for path in made] == [
        "01-COUNTDOWN-light.png",
        "02-FIRE-light.png",
        "03-BURNING-light.png",
    ]


def test_without_inter_every_text_is_fitted(monkeypatch):
    from daq.console import ink

    for cached in (ink.font, ink.metrics, ink.advance, ink.fitted, ink.wrapped):
        cached.cache_clear()
    monkeypatch.setattr(ink, "family", lambda: "DejaVu Sans")
    for name in ("2-count-armed", "3-fire", "8-arm", "9-hold"):
        window = painted(SCENES[name].view())
        assert outside(window.placed) == []
        window.close()
    for cached in (ink.font, ink.metrics, ink.advance, ink.fitted, ink.wrapped):
        cached.cache_clear()


CHECKLISTS = sorted(Path("config/checklists").glob("*.toml"))


def checklist_frames():
    for path in CHECKLISTS:
        for line in load_checklist(path).lines:
            if not line.auto:
                yield pytest.param(line, id=f"{path.stem}-{line.id}")


@pytest.mark.parametrize("line", list(checklist_frames()))
def test_every_line_of_our_checklists_is_readable_in_the_frame(line):
    status = with_(BASE)
    status["checklist"]["frame"] = {
        "id": line.id,
        "text": line.text,
        "who": "Marta Lindqvist",
        "signed_by": ["Pavel Hruska"] if line.second else [],
        "needs_code_of": "Marta Lindqvist" if line.second else None,
        "say": line.say,
        "reply": line.reply,
        "asks": [],
    }
    window = painted(Scene(name="line", status=status).view())
    people = window.cells["people"].placed
    assert outside(people) == []
    in_frame = [each for each in people if each.asked_px == 20 and not each.text.startswith("D ")]
    assert not [each.text for each in in_frame if each.cut]
    assert min(each.drawn_px for each in in_frame) >= 14
    window.close()
