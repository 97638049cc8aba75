"""Propagation of distributions (JCGM 101:2008) where the Gaussian rule does not hold.

Used to check a budget whose largest part is rectangular (a reference of known accuracy class): the
rule k = 2 then claims more than there is, or less (checks 2.11, 2.12).
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Draws = NDArray[np.float64]


def rectangular_draws(rng: np.random.Generator, u: float, trials: int) -> Draws:
    """Draws of a rectangular quantity of mean 0 and standard uncertainty u."""
    half = u * 3.0**0.5
    return np.asarray(rng.uniform(-half, half, trials))


def shortest_interval(draws: Draws, probability: float) -> tuple[float, float]:
    """Shortest interval that holds `probability` of the draws (JCGM 101, 7.7)."""
    ordered = np.sort(draws)
    inside = round(probability * len(ordered))
    if not 0 < inside < len(ordered):
        raise ValueError("too few draws for this probability")
    at = int(np.argmin(ordered[inside:] - ordered[:-inside]))
    return float(ordered[at]), float(ordered[at + inside])


def second_order(
    hessian: Callable[[int, int], float] | NDArray[np.float64], u: NDArray[np.float64]
) -> float:
    """Variance that the second derivatives add, where third ones vanish (GUM 5.1.2 note; H.1.7)."""
    size = len(u)
    total = 0.0
    for i in range(size):
        for j in range(size):
            slope = hessian(i, j) if callable(hessian) else float(hessian[i, j])
            total += 0.5 * (slope * u[i] * u[j]) ** 2
    return float(total)
