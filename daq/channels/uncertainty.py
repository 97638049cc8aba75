"""Measurement uncertainty by component, in the manner of JCGM 100:2008 (GUM).

A component is a standard uncertainty (k = 1) in the unit of the result. Scale errors are common to
all samples and do not average out; that is the caller's business (practice 7.5).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

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
