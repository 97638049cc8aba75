"""Thrust and pressure of one run against time, as a PNG (the only place with matplotlib).

Rules: light theme of the console's tokens: traces are ink, bands grey, no rainbow. Every sample is
inside the drawn line (min and max per column), a gap is a gap, hatched and never joined. PRELIMINARY
always stands on it, and REHEARSAL, DRY or PROOF across it where it is none.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import blended_transform_factory
from numpy.typing import NDArray

from daq.report.heading import draw_heading
from daq.report.marks import Mark, draw_marks
from daq.runs.figures import number
from daq.runs.open_run import Run
from daq.runs.trace import Trace
from daq.units import from_si

GROUND: Final = "#F7F8F9"
INK: Final = "#12161A"
INK2: Final = "#3A424A"
LINE: Final = "#848D96"
HATCH: Final = "#7D8791"
BAND: Final = "#C9CFD5"
GRID: Final = "#D2D7DC"
RED: Final = "#A60D1B"
Values = NDArray[np.float64]
SIZE_IN: Final = (12.0, 8.2)
DPI: Final = 140
COLUMNS: Final = 2400
FOOT_ROOM: Final = 0.22
STYLE: Final[Any] = {  # the keys are matplotlib's own
    "font.family": "sans-serif",
    "font.sans-serif": ["Inter", "DejaVu Sans"],
    "font.size": 10.0,
    "axes.edgecolor": LINE,
    "axes.labelcolor": INK2,
    "axes.facecolor": GROUND,
    "figure.facecolor": GROUND,
    "xtick.color": INK2,
    "ytick.color": INK2,
    "text.color": INK,
    "hatch.color": HATCH,
    "hatch.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def draw_run(run: Run, result: dict[str, Any], path: Path) -> None:
    """Draw `run` with the marks and figures of its `result` into the PNG at `path`."""
    draw_picture(run.traces("thrust"), run.traces("pressure"), result, run.config, path)


def draw_picture(
    thrust: Sequence[Trace],
    pressure: Sequence[Trace],
    result: dict[str, Any],
    config: dict[str, Any],
    path: Path,
) -> None:
    """The same from traces; `config` gives the predicted curve. Time axis as of the traces."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=SIZE_IN, dpi=DPI)
        canvas = FigureCanvasAgg(figure)
        window = _window(result, config)
        upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[1.15, 1.0])
        figure.subplots_adjust(left=0.075, right=0.865, top=0.825, bottom=0.075, hspace=0.12)
        _pressure(upper, pressure, result, config, window)
        _thrust(lower, thrust, result, config, window)
        for axes in (upper, lower):
            _frame(axes, window, result)
        _watermark(figure, (upper, lower), result)
        lower.set_xlabel(_time_label(result))
        draw_heading(figure, result, config, (INK2, RED))
        canvas.print_png(str(path))  # type: ignore[no-untyped-call]


def _window(result: dict[str, Any], config: dict[str, Any]) -> tuple[float, float]:
    """From a little before T-0 to a little behind the end, the scale of the burn in view."""
    marks = result["marks"]
    prediction = config.get("prediction", {})
    expected = float(prediction.get("burn_s") or 2.0)
    if marks["begin_s"] is None:
        return -0.5, max(3.0, 1.6 * expected)
    burn = max(0.2, marks["quiet_from_s"] - marks["begin_s"])
    begin = min(0.0, marks["begin_s"])
    if marks["begin_s"] > 3.0 * burn + 1.0:
        begin = marks["begin_s"]  # a hang fire: T-0 is far to the left, the delay is in the figures
    pad = 0.12 * (marks["quiet_from_s"] - begin)
    return begin - max(0.08, 0.6 * pad), marks["quiet_from_s"] + max(0.3, pad)


def _pressure(
    axes: Axes,
    traces: Sequence[Trace],
    result: dict[str, Any],
    config: dict[str, Any],
    window: tuple[float, float],
) -> None:
    limits = result["limits"]
    trip = limits.get("trip_pa")
    top = max(
        [float(trip) if trip else 0.0, _highest(traces, window), _expected(result, "peak_pa")]
    )
    axes.set_ylabel("Pressure above ambient, MPa")
    _scale(axes, 0.0, 1.18 * max(top, 1e5) / 1e6)
    _band(axes, result, config, "pressure_pa", 1e6)
    if trip:
        _limit_lines(axes, limits)
    _curves(axes, traces, window, 1e6)


def _thrust(
    axes: Axes,
    traces: Sequence[Trace],
    result: dict[str, Any],
    config: dict[str, Any],
    window: tuple[float, float],
) -> None:
    top = max(_highest(traces, window), _expected(result, "thrust_n"), 1.0)
    axes.set_ylabel("Thrust, N")
    _scale(axes, min(0.0, 1.05 * _lowest(traces, window)), 1.18 * top)
    _band(axes, result, config, "thrust_n", 1.0)
    _curves(axes, traces, window, 1.0)


