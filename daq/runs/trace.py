"""One channel of a finished run as arrays: time, SI value, and what is known about its errors.

Times are seconds of the board's tick on one common zero (T-0 where there is one). Samples that were
not received are absent, never filled in: a gap is a step of time longer than 1.5 sample periods.
"""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from daq.channels.vote import NEEDED, OF

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
GAP_PERIODS: Final = 1.5


class Gap(NamedTuple):
    """Nothing was received between these two sample times (both were), seconds."""

    begin_s: float
    end_s: float

    @property
    def seconds(self) -> float:
        return self.end_s - self.begin_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """`value` in `unit` ("pa" or "n") at `t_s`; U are expanded (k = 2).

    `u_scale_rel` is the relative calibration uncertainty, common to every sample; `u_zero` that of
    the zero in SI. `lag_s` is the declared delay of line and filter, not corrected. `saturated` marks samples at the upper rail (a lower bound, not a value).
    """

    channel: str
    unit: str
    t_s: Floats
    value: Floats
    step_s: float
    u_scale_rel: float
    u_zero: float
    saturated: Bools | None = field(default=None)
    lag_s: float = 0.0

    def __post_init__(self) -> None:
        if len(self.t_s) != len(self.value):
            raise ValueError(f"{self.channel}: {len(self.t_s)} times for {len(self.value)} values")
        if self.step_s <= 0:
            raise ValueError(f"{self.channel}: the sample period must be above zero")

    def between(self, begin_s: float, end_s: float) -> "Trace":
        """The samples with begin <= t <= end."""
        lo, hi = np.searchsorted(self.t_s, [begin_s, end_s + self.step_s * 1e-6])
        return self._with(self.t_s[lo:hi], self.value[lo:hi], lo, hi)

    def less(self, baseline: Floats | float) -> "Trace":
        """The same trace with `baseline` taken off."""
        return self._with(self.t_s, self.value - baseline, 0, len(self.t_s))

    def gaps(self) -> list[Gap]:
        """Where samples are missing inside the trace."""
        holes = np.flatnonzero(np.diff(self.t_s) > GAP_PERIODS * self.step_s)
        return [Gap(float(self.t_s[at]), float(self.t_s[at + 1])) for at in holes]

    def is_saturated(self) -> bool:
        return self.saturated is not None and bool(self.saturated.any())

    def _with(self, t_s: Floats, value: Floats, lo: int, hi: int) -> "Trace":
        return Trace(
            channel=self.channel,
            unit=self.unit,
            t_s=t_s,
            value=value,
            step_s=self.step_s,
            u_scale_rel=self.u_scale_rel,
            u_zero=self.u_zero,
            saturated=None if self.saturated is None else self.saturated[lo:hi],
            lag_s=self.lag_s,
        )


def voted(over: Bools) -> Bools:
    """For each sample: were 3 of the last 5 over? The vote of `daq.channels.vote` on an array."""
    total = np.cumsum(np.concatenate(([0], over.astype(np.int64))))
    at = np.arange(1, len(over) + 1)
    return np.asarray(total[at] - total[np.maximum(0, at - OF)] >= NEEDED)


def running_median(value: Floats, width: int = OF) -> Floats:
    """Centred median of `width` samples, the ends repeated; one or two odd samples leave no mark."""
    if len(value) < width:
        return value.copy()
    half = width // 2
    inner = np.median(sliding_window_view(value, width), axis=1)
    return np.concatenate((np.full(half, inner[0]), inner, np.full(half, inner[-1])))


def running_mean(value: Floats, width: int) -> Floats:
    """Centred mean of an odd `width`, shortened at the ends; for constructions only, never figures."""
    if width <= 1 or not len(value):
        return value.copy()
    half = width // 2
    total = np.cumsum(np.concatenate(([0.0], value)))
    at = np.arange(len(value))
    reach = np.minimum(half, np.minimum(at, len(value) - 1 - at))
    return np.asarray((total[at + reach + 1] - total[at - reach]) / (2 * reach + 1))


def noise_sigma(value: Floats) -> float:
    """Standard deviation of a quiet stretch, with outliers (spikes) clipped twice at 4 sigma."""
    for _ in range(2):
        if len(value) < 3:
            return 0.0
        middle, sigma = float(np.median(value)), float(np.std(value))
        kept = value[np.abs(value - middle) <= 4.0 * sigma]
        if len(kept) == len(value):
            break
        value = kept
    return float(np.std(value, ddof=1)) if len(value) > 2 else 0.0
