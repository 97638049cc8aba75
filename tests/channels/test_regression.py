"""Calibration regression against certified data sets (checks section 1)."""

import math
from pathlib import Path

import numpy as np
import pytest

from daq.channels.regression import fit, fit_through_zero, linearity, mean_and_sd

DATA = Path(__file__).parent.parent / "data"


def table(name):
    return np.loadtxt(DATA / name, delimiter=",", comments="#", skiprows=2).T


@pytest.fixture(scope="module")
def pontius():
    return fit(*table("pontius.csv"), 2)


def test_pontius_coefficients_to_all_certified_digits(pontius):
    """Checks 1.1 and 1.2."""
    assert pontius.coefficients == pytest.approx(
        (0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14), rel=1e-9
    )
    assert pontius.standard == pytest.approx(
        [0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16], rel=1e-8
    )


def test_pontius_residuals(pontius):
    """Checks 1.3 and 1.13."""
    assert pontius.freedom == 37
    assert pontius.residual_sd == pytest.approx(0.205177424076185e-03, rel=1e-8)
    assert pontius.r_squared == pytest.approx(0.999999900178537, abs=1e-12)
    assert pontius.sum_squares == pytest.approx(0.155761768796992e-05, rel=1e-8)
    assert pontius.lower_limit == pytest.approx(4.92425818e-04, rel=1e-8)


def test_pontius_full_covariance(pontius):
    """Check 1.4."""
    r = pontius.correlation
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx(
        [-0.888804895894, 0.7811162722, -0.9713482022], rel=1e-6
    )
    assert abs(pontius.residuals[pontius.worst]) == pytest.approx(4.468402256e-04, rel=1e-6)


@pytest.mark.parametrize(
    "x, y, u",
    [
        (0, 6.73565789e-04, 1.07938612e-04),
        (1_500_000, 1.09165046428571, 4.86417679e-05),
        (3_000_000, 2.16840367857143, 8.834302559e-05),
    ],
)
def test_pontius_fitted_values_with_their_uncertainty(pontius, x, y, u):
    """Check 1.5; without the covariances u at the top would be five times as large."""
    assert pontius.at(x) == pytest.approx(y, rel=1e-8)
    assert pontius.standard_at(x) == pytest.approx(u, rel=1e-8)
    if x:
        bare = math.sqrt(sum((s * x**k) ** 2 for k, s in enumerate(pontius.standard)))
        assert bare > 2 * u


def test_pontius_read_backwards(pontius):
    """Check 1.6."""
    assert pontius.solve(1.0, 0, 3e6) == pytest.approx(1_373_231.9089196, rel=1e-9)
    with pytest.raises(ValueError, match="does not pass"):
        pontius.solve(99.0, 0, 3e6)


def test_a_straight_line_through_pontius_is_flagged(pontius):
    """Check 1.7: the wrong model has 10.6 times the residual."""
    x, y = table("pontius.csv")
    line = fit(x, y)
    assert line.coefficients == pytest.approx(
        (6.149684210526316e-03, 7.221025814536341e-07), rel=1e-9
    )
    assert line.residual_sd == pytest.approx(2.17127259605675e-03, rel=1e-9)
    wrong = linearity(x, y)
    assert wrong.is_wrong
    assert wrong.gain == pytest.approx(10.6, abs=0.05)
    assert not linearity(x, y, 2).is_wrong


def test_norris():
    """Checks 1.8 to 1.10."""
    x, y = table("norris.csv")
    line = fit(x, y)
    assert line.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-9)
    assert line.standard == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-8)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-8)
    assert line.r_squared == pytest.approx(0.999993745883712, rel=1e-8)
    assert line.sum_squares == pytest.approx(26.6173985294224, rel=1e-8)
    assert line.f_ratio == pytest.approx(5436385.54079785, rel=1e-8)
    assert line.covariance[0, 1] == pytest.approx(-7.74327536316e-05, rel=1e-7)
    assert line.at(500) == pytest.approx(500.796085936453, rel=1e-7)
    assert line.standard_at(500) == pytest.approx(0.1515021758, rel=1e-7)
    assert not linearity(x, y).is_wrong


def test_a_slope_through_zero():
    """Check 1.11: R² about zero."""
    line = fit_through_zero(np.arange(60, 71), np.arange(130, 141))
    assert line.coefficients[1] == pytest.approx(2.07438016528926, rel=1e-10)
    assert line.standard[1] == pytest.approx(0.165289256198347e-01, rel=1e-10)
    assert line.residual_sd == pytest.approx(3.56753034006338, rel=1e-10)
    assert line.r_squared == pytest.approx(0.999365492298663, rel=1e-10)


def test_a_small_spread_on_a_large_mean():
    """Check 1.12."""
    values = [10000000.2, *[10000000.1, 10000000.3] * 500]
    mean, sd = mean_and_sd(values)
    assert mean == pytest.approx(10000000.2, rel=1e-15)
    assert sd == pytest.approx(0.1, abs=1e-8)


def test_exact_points_are_no_wrong_model():
    x = np.linspace(100, 900, 9)
    assert not linearity(x, 3.0 * x - 7.0).is_wrong


@pytest.mark.parametrize(
    "x, degree, words",
    [([1, 2], 1, "three points"), ([1, 2, 3], 2, "four"), ([5] * 5, 1, "same counts")],
)
def test_points_that_carry_no_fit(x, degree, words):
    with pytest.raises(ValueError, match=words):
        fit(x, list(range(len(x))), degree)
