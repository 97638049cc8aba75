"""Where the burn is inside a record that also holds puff test, check load, igniter and wait.

Rules: with T-0 the burn starts at the first voted rise after it; without, at the rise the engine
saw live, else at the rise that leads to the highest peak. It ends as it does live: all channels under 5 % of
their peak (never under 10 sigma) for 1 s, seen without a gap; chuffs within that second belong to it.
"""

from collections.abc import Sequence
from math import inf
from typing import Final, NamedTuple

import numpy as np

from daq.channels.lit import LIT_SHARE, LIT_SIGMAS, OVER_SHARE, QUIET_S
from daq.runs.trace import GAP_PERIODS, Floats, Trace, noise_sigma, running_median, voted

BEFORE_S: Final = 2.0


class Span(NamedTuple):
    """First voted sample over the lit threshold, and the end of the quiet second (or of the record)."""

    begin_s: float
    end_s: float
    quiet_from_s: float
    closed: bool


class Seen(NamedTuple):
    """What was seen live: last light, burn-outs (board's own included), end of what may be a burn."""

    last_lit_s: float = -inf
    outs_s: tuple[float, ...] = ()
    until_s: float = inf


class _Quiet(NamedTuple):
    zero: float
    sigma: float


def find_span(
    thrust: Sequence[Trace],
    pressure: Sequence[Trace],
    t0_s: float | None,
    lit_s: float | None,
    expected: dict[str, float | None],
    seen: Seen | None = None,
) -> Span | None:
    """The burn, or None if nothing rose. Times on the traces' zero, `expected` peaks in SI."""
    seen = seen or Seen()
    traces = [each.between(-inf, seen.until_s) for each in (*thrust, *pressure)]
    traces = [each for each in traces if len(each.t_s) >= 5]
    after = t0_s if t0_s is not None else (None if lit_s is None else lit_s - 0.5)
    rests = {each.channel: _rest(each, after) for each in traces}
    begins = [
        begin
        for each in traces
        if (begin := _begin(each, rests[each.channel], after, expected[each.channel])) is not None
    ]
    if not begins:
        return None
    begin = min(begins)
    level = {each.channel: LIT_SIGMAS * rests[each.channel].sigma for each in traces}
    span = _end(traces, rests, level, begin, seen)
    for _ in range(2):
        for each in traces:
            part = each.between(begin, span.quiet_from_s + each.step_s)
            if len(part.t_s) >= 5:
                peak = float(running_median(part.value).max()) - rests[each.channel].zero
                floor = LIT_SIGMAS * rests[each.channel].sigma
                level[each.channel] = max(OVER_SHARE * peak, floor)
        span = _end(traces, rests, level, begin, seen)
    return span


def _rest(trace: Trace, before: float | None) -> _Quiet:
    quiet = trace.value[:0]
    if before is not None:
        quiet = trace.between(before - BEFORE_S, before - 0.02).value
    if len(quiet) < 5:
        quiet = trace.between(float(trace.t_s[0]), float(trace.t_s[0]) + 0.1).value
    return _Quiet(float(np.median(quiet)), noise_sigma(quiet))


def _begin(trace: Trace, rest: _Quiet, after: float | None, expected: float | None) -> float | None:
    part = trace if after is None else trace.between(after, float(trace.t_s[-1]))
    if len(part.t_s) < 5:
        return None
    peak = expected
    if peak is None:
        peak = float(running_median(part.value).max()) - rest.zero
        if peak <= 2.0 * LIT_SIGMAS * rest.sigma or peak <= 3.0 * trace.u_zero:
            return None
    threshold = max(LIT_SHARE * peak, LIT_SIGMAS * rest.sigma)
    over = part.value - rest.zero > threshold
    hits = np.flatnonzero(voted(over))
    if not len(hits):
        return None
    at = int(hits[0])
    if after is None:
        at = _highest_rise(part, hits)
    start = max(0, at - 4)
    first = start + int(np.flatnonzero(over[start : at + 1])[0])
    if first and part.t_s[first] - part.t_s[first - 1] > GAP_PERIODS * part.step_s:
        first -= 1  # it rose while nothing was received: the burn began somewhere in the gap
    elif not first and part is not trace:
        return _before(trace, float(part.t_s[0]))
    return float(part.t_s[first])


def _before(trace: Trace, first_s: float) -> float:
    """Time of the sample in front of the first one looked at, if a gap lies between them."""
    at = int(np.searchsorted(trace.t_s, first_s))
    if at and trace.t_s[at] - trace.t_s[at - 1] > GAP_PERIODS * trace.step_s:
        return float(trace.t_s[at - 1])
    return first_s


def _highest_rise(part: Trace, hits: np.ndarray[tuple[int], np.dtype[np.int64]]) -> int:
    """Without T-0: of the stretches over the threshold, the one that holds the highest peak."""
    apart = np.flatnonzero(np.diff(part.t_s[hits]) > QUIET_S)
    starts = np.concatenate(([0], apart + 1))
    ends = np.concatenate((apart, [len(hits) - 1]))
    middle = running_median(part.value)
    peaks = [middle[hits[a] : hits[b] + 1].max() for a, b in zip(starts, ends, strict=True)]
    return int(hits[starts[int(np.argmax(peaks))]])


def _end(
    traces: Sequence[Trace],
    rests: dict[str, _Quiet],
    level: dict[str, float],
    begin: float,
    seen: Seen,
) -> Span:
    """First second without a loud sample on any channel and without a gap, after the last light."""
    busy: list[Floats] = [np.array([begin])]
    if seen.last_lit_s > begin:
        busy.append(np.append(np.arange(begin, seen.last_lit_s, 0.5 * QUIET_S), seen.last_lit_s))
    last = begin
    for each in traces:
        part = each.between(begin, float(each.t_s[-1]))
        if not len(part.t_s):
            continue
        loud = voted(part.value - rests[each.channel].zero > level[each.channel])
        busy.append(part.t_s[loud])
        busy += [
            np.append(np.arange(gap.begin_s, gap.end_s, 0.5 * QUIET_S), gap.end_s)
            for gap in part.gaps()
            if gap.seconds > max(0.1, 5 * each.step_s)
        ]
        last = max(last, float(each.t_s[-1]))
    times = np.sort(np.concatenate([*busy, [np.inf]]))
    apart = np.flatnonzero(np.diff(times) > QUIET_S)
    quiet_from = float(times[int(apart[0])])
    end = quiet_from + QUIET_S
    known = [out for out in seen.outs_s if begin < out < end and out > seen.last_lit_s]
    if known and _unseen(traces, known[0]):
        return Span(begin, known[0], known[0] - QUIET_S, closed=True)
    return Span(begin, min(end, last), quiet_from, end <= last)


def _unseen(traces: Sequence[Trace], at_s: float) -> bool:
    """Did nobody here see that moment (it lies in a gap of every channel)?"""
    return all(
        any(gap.begin_s < at_s < gap.end_s for gap in each.gaps() if gap.seconds > 0.1)
        for each in traces
    )
