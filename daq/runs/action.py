"""One channel over one burn: peak, 10 % points and web burn-out, on the trace less its zero."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, log, sqrt
from typing import Final

import numpy as np

from daq.runs.baseline import Zeroed, zeroed
from daq.runs.crossing import Crossing, fall, rise
from daq.runs.impulse import Errors
from daq.runs.span import Span
from daq.runs.tangent import AFT_WIDTH, web_burn_out
from daq.runs.trace import Trace, running_median

RULE: Final = 0.10
MEDIAN_NOISE: Final = 0.54  # of sigma, running median of five


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """The 10 % points, peak and web burn-out of one channel, on its zeroed trace."""

    zero: Zeroed
    peak: float
    u_peak: float
    peak_s: float
    begin: Crossing | None
    end: Crossing | None
    web_s: float | None
    u_web_s: float

    @property
    def trace(self) -> Trace:
        return self.zero.trace

    @property
    def errors(self) -> Errors:
        return Errors(self.zero.sigma, self.zero.u_zero, self.peak)


def action_of(raw: Trace, span: Span, t0_s: float | None) -> Action | None:
    """One channel over the burn; None if it did not rise above its own noise."""
    zero = zeroed(raw, span, t0_s)
    trace = zero.trace.between(span.begin_s - 0.5, span.end_s)
    burning = trace.between(span.begin_s - 0.05, span.end_s)
    if len(burning.t_s) < 5:
        return None
    middle = running_median(burning.value)
    at = int(np.argmax(middle))
    peak = float(middle[at])
    if peak <= 10.0 * zero.sigma or peak <= 0:
        return None
    noise = MEDIAN_NOISE * zero.sigma * sqrt(2.0 * log(max(3, len(middle))))
    u_peak = sqrt((trace.u_scale_rel * peak) ** 2 + zero.u_zero**2 + noise**2)
    begin = rise(trace, RULE * peak, zero.sigma)
    end = fall(trace, RULE * peak, zero.sigma)
    web, u_web = _web(trace, begin, end, peak, zero.sigma)
    return Action(
        zero=zero,
        peak=peak,
        u_peak=u_peak,
        peak_s=float(burning.t_s[at]),
        begin=begin,
        end=end,
        web_s=web,
        u_web_s=u_web,
    )


def _web(
    trace: Trace, begin: Crossing | None, end: Crossing | None, peak: float, sigma: float
) -> tuple[float | None, float]:
    """Web burn-out and how far it moves when the aft line is made shorter or longer."""
    if begin is None or end is None:
        return None, 0.0
    tries = [
        web_burn_out(trace, begin.t_s, end.t_s, peak, sigma, aft)
        for aft in (AFT_WIDTH, 0.7 * AFT_WIDTH, 1.5 * AFT_WIDTH)
    ]
    if tries[0] is None:
        return None, 0.0
    spread = max(abs(each - tries[0]) for each in tries if each is not None)
    return tries[0], hypot(spread, trace.step_s)


def ruling(actions: Sequence[Action | None], findings: list[str]) -> Action | None:
    """Of several channels of a kind the one with the higher peak; what they differ goes to findings."""
    known = [each for each in actions if each is not None]
    if not known:
        return None
    for each in known:
        findings.extend(each.zero.findings)
        if each.trace.is_saturated():
            findings.append(
                f"{each.trace.channel} was at its upper rail: its figures are lower bounds."
            )
    highest = max(known, key=lambda each: each.peak)
    for each in known:
        apart = highest.peak - each.peak
        if each is not highest and apart > hypot(highest.u_peak, each.u_peak):
            findings.append(
                f"{highest.trace.channel} and {each.trace.channel} differ at their peaks by "
                f"{100 * apart / highest.peak:.1f} %; the higher one is reported, both are kept."
            )
    return highest
