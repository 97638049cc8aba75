"""Areas under a trace, and how far they can be trusted.

Rules: trapezoid rule on the samples received. A gap is never filled in silence: the area inside it
is bounded (between the edges the value moves no faster than the steepest change of the record or
the whole peak in 50 ms, not under zero, not over the peak), the middle of the bounds is counted
and half their distance goes into U. The calibration scale is common to all samples: it is added
as a whole and never averages out (practice 7.5).
"""

from math import sqrt
from typing import Final, NamedTuple

import numpy as np

from daq.runs.trace import GAP_PERIODS, Floats, Trace

GAP_RISE_S: Final = 0.05


class Area(NamedTuple):
    """Area in unit·s; `u` expanded; `gap_s` seconds that were missing inside."""

    value: float
    u: float
    gap_s: float
    low: float
    high: float


class Errors(NamedTuple):
    """What the areas need to know: noise sigma and expanded U of the zero over the interval."""

    sigma: float
    u_zero: float
    peak: float


def integrate(t: Floats, y: Floats) -> float:
    """Trapezoid rule."""
    return float(np.sum((y[1:] + y[:-1]) * np.diff(t)) / 2.0)


def area(trace: Trace, begin_s: float, end_s: float, errors: Errors) -> Area:
    """Area between two times, the ends interpolated; widened and bounded where samples miss."""
    t, y = _cut(trace, begin_s, end_s)
    if len(t) < 2:
        return Area(0.0, 0.0, 0.0, 0.0, 0.0)
    steps = np.diff(t)
    seen = steps <= GAP_PERIODS * trace.step_s
    parts = (y[1:] + y[:-1]) * steps / 2.0
    value = float(parts[seen].sum())
    low = high = 0.0
    rate = _steepest(t, y, seen, errors.peak)
    for at in np.flatnonzero(~seen):
        bounds = _gap_bounds(float(y[at]), float(y[at + 1]), float(steps[at]), rate, errors.peak)
        low, high = low + bounds[0], high + bounds[1]
    gap_s = float(steps[~seen].sum())
    value += (low + high) / 2.0
    terms = (
        trace.u_scale_rel * value,
        errors.u_zero * (end_s - begin_s),
        2.0 * errors.sigma * trace.step_s * sqrt(len(t)),
        _sampling(y[:-1][seen], y[1:][seen], trace.step_s),
        (high - low) / sqrt(3.0),  # rectangular between the bounds, k = 2
    )
    half = (high - low) / 2.0
    return Area(value, sqrt(sum(term * term for term in terms)), gap_s, value - half, value + half)


def _cut(trace: Trace, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
    begin_s = max(begin_s, float(trace.t_s[0]))
    end_s = min(end_s, float(trace.t_s[-1]))
    inside = (trace.t_s > begin_s) & (trace.t_s < end_s)
    ends = np.interp([begin_s, end_s], trace.t_s, trace.value)
    t = np.concatenate(([begin_s], trace.t_s[inside], [end_s]))
    y = np.concatenate(([ends[0]], trace.value[inside], [ends[1]]))
    return t, y


def _sampling(left: Floats, right: Floats, step_s: float) -> float:
    """Size of the trapezoid rule's own error (check 6.6), from the change of slope at the ends."""
    if len(left) < 4:
        return 0.0
    bends = np.diff(right - left)
    smooth = abs(float(bends.sum())) / 12.0  # what bends steadily adds up (half sine, check 6.6)
    corners = float(np.sqrt(np.sum(bends * bends))) / 6.0  # what falls between samples does not
    return step_s * sqrt((2.0 * smooth) ** 2 + corners**2)


def _steepest(
    t: Floats, y: Floats, seen: np.ndarray[tuple[int], np.dtype[np.bool_]], peak: float
) -> float:
    floor = peak / GAP_RISE_S
    if len(y) < 8:
        return floor
    whole = np.convolve(seen, np.ones(5, dtype=np.int64), mode="valid") == 5
    rates = np.abs(y[5:] - y[:-5])[whole] / (t[5:] - t[:-5])[whole]
    return max(floor, float(rates.max(initial=0.0)))


def _gap_bounds(
    ya: float, yb: float, width: float, rate: float, peak: float
) -> tuple[float, float]:
    """Lowest and highest area between two samples with the rate of change limited."""
    rate = max(rate, abs(yb - ya) / width)
    at = np.linspace(0.0, width, 201)
    low = np.maximum(np.maximum(ya - rate * at, yb - rate * (width - at)), min(0.0, ya, yb))
    high = np.minimum(np.minimum(ya + rate * at, yb + rate * (width - at)), max(peak, ya, yb))
    return integrate(at, low), integrate(at, high)
