"""Measurement uncertainty by component, in the manner of JCGM 100:2008 (GUM).

A component is a standard uncertainty (k = 1) in the unit of the result. Scale errors are common to
all samples and do not average out; that is the caller's business (practice 7.5).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

COVERAGE: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One contribution: its name, its standard uncertainty, its degrees of freedom."""

    name: str
    standard: float
    freedom: float = math.inf


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value that lies evenly within ± half_width (GUM 4.3.7)."""
    return half_width / math.sqrt(3.0)


def quantisation(step: float) -> float:
    """Standard uncertainty of reading in steps: step/√12 (check 8.7)."""
    return rectangular(step / 2.0)


def combined(components: Sequence[Component]) -> float:
    """Combined standard uncertainty of independent components."""
    return math.hypot(*(part.standard for part in components))


def effective_freedom(components: Sequence[Component]) -> float:
    """Welch-Satterthwaite, GUM G.2b (checks 2.1, 2.2); infinite when every part is."""
    total = combined(components)
    worth = sum(part.standard**4 / part.freedom for part in components)
    return total**4 / worth if worth > 0 else math.inf


def expanded(components: Sequence[Component], k: float = COVERAGE) -> float:
    """Expanded uncertainty, k = 2 unless said otherwise."""
    return k * combined(components)


def propagated(sensitivity: ArrayLike, covariance: ArrayLike) -> float:
    """Standard uncertainty of f(x) from df/dx and the covariance of x (GUM 5.2; check 2.5)."""
    slope = np.asarray(sensitivity, dtype=float)
    return float(math.sqrt(slope @ np.asarray(covariance, dtype=float) @ slope))


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFit:
    """y = c0 + c1 x by least squares, with what the fit knows about itself (checks 2.7 to 2.9)."""

    c0: float
    c1: float
    residual_sd: float
    covariance: NDArray[np.float64]

    def at(self, x: float) -> float:
        return self.c0 + self.c1 * x

    def standard_at(self, x: float) -> float:
        """Standard uncertainty of the fitted mean at x, covariance included."""
        return propagated((1.0, x), self.covariance)


def fit_line(x: ArrayLike, y: ArrayLike) -> LineFit:
    """Straight line through at least three points, worked about the mean of x for accuracy.

    ValueError if there are fewer than three points or all x are the same.
    """
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if across.size < 3:
        raise ValueError("a line with its uncertainty needs at least three points")
    middle = across.mean()
    spread = float(((across - middle) ** 2).sum())
    if spread == 0:
        raise ValueError("all points lie at the same counts")
    c1 = float(((across - middle) * (up - up.mean())).sum()) / spread
    c0 = float(up.mean() - c1 * middle)
    residual = up - c0 - c1 * across
    variance = float((residual**2).sum()) / (across.size - 2)
    cross = -middle / spread
    matrix = [[1 / across.size + middle**2 / spread, cross], [cross, 1 / spread]]
    covariance = variance * np.array(matrix)
    return LineFit(c0=c0, c1=c1, residual_sd=math.sqrt(variance), covariance=covariance)