def _scale(axes: Axes, low: float, high: float) -> None:
    """Room below zero for the words of the marks, so that none covers the trace; no ticks there."""
    axes.set_ylim(low - FOOT_ROOM * (high - low), high)
    ticks = [tick for tick in axes.get_yticks() if low - 1e-9 * high <= tick <= high]
    axes.set_yticks(ticks)
    axes.axhline(0.0, color=LINE, linewidth=0.8, zorder=1)


def _expected(result: dict[str, Any], name: str) -> float:
    return float(result.get("prediction", {}).get(name) or 0.0)


def _highest(traces: Sequence[Trace], window: tuple[float, float]) -> float:
    return max([float(t.between(*window).value.max(initial=0.0)) for t in traces], default=0.0)


def _lowest(traces: Sequence[Trace], window: tuple[float, float]) -> float:
    return min([float(t.between(*window).value.min(initial=0.0)) for t in traces], default=0.0)


def _limit_lines(axes: Axes, limits: dict[str, Any]) -> None:
    """Trip heavy with the forbidden zone hatched above, allowable thin; values at the right."""
    top = axes.get_ylim()[1]
    trip = float(limits["trip_pa"]) / 1e6
    axes.axhspan(trip, top, facecolor="none", edgecolor=HATCH, hatch="///", linewidth=0, zorder=0.5)
    axes.axhline(trip, color=INK, linewidth=2.0, zorder=3)
    labels = [(trip, f"TRIP\n{_both(limits['trip_pa'])}", "bold")]
    allowable = limits.get("allowable_pa")
    if allowable and float(allowable) / 1e6 < top:
        axes.axhline(float(allowable) / 1e6, color=INK2, linewidth=1.0, linestyle=(0, (6, 3)))
        labels.append((float(allowable) / 1e6, f"allowable\n{_both(allowable)}", "normal"))
    burst = limits.get("rated_burst_pa")
    if burst:
        inside = float(burst) / 1e6 < top
        if inside:
            axes.axhline(float(burst) / 1e6, color=INK2, linewidth=1.0, linestyle=(0, (1, 2)))
        arrow = "" if inside else "\u2191 "
        labels.append(
            (min(float(burst) / 1e6, top), f"{arrow}rated burst\n{_both(burst)}", "normal")
        )
    _at_right(axes, labels)


def _both(pa: float) -> str:
    return f"{number(float(pa) / 1e6, 2)} MPa\n{number(from_si(float(pa), 'psi'), 0)} psi"


def _at_right(axes: Axes, labels: list[tuple[float, str, str]]) -> None:
    """Labels at the right of the frame, pushed apart until none covers another."""
    low, high = axes.get_ylim()
    least = 0.15 * (high - low)
    place = blended_transform_factory(axes.transAxes, axes.transData)
    last = float("-inf")
    for y, text, weight in sorted(labels):
        at = last = max(y, last + least)
        axes.text(
            1.012, at, text, transform=place,
            va="center", ha="left", fontsize=8.6, fontweight=weight, linespacing=1.15,
        )  # fmt: skip


def _band(
    axes: Axes, result: dict[str, Any], config: dict[str, Any], name: str, scale: float
) -> None:
    """The predicted curve, as wide as MEOP over nominal, laid on the 10 % rise; grey with edges."""
    curve = config.get("prediction", {}).get("curve") or []
    start = result["marks"]["ignition_s"]
    if len(curve) < 2 or start is None or result["watermark"] == "DRY":
        return
    if any(gap["begin_s"] < start < gap["end_s"] for gap in result["gaps"]):
        return
    width = _band_width(result)
    t = np.array([point["at_s"] for point in curve], dtype=float)
    pressure = np.array([point["pressure_pa"] for point in curve], dtype=float)
    t += start - float(np.interp(0.1 * pressure.max(), *_rising(pressure, t)))
    y = np.array([point[name] for point in curve], dtype=float) / scale
    axes.fill_between(
        t, (1 - width) * y, (1 + width) * y,
        facecolor=BAND, edgecolor=LINE, linewidth=0.6, alpha=0.75, zorder=1,
    )  # fmt: skip
    at = _free_place(t, result)
    if at is None:
        return
    axes.annotate(
        f"expected ± {100 * width:.0f} %",
        xy=(t[at], (1 - width) * y[at]),
        xytext=(0, -10),
        textcoords="offset points",
        ha="center",
        va="top",
        fontsize=8.2,
        color=INK2,
    )


def _band_width(result: dict[str, Any]) -> float:
    nominal, most = _expected(result, "peak_pa"), result["limits"].get("expected_max_pa")
    return float(most) / nominal - 1.0 if most and nominal and most > nominal else 0.08


def _rising(pressure: Values, t: Values) -> tuple[Values, Values]:
    """The part of the predicted curve up to its peak, as (pressure, time)."""
    top = int(np.argmax(pressure)) + 1
    return pressure[:top], t[:top]


def _free_place(t: Values, result: dict[str, Any]) -> int | None:
    """Where along the curve a word does not fall into a gap."""
    for share in (0.55, 0.75, 0.4, 0.65):
        at = int(share * len(t))
        if not any(g["begin_s"] - 0.15 < t[at] < g["end_s"] + 0.15 for g in result["gaps"]):
            return at
    return None


