"""Polynomial of degree 0 to 3 by least squares, with all that the fit knows about itself.

The fit is worked in a variable scaled to -1..1 by orthogonal triangles and carried back to the
plain coefficients together with the full covariance: dropping the covariance makes a thermometer
of ±0.004 K one of ±0.007 K (checks 2.7 to 2.9), and normal equations lose half the digits
(checks 1.1 to 1.11). Sources: NIST StRD, JCGM 100:2008 H.3, ASTM E74 for the 2.4 s limit.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from daq.channels.student import f_upper_tail
from daq.channels.uncertainty import propagated

E74_FACTOR: Final = 2.4  # lower limit factor of ASTM E74, from memory
WRONG_MODEL_P: Final = 0.001
WRONG_MODEL_GAIN: Final = 1.2  # a curve that is real but tiny is no reason to leave the line


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """y = Σ coefficients[k] x^k with residual standard deviation, freedom and full covariance."""

    coefficients: tuple[float, ...]
    covariance: NDArray[np.float64]
    residuals: NDArray[np.float64]
    freedom: int
    sum_squares: float
    total_squares: float

    def at(self, x: float) -> float:
        """Fitted value at x."""
        return float(np.polynomial.polynomial.polyval(x, self.coefficients))

    def _powers(self, x: float) -> list[float]:
        return [x**power for power in range(len(self.coefficients))]

    def standard_at(self, x: float) -> float:
        """Standard uncertainty of the fitted mean at x, covariance included (check 1.5)."""
        return propagated(self._powers(x), self.covariance)

    @property
    def residual_sd(self) -> float:
        return math.sqrt(self.sum_squares / self.freedom)

    @property
    def standard(self) -> NDArray[np.float64]:
        """Standard deviations of the coefficients."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    @property
    def correlation(self) -> NDArray[np.float64]:
        s = self.standard
        return np.asarray(self.covariance / np.outer(s, s))

    @property
    def r_squared(self) -> float:
        """About the mean; about zero for a fit without intercept (check 1.11)."""
        return 1.0 - self.sum_squares / self.total_squares

    @property
    def f_ratio(self) -> float:
        """Explained over residual mean square (check 1.9)."""
        explained = (self.total_squares - self.sum_squares) / (len(self.coefficients) - 1)
        return explained / (self.sum_squares / self.freedom)

    @property
    def lower_limit(self) -> float:
        """ASTM E74 lower limit factor: 2.4 residual standard deviations (check 1.13)."""
        return E74_FACTOR * self.residual_sd

    @property
    def worst(self) -> int:
        """Position of the largest residual."""
        return int(np.argmax(np.abs(self.residuals)))

    def solve(self, y: float, low: float, high: float) -> float:
        """Find x in low..high with fitted value y, by halving; ValueError if it is not between them."""
        down, up = self.at(low) - y, self.at(high) - y
        if down * up > 0:
            raise ValueError(f"the curve does not pass {y:g} between {low:g} and {high:g}")
        rising = up > down
        for _ in range(200):
            middle = 0.5 * (low + high)
            if middle in (low, high):
                break
            if (self.at(middle) > y) == rising:
                high = middle
            else:
                low = middle
        return 0.5 * (low + high)


def fit(x: ArrayLike, y: ArrayLike, degree: int = 1) -> Fit:
    """Unweighted polynomial; ValueError if there are too few points or too few different x."""
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    needed = degree + 2
    if across.size < needed:
        raise ValueError(f"a fit of degree {degree} needs at least {_number(needed)} points")
    if np.unique(across).size < degree + 1:
        raise ValueError("all points lie at the same counts or at too few different ones")
    middle = float(across.mean())
    half = float(np.abs(across - middle).max()) or 1.0
    scaled = (across - middle) / half
    design = np.vander(scaled, degree + 1, increasing=True)
    q, r = np.linalg.qr(design)
    lifted = up.mean() if degree else 0.0
    inner = np.linalg.solve(r, q.T @ (up - lifted))
    residuals = up - lifted - design @ inner
    inner[0] += lifted
    inverse = np.linalg.inv(r)
    freedom = across.size - degree - 1
    squares = float(residuals @ residuals)
    back = _unscale(degree, middle, half)
    covariance = back @ (inverse @ inverse.T) @ back.T * (squares / freedom)
    return Fit(
        coefficients=tuple(float(value) for value in back @ inner),
        covariance=np.asarray(covariance),
        residuals=residuals,
        freedom=freedom,
        sum_squares=squares,
        total_squares=float(((up - up.mean()) ** 2).sum()),
    )


def fit_through_zero(x: ArrayLike, y: ArrayLike) -> Fit:
    """Fit y = c1 x; R² is about zero (check 1.11)."""
    across, up = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if across.size < 2:
        raise ValueError("a slope through zero needs at least two points")
    spread = float(across @ across)
    slope = float(across @ up) / spread
    residuals = up - slope * across
    squares = float(residuals @ residuals)
    variance = squares / (across.size - 1) / spread
    return Fit(
        coefficients=(0.0, slope),
        covariance=np.array([[0.0, 0.0], [0.0, variance]]),
        residuals=residuals,
        freedom=across.size - 1,
        sum_squares=squares,
        total_squares=float(up @ up),
    )


def _number(count: int) -> str:
    return {2: "two", 3: "three", 4: "four", 5: "five"}[count]


def _unscale(degree: int, middle: float, half: float) -> NDArray[np.float64]:
    """Matrix from the coefficients in (x - middle)/half to those in x (binomial theorem)."""
    back = np.zeros((degree + 1, degree + 1))
    for power in range(degree + 1):
        for low in range(power + 1):
            share = math.comb(power, low) * (-middle) ** (power - low)
            back[low, power] = share / half**power
    return back


def mean_and_sd(values: Sequence[float]) -> tuple[float, float]:
    """Mean and sample standard deviation by two passes with exact sums (check 1.12)."""
    mean = math.fsum(values) / len(values)
    squares = math.fsum((value - mean) ** 2 for value in values)
    return mean, math.sqrt(squares / (len(values) - 1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Linearity:
    """Whether the next higher power belongs into the model; `gain` is the ratio of residuals."""

    gain: float
    p: float

    @property
    def is_wrong(self) -> bool:
        """The simpler model is wrong: the improvement is both significant and worth having."""
        return self.p < WRONG_MODEL_P and self.gain > WRONG_MODEL_GAIN


def linearity(x: ArrayLike, y: ArrayLike, degree: int = 1) -> Linearity:
    """Test degree against degree + 1 by the extra sum of squares (check 1.7 must be flagged)."""
    simple, richer = fit(x, y, degree), fit(x, y, degree + 1)
    spread = max(richer.sum_squares / richer.freedom, 1e-300)
    ratio = (simple.sum_squares - richer.sum_squares) / spread
    rounding = 1e-24 * max(simple.total_squares, 1e-300)
    if simple.sum_squares <= rounding:
        return Linearity(gain=1.0, p=1.0)
    return Linearity(
        gain=simple.residual_sd / max(richer.residual_sd, 1e-150),
        p=f_upper_tail(max(ratio, 0.0), 1, richer.freedom),
    )
