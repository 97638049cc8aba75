"""Student's t and the F distribution, from the regularised incomplete beta function.

Enough of both for a coverage factor at any degrees of freedom (GUM G.3, check 2.10) and for the
linearity test; the product needs no statistics library for it. Accuracy about 1e-12.
"""

import math
from typing import Final

TINY: Final = 1e-300


def beta_share(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta I_x(a, b) by its continued fraction, on the side it converges."""
    if x <= 0.0 or x >= 1.0:
        return 0.0 if x <= 0.0 else 1.0
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    if x < (a + 1.0) / (a + b + 2.0):
        return front * _fraction(a, b, x) / a
    return 1.0 - front * _fraction(b, a, 1.0 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    upper, lower = 1.0, 1.0 / _off_zero(1.0 - (a + b) * x / (a + 1.0))
    value = lower
    for m in range(1, 400):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            lower = 1.0 / _off_zero(1.0 + term * lower)
            upper = _off_zero(1.0 + term / upper)
            value *= lower * upper
        if abs(lower * upper - 1.0) < 1e-15:
            break
    return value


def _off_zero(value: float) -> float:
    return value if abs(value) > TINY else TINY


def within(k: float, freedom: float) -> float:
    """Probability that |t| <= k; the normal distribution for infinite freedom."""
    if math.isinf(freedom):
        return math.erf(k / math.sqrt(2.0))
    return 1.0 - beta_share(freedom / 2.0, 0.5, freedom / (freedom + k * k))


def coverage_factor(probability: float, freedom: float) -> float:
    """Factor k with P(|t| <= k) = probability (two-sided, check 2.10).

    Freedom is not rounded here: cutting it to a whole number first is the caller's choice.
    """
    if not 0.0 < probability < 1.0 or freedom <= 0.0:
        raise ValueError("expected a probability between 0 and 1 and freedom above 0")
    low, high = 0.0, 1.0
    while within(high, freedom) < probability:
        high *= 2.0
    for _ in range(100):
        middle = 0.5 * (low + high)
        if within(middle, freedom) < probability:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def f_upper_tail(ratio: float, over: float, under: float) -> float:
    """P(F > ratio) with `over` and `under` degrees of freedom."""
    return beta_share(under / 2.0, over / 2.0, under / (under + over * ratio))
