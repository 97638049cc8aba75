"""Web burn-out by the aft tangent bisector (check 6.8).

Rules: a forward tangent along the pressure before the knee and an aft tangent along the steepest
part of the fall meet; the bisector of their angle meets the trace at web burn-out. The result
depends on the scale of the axes, so the scale is part of the definition and is fixed here: time
divided by the action time, value divided by its maximum. Forward tangent: straight line through the
trace from 25 % to 10 % of the action time before the knee. Aft tangent: the steepest straight line
over 3 % of the action time after it. A smoothed copy (1 % of the action time, only if the trace is
noisy) serves the construction and nothing else.
"""

from math import sqrt
from typing import Final, NamedTuple

import numpy as np

from daq.runs.trace import Floats, Trace, running_mean, running_median

FORWARD_FROM: Final = 0.25
FORWARD_TO: Final = 0.10
AFT_WIDTH: Final = 0.03
SMOOTH: Final = 0.01


class Line(NamedTuple):
    """y = y0 + slope * (t - t0)."""

    t0: float
    y0: float
    slope: float

    def at(self, t: float) -> float:
        return self.y0 + self.slope * (t - self.t0)

    def meets(self, other: "Line") -> float | None:
        """Time where both lines meet; None if they are parallel."""
        if self.slope == other.slope:
            return None
        return (other.at(0.0) - self.at(0.0)) / (self.slope - other.slope)


def bisector(forward: Line, aft: Line, scale_s: float, scale_y: float) -> Line | None:
    """Bisector of the angle that holds the trace, drawn with `scale_s` as long as `scale_y`."""
    t = forward.meets(aft)
    if t is None:
        return None
    back = _unit(-1.0, -forward.slope * scale_s / scale_y)
    down = _unit(1.0, aft.slope * scale_s / scale_y)
    run, rise = back[0] + down[0], back[1] + down[1]
    if run == 0.0:
        return None
    return Line(t, forward.at(t), rise / run * scale_y / scale_s)


def crosses(t: Floats, y: Floats, line: Line) -> float | None:
    """First time at which the trace, coming from above the line, passes under it."""
    off = y - (line.y0 + line.slope * (t - line.t0))
    hits = np.flatnonzero((off[:-1] > 0) & (off[1:] <= 0))
    if not len(hits):
        return None
    at = int(hits[0])
    return float(t[at] + (t[at + 1] - t[at]) * off[at] / (off[at] - off[at + 1]))


class WebOut(NamedTuple):
    """Web burn-out and the knee where both tangents meet, s."""

    t_s: float
    knee_s: float


def web_burn_out(
    trace: Trace, begin_s: float, end_s: float, peak: float, sigma: float, aft: float = AFT_WIDTH
) -> WebOut | None:
    """Time of web burn-out of a trace whose action time runs from `begin_s` to `end_s`.

    `aft` is the width of the aft line as a share of the action time (varied only to see how much
    the construction can be trusted). None where no knee can be constructed.
    """
    action = end_s - begin_s
    part = trace.between(begin_s, end_s)
    if len(part.t_s) < 20 or action <= 0 or peak <= 0:
        return None
    t, y = part.t_s, _smoothed(part, action, sigma)
    width = max(3, round(aft * action / trace.step_s) + 1)
    aft_line = _steepest(t, y, width)
    forward = _forward(t, y, aft_line, begin_s, action)
    if aft_line is None or forward is None or forward.slope <= aft_line.slope:
        return None
    line = bisector(forward, aft_line, action, peak)
    if line is None or line.slope <= 0:
        return None
    from_here = int(np.searchsorted(t, max(begin_s, line.t0 - 0.5 * action)))
    met = crosses(t[from_here:], y[from_here:], line)
    return None if met is None else WebOut(met, line.t0)


def _smoothed(part: Trace, action: float, sigma: float) -> Floats:
    if sigma <= 0.0:
        return part.value
    width = 2 * round(SMOOTH * action / part.step_s / 2) + 1
    return running_mean(running_median(part.value), width)


def _steepest(t: Floats, y: Floats, width: int) -> Line | None:
    """Steepest least-squares line of `width` samples in the second half of the action time."""
    half = len(t) // 2
    if len(t) - half <= width:
        return None
    t0 = float(t[half])
    x, v = t[half:] - t0, y[half:]
    sums = [_windowed(a, width) for a in (x, v, x * x, x * v)]
    spread = sums[2] - sums[0] ** 2 / width
    slopes = (sums[3] - sums[0] * sums[1] / width) / spread
    at = int(np.argmin(slopes))
    if slopes[at] >= 0:
        return None
    return Line(t0 + float(sums[0][at]) / width, float(sums[1][at]) / width, float(slopes[at]))


def _windowed(value: Floats, width: int) -> Floats:
    total = np.cumsum(np.concatenate(([0.0], value)))
    return np.asarray(total[width:] - total[:-width])


def _forward(t: Floats, y: Floats, aft: Line | None, begin_s: float, action: float) -> Line | None:
    """Line along the trace before the knee; the knee is where both lines meet, found by turns."""
    if aft is None:
        return None
    inside = (t >= begin_s + 0.25 * action) & (t <= aft.t0)
    if not inside.any():
        return None
    knee = aft.t0 + (float(np.median(y[inside])) - aft.y0) / aft.slope
    line = None
    for _ in range(3):
        lo = max(begin_s + 0.05 * action, knee - FORWARD_FROM * action)
        window = (t >= lo) & (t <= knee - FORWARD_TO * action)
        if window.sum() < 5:
            return line
        x, v = t[window], y[window]
        off = x - x.mean()
        line = Line(float(x.mean()), float(v.mean()), float(off @ (v - v.mean()) / (off @ off)))
        met = line.meets(aft)
        if met is None or not begin_s < met < begin_s + 1.2 * action:
            return line
        knee = met
    return line


def _unit(run: float, rise: float) -> tuple[float, float]:
    length = sqrt(run * run + rise * rise)
    return run / length, rise / length
