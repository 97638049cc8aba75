"""The picture: what must stand on it, and that nothing warns (warnings are errors here)."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from daq.report import picture
from daq.report.marks import Mark, rows
from daq.report.picture import draw_picture
from daq.runs.burn import Context, reduce_burn
from daq.runs.trace import Trace

LIMITS = {
    "trip_pa": 4.78e6,
    "allowable_pa": 5.26e6,
    "rated_burst_pa": 9.88e6,
    "expected_max_pa": 4.21e6,
}
CURVE = [
    {"at_s": t, "pressure_pa": 4e6 * s, "thrust_n": 1_400.0 * s}
    for t, s in ((0.0, 0.0), (0.1, 1.0), (2.0, 0.9), (2.1, 0.0))
]
CONFIG = {
    "site": "Test range",
    "settings": {"motor": {"name": "T-1"}, "casing": {"serial": "CA-1"}},
    "prediction": {"peak_pa": 4e6, "thrust_n": 1_400.0, "burn_s": 2.0, "curve": CURVE},
}


def traces(gap=None):
    rng = np.random.default_rng(3)
    t = np.arange(-2.0, 6.0, 0.001)
    shape = np.interp(t, [0.2, 0.3, 2.2, 2.3], [0.0, 1.0, 0.9, 0.0])
    keep = np.ones(len(t), dtype=bool) if gap is None else (t <= gap[0]) | (t >= gap[1])
    made = []
    for channel, unit, top, noise in (("f1", "n", 1_400.0, 4.0), ("p1", "pa", 4e6, 2e4)):
        value = top * shape + rng.normal(0, noise, len(t))
        made.append(
            Trace(
                channel=channel,
                unit=unit,
                t_s=t[keep],
                value=value[keep],
                step_s=0.001,
                u_scale_rel=0.01,
                u_zero=noise,
            )
        )
    return made


def result(burn, *, mode="REHEARSAL", gap=None, trip=False):
    span = burn.span
    return {
        "run_id": "H-7",
        "mode": mode,
        "watermark": mode if mode in ("REHEARSAL", "DRY") else None,
        "outcome": "aborted" if trip else "burnt",
        "figures": {name: figure.as_json() for name, figure in burn.figures.items()},
        "t0": {"from": "line current"},
        "marks": {
            "line_off_s": 0.05,
            "ignition_s": burn.ignition_s,
            "web_burn_out_s": burn.web_s,
            "action_end_s": burn.action_end_s,
            "begin_s": span.begin_s if span else None,
            "quiet_from_s": span.quiet_from_s if span else None,
        },
        "trip": {
            "tripped": trip,
            "where": "board",
            "time_s": 1.1,
            "text": "Trip by the board at T+1.100 s. It opened the line; the motor burned on. " * 2,
        },
        "gaps": [] if gap is None else [{"begin_s": gap[0], "end_s": gap[1]}],
        "limits": LIMITS,
        "prediction": CONFIG["prediction"],
    }


def drawn(monkeypatch, tmp_path, thrust, pressure, outcome):
    """Draw, and return the figure that was drawn."""
    kept = []

    class Kept(Figure):
        def __init__(self, *args, **options):
            super().__init__(*args, **options)
            kept.append(self)

    monkeypatch.setattr(picture, "Figure", Kept)
    path = tmp_path / "picture.png"
    draw_picture(thrust, pressure, outcome, CONFIG, path)
    assert path.read_bytes().startswith(b"\x89PNG")
    return kept[0]


def words(figure):
    found = [text.get_text() for text in figure.texts]
    for axes in figure.axes:
        found += [text.get_text() for text in axes.texts]
    return "\n".join(found)


@pytest.mark.parametrize("gap", [None, (0.8, 1.3)])
def test_a_rehearsal_with_a_trip_and_a_gap(monkeypatch, tmp_path, gap):
    thrust, pressure = traces(gap)
    burn = reduce_burn([thrust], [pressure], Context(t0_s=0.0, trip_pa=4.78e6))
    figure = drawn(monkeypatch, tmp_path, [thrust], [pressure], result(burn, gap=gap, trip=True))
    said = words(figure)
    for word in ("PRELIMINARY", "REHEARSAL", "TRIP", "4.78 MPa", "693 psi", "allowable", "T−0"):
        assert word in said
    assert "rated burst" in said
    assert ("no samples" in said) == (gap is not None)
    lines = [line for axes in figure.axes for line in axes.lines if len(line.get_xdata()) > 100]
    for line in lines:
        assert np.isnan(line.get_ydata()).sum() == (1 if gap is None else 2), (
            "a gap is never joined"
        )


def test_a_real_run_has_no_watermark_but_stays_preliminary(monkeypatch, tmp_path):
    thrust, pressure = traces()
    burn = reduce_burn([thrust], [pressure], Context(t0_s=0.0))
    said = words(
        drawn(monkeypatch, tmp_path, [thrust], [pressure], result(burn, mode="REAL STAND"))
    )
    assert "PRELIMINARY" in said
    assert "REHEARSAL" not in said
    assert "Peak thrust 1" in said


def test_a_dry_run_says_dry_and_shows_no_expected_band(monkeypatch, tmp_path):
    thrust, pressure = traces()
    flat = [each.less(each.value) for each in (thrust, pressure)]
    burn = reduce_burn([flat[0]], [flat[1]], Context(t0_s=0.0))
    said = words(drawn(monkeypatch, tmp_path, [flat[0]], [flat[1]], result(burn, mode="DRY")))
    assert "DRY" in said
    assert "expected" not in said


def test_the_picture_of_no_samples_at_all_can_be_drawn(monkeypatch, tmp_path):
    burn = reduce_burn([], [])
    assert "PRELIMINARY" in words(drawn(monkeypatch, tmp_path, [], [], result(burn)))


def test_no_text_lies_over_another_or_outside(monkeypatch, tmp_path):
    """Console practice: compare the rectangles of all texts (the watermark is meant to be under)."""
    for gap in (None, (0.8, 1.3)):
        thrust, pressure = traces(gap)
        burn = reduce_burn([thrust], [pressure], Context(t0_s=0.0, trip_pa=4.78e6))
        figure = drawn(
            monkeypatch, tmp_path, [thrust], [pressure], result(burn, gap=gap, trip=True)
        )
        renderer = figure.canvas.get_renderer()
        every = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
        boxes = [
            (text.get_text(), text.get_window_extent(renderer))
            for text in every
            if text.get_fontsize() < 40 and text.get_text()
        ]
        for at, (word, box) in enumerate(boxes):
            assert box.x0 >= 0, word
            assert box.x1 <= figure.bbox.width, word
            assert box.y1 <= figure.bbox.height, word
            for other, other_box in boxes[at + 1 :]:
                clear = (
                    box.x1 <= other_box.x0
                    or other_box.x1 <= box.x0
                    or box.y1 <= other_box.y0 + 1
                    or other_box.y1 <= box.y0 + 1
                )
                assert clear, f"{word!r} lies over {other!r}"


def test_words_that_would_collide_go_one_row_up():
    marks = [Mark(0.0, "T−0", strong=False), Mark(0.02, "line off", strong=False)]
    assert [row for _, _, row in rows(marks, (-0.5, 3.0))] == [0, 1]
    apart = [Mark(0.0, "T−0", strong=False), Mark(1.0, "line off", strong=False)]
    assert [row for _, _, row in rows(apart, (-0.5, 3.0))] == [0, 0]
    assert rows([Mark(9.0, "far", strong=False)], (-0.5, 3.0)) == []


def test_the_columns_hide_no_spike():
    t = np.arange(0, 60, 0.001)
    value = np.zeros(len(t))
    value[31_234] = 99.0
    spiky = Trace(
        channel="p1", unit="pa", t_s=t, value=value, step_s=0.001, u_scale_rel=0.0, u_zero=0.0
    )
    _, y = picture._columns(spiky)
    assert np.nanmax(y) == 99.0
    assert len(y) < 6_000
