"""Zero before and after the burn, and what the difference means (practice 6.12, checks of believable).

Rules: the zero before is the mean of up to 2 s before T-0 (or the rise), the zero after that of up
to 2 s behind the quiet second. A small shift is taken off as a straight line over the burn and half
of it stays as uncertainty; a large one is not corrected, stays whole in U and is a finding.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from daq.runs.span import BEFORE_S, Span
from daq.runs.trace import Trace, noise_sigma, running_median

GUARD_S: Final = 0.02
SHIFT_SHARE: Final = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Zeroed:
    """`trace` with its zero taken off; `u_zero` expanded, over the burn; zeros and shift in SI."""

    trace: Trace
    sigma: float
    before: float
    after: float | None
    u_zero: float
    findings: tuple[str, ...]


def zeroed(raw: Trace, span: Span, t0_s: float | None) -> Zeroed:
    """Take the zero of one channel around one burn."""
    start = span.begin_s if t0_s is None else min(t0_s, span.begin_s)
    quiet = raw.between(start - BEFORE_S, start - GUARD_S).value
    findings: list[str] = []
    if len(quiet) < 5:
        findings.append(
            f"{raw.channel}: no samples before the burn, its zero is the calibration's."
        )
        quiet = np.zeros(1)
    sigma = noise_sigma(quiet)
    before = float(quiet.mean()) if not sigma else _clipped_mean(quiet, sigma)
    u_before = 2.0 * sigma / sqrt(len(quiet)) if len(quiet) > 1 else raw.u_zero
    rest = raw.between(span.end_s, span.end_s + BEFORE_S).value
    if len(rest) < 20 or not span.closed:
        u_zero = sqrt(raw.u_zero**2 + u_before**2)
        findings.append(f"{raw.channel}: the zero after the burn was not seen.")
        return _made(raw, raw.less(before), sigma, before, None, u_zero, findings)
    after = _clipped_mean(rest, noise_sigma(rest))
    shift = after - before
    inside = raw.between(span.begin_s, span.quiet_from_s).value
    peak = float(running_median(inside).max(initial=0.0)) - before
    if abs(shift) > max(SHIFT_SHARE * peak, 3.0 * raw.u_zero):
        findings.append(
            f"{raw.channel}: the zero moved by {shift:.3g} {raw.unit} over the burn, too much to "
            "correct; it is kept whole in the uncertainty."
        )
        return _made(raw, raw.less(before), sigma, before, after, abs(shift) + u_before, findings)
    if abs(shift) > max(raw.u_zero, u_before):
        findings.append(
            f"{raw.channel}: the zero moved by {shift:.3g} {raw.unit} over the burn (limit "
            f"{raw.u_zero:.3g}); the run is flagged and the calibration is void."
        )
    path = np.interp(raw.t_s, [span.begin_s, span.quiet_from_s], [before, after])
    u_zero = sqrt((abs(shift) / sqrt(3.0)) ** 2 + u_before**2)
    return _made(raw, raw.less(path), sigma, before, after, u_zero, findings)


def _made(
    raw: Trace,
    trace: Trace,
    sigma: float,
    before: float,
    after: float | None,
    u_zero: float,
    findings: list[str],
) -> Zeroed:
    assert trace.channel == raw.channel
    return Zeroed(
        trace=trace,
        sigma=sigma,
        before=before,
        after=after,
        u_zero=u_zero,
        findings=tuple(findings),
    )


def _clipped_mean(value: np.ndarray[tuple[int], np.dtype[np.float64]], sigma: float) -> float:
    middle = float(np.median(value))
    kept = value[np.abs(value - middle) <= 4.0 * sigma] if sigma else value
    return float(kept.mean()) if len(kept) else middle
