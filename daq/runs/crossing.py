"""When a trace passes a level, to a fraction of a sample, with the uncertainty of that time.

Without noise: straight line between the two samples (closed forms are met, check 6.4). With noise:
a straight line fitted to the raw samples around the voted crossing, as many as the noise covers.
"""

from math import ceil, inf, sqrt
from typing import Final, NamedTuple

import numpy as np

from daq.runs.trace import Floats, Trace, voted

_REACH_MAX: Final = 40
_FIRST_REACH: Final = 8


class Crossing(NamedTuple):
    """Time in s and its expanded uncertainty (k = 2), from sampling and noise.

    `u_level_s` is the part of it that an error of the level makes, common to rise and fall.
    `in_gap`: it happened while nothing was received; the middle of the gap is given.
    """

    t_s: float
    u_s: float
    in_gap: bool = False
    u_level_s: float = 0.0


def rise(trace: Trace, level: float, sigma: float) -> Crossing | None:
    """First voted passage upwards; None if the trace never stays above or starts above."""
    found = _first(trace.value >= level)
    if found is None or found == 0:
        return None
    return _refine(trace.t_s, trace.value, found - 1, level, sigma)


def fall(trace: Trace, level: float, sigma: float) -> Crossing | None:
    """Last voted passage downwards; None if the trace never was above or ends above."""
    found = _first((trace.value >= level)[::-1])
    if found is None or found == 0:
        return None
    return _refine(trace.t_s, trace.value, len(trace.value) - 1 - found, level, sigma)


def _first(over: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int | None:
    hits = np.flatnonzero(voted(over))
    if not len(hits):
        return None
    start = max(0, int(hits[0]) - 4)
    return start + int(np.flatnonzero(over[start : hits[0] + 1])[0])


def _refine(t: Floats, y: Floats, at: int, level: float, sigma: float) -> Crossing:
    """Crossing between samples `at` and `at + 1`."""
    step = float(t[at + 1] - t[at])
    change = float(y[at + 1] - y[at])
    u_sampling = 2.0 * step / sqrt(12.0)
    lo, hi = max(0, at - 3), min(len(t), at + 5)
    typical = float(np.median(np.diff(t[lo:hi])))
    if step > 1.5 * typical and step > 1.5 * float(np.min(np.diff(t[lo:hi]))):
        return Crossing(float(t[at]) + step / 2.0, u_sampling, in_gap=True)
    inside = float(t[at] + step * (level - y[at]) / change if change else t[at] + step / 2)
    if sigma <= 0.0:
        return Crossing(inside, u_sampling)
    reach, slope, u_noise = _FIRST_REACH, 0.0, inf
    for _ in range(4):  # the first voted place and slope are themselves drawn by the noise
        lo, hi = max(0, at - reach + 1), min(len(t), at + reach + 1)
        lo, hi = _without_gaps(t, lo, hi, at, typical)
        slope = _slope(t[lo:hi], y[lo:hi])
        if slope * change <= 0 or hi - lo < 4:
            break
        needed = min(_REACH_MAX, ceil(3.0 * sigma / (abs(slope) * typical)))
        if needed <= 1:
            u_noise = 2.0 * sigma / (abs(slope) * sqrt(2.0))
            return Crossing(inside, sqrt(u_sampling**2 + u_noise**2))
        if needed >= reach or reach <= needed + 2:
            middle = float(t[lo:hi].mean()) + (level - float(y[lo:hi].mean())) / slope
            inside = min(max(middle, float(t[lo])), float(t[hi - 1]))
            u_noise = 2.0 * sigma / (abs(slope) * sqrt(hi - lo))
            at = min(max(int(np.searchsorted(t, inside)) - 1, 0), len(t) - 2)
        reach = max(2, needed)
    u_noise = min(u_noise, 2.0 * _REACH_MAX * typical)
    return Crossing(inside, sqrt(u_sampling**2 + u_noise**2))


def _without_gaps(t: Floats, lo: int, hi: int, at: int, typical: float) -> tuple[int, int]:
    """The stretch `lo`..`hi` cut back to where samples follow each other around `at`."""
    holes = np.flatnonzero(np.diff(t[lo:hi]) > 1.5 * typical) + lo
    before, after = holes[holes < at], holes[holes > at]
    return (int(before[-1]) + 1 if len(before) else lo, int(after[0]) + 1 if len(after) else hi)


def _slope(t: Floats, y: Floats) -> float:
    off = t - t.mean()
    return float(off @ (y - y.mean()) / (off @ off))