def _curves(axes: Axes, traces: Sequence[Trace], window: tuple[float, float], scale: float) -> None:
    for place, trace in enumerate(traces):
        t, y = _columns(trace.between(*window))
        style = "-" if place == 0 else (0, (4, 1.5))
        axes.plot(t, y / scale, color=INK, linewidth=1.3, linestyle=style, zorder=4)
        if len(traces) > 1 and len(t):
            axes.annotate(
                trace.channel, (t[-1], y[-1] / scale), xytext=(4, 6 + 10 * place),
                textcoords="offset points", fontsize=8.2,
            )  # fmt: skip


def _columns(trace: Trace) -> tuple[Values, Values]:
    """Lowest and highest sample of each column, NaN across gaps, so that no spike is hidden."""
    t, y = trace.t_s, trace.value
    if not len(t):
        return t, y
    holes = np.flatnonzero(np.diff(t) > 1.5 * trace.step_s) + 1
    pieces = []
    for piece_t, piece_y in zip(np.split(t, holes), np.split(y, holes), strict=True):
        width = max(1, len(t) // COLUMNS)
        starts = np.arange(0, len(piece_t), width)
        low, high = np.minimum.reduceat(piece_y, starts), np.maximum.reduceat(piece_y, starts)
        both = np.column_stack((low, high)).ravel()
        pieces.append((np.repeat(piece_t[starts], 2), both))
        pieces.append((np.array([piece_t[-1]]), np.array([np.nan])))
    return np.concatenate([p[0] for p in pieces]), np.concatenate([p[1] for p in pieces])


def _frame(axes: Axes, window: tuple[float, float], result: dict[str, Any]) -> None:
    axes.set_xlim(*window)
    axes.grid(color=GRID, linewidth=0.7, zorder=0)
    axes.set_axisbelow(True)
    for gap in result["gaps"]:
        if gap["end_s"] > window[0] and gap["begin_s"] < window[1]:
            begin, end = max(gap["begin_s"], window[0]), min(gap["end_s"], window[1])
            axes.axvspan(begin, end, facecolor=GROUND, edgecolor=HATCH, hatch="xxx", linewidth=0.8, zorder=2)  # fmt: skip
            _gap_label(axes, begin, end, window)
    draw_marks(axes, _marks(result), window, INK2, RED, GROUND)


def _gap_label(axes: Axes, begin: float, end: float, window: tuple[float, float]) -> None:
    if end - begin < 0.04 * (window[1] - window[0]):
        return
    place = blended_transform_factory(axes.transData, axes.transAxes)
    axes.text(
        (begin + end) / 2, 0.5, "no samples", transform=place, ha="center", va="center",
        fontsize=8.6, color=INK2, rotation=90 if end - begin < 0.1 * (window[1] - window[0]) else 0,
        bbox={"facecolor": GROUND, "edgecolor": "none", "pad": 2.0}, zorder=6,
    )  # fmt: skip


def _marks(result: dict[str, Any]) -> list[Mark]:
    marks, trip = result["marks"], result["trip"]
    t0 = {"line current": "T-0", "GO": "GO", "lit": "lit"}.get(result["t0"]["from"], "")
    known = [
        Mark(0.0 if t0 else None, t0.replace("-", "\u2212"), strong=False),
        Mark(marks["line_off_s"], "current ended", strong=False),
        Mark(marks["ignition_s"], "10 % rise", strong=False),
        Mark(marks["web_burn_out_s"], "web burn-out", strong=False),
        Mark(marks["action_end_s"], "10 % fall", strong=False),
        Mark(trip["time_s"] if trip["tripped"] else None, f"TRIP ({trip['where']})", strong=True),
    ]
    return [mark for mark in known if mark.at_s is not None]


def _watermark(figure: Figure, both: Sequence[Axes], result: dict[str, Any]) -> None:
    word = result["watermark"]
    if not word:
        return
    for axes in both:
        axes.text(
            0.5, 0.42, word, transform=axes.transAxes, ha="center", va="center", fontsize=54,
            fontweight="bold", color=LINE, alpha=0.3, rotation=14, zorder=2.5,
        )  # fmt: skip
    hatch = {"REHEARSAL": "////", "DRY": "....", "PROOF": "\\\\\\\\"}.get(str(word), "////")
    for y in (0.0, 0.988):
        figure.patches.append(
            mpl.patches.Rectangle(
                (0, y), 1, 0.012, transform=figure.transFigure, facecolor=GROUND,
                edgecolor=INK, hatch=hatch, linewidth=0,
            )
        )  # fmt: skip


def _time_label(result: dict[str, Any]) -> str:
    origin = {
        "line current": "T\u22120 (line current sensed)",
        "GO": "GO (no line current was sensed)",
        "lit": "light-up as seen live (no line current)",
    }.get(result["t0"]["from"], "the first tick of the record")
    return f"Time from {origin}, s"
