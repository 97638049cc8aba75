"""GUM arithmetic and signal definitions against published examples (checks sections 2 and 8)."""

import math

import numpy as np
import pytest

from daq.channels.regression import fit
from daq.channels.signals import bridge_v, loop, ratiometric
from daq.channels.uncertainty import (
    Component,
    combined,
    effective_freedom,
    expanded,
    propagated,
    quantisation,
    rectangular,
)

END_GAUGE = [
    Component(name="standard", standard=25.0, freedom=18),
    Component(name="difference, readings", standard=5.8, freedom=24),
    Component(name="difference, comparator random", standard=3.9, freedom=5),
    Component(name="difference, comparator systematic", standard=6.7, freedom=8),
    # l_s θ u(δα) and l_s α_s u(δθ) of H.1.3: 50e6 x 0.1 x 1e-6/√3 and 50e6 x 11.5e-6 x 0.05/√3
    Component(name="expansion difference", standard=50000623 * 0.1 * rectangular(1e-6), freedom=50),
    Component(name="temperature difference", standard=50000623 * 11.5e-6 * rectangular(0.05), freedom=2),
]  # fmt: skip


def test_the_end_gauge():
    """Checks 2.1 and 2.2: uc 31.66 nm, 16.75 degrees of freedom."""
    assert combined(END_GAUGE) == pytest.approx(31.664, abs=0.05)
    assert effective_freedom(END_GAUGE) == pytest.approx(16.75, abs=0.1)
    assert expanded(END_GAUGE, 2.92) == pytest.approx(92.5, abs=1)
    assert effective_freedom([Component(name="certain", standard=1.0)]) == math.inf


V = [5.007, 4.994, 5.005, 4.990, 4.999]
MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_correlated_inputs():
    """Checks 2.4, 2.5 and 2.6: u of R = V cos φ / I is 0.071 Ω, 0.195 when covariance is dropped."""
    data = np.array([V, [value * 1e-3 for value in MA], PHI])
    v, i, phi = data.mean(axis=1)
    covariance = np.cov(data) / 5
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.0032, 0.0095e-3, 0.00075], rel=0.02)
    slope = [math.cos(phi) / i, -v * math.cos(phi) / i**2, -v * math.sin(phi) / i]
    assert v * math.cos(phi) / i == pytest.approx(127.732, abs=0.001)
    assert propagated(slope, covariance) == pytest.approx(0.071, abs=0.001)
    assert propagated(slope, np.diag(np.diag(covariance))) == pytest.approx(0.195, abs=0.001)


T = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_the_thermometer_line():
    """Checks 2.7 and 2.8."""
    line = fit([t - 20 for t in T], B)
    s = np.sqrt(np.diag(line.covariance))
    assert (round(line.coefficients[0], 4), round(line.coefficients[1], 5)) == (-0.1712, 0.00218)
    assert (round(s[0], 4), round(s[1], 5)) == (0.0029, 0.00067)
    assert line.covariance[0, 1] / (s[0] * s[1]) == pytest.approx(-0.930, abs=5e-4)
    assert round(line.residual_sd, 4) == 0.0035
    assert line.residual_sd**2 * 9 == pytest.approx(0.000110096583, rel=1e-6)
    assert line.at(10) == pytest.approx(-0.1494, abs=5e-5)
    assert line.standard_at(10) == pytest.approx(0.0041386, abs=5e-7)
    assert math.hypot(s[0], 10 * s[1]) == pytest.approx(0.0073, abs=5e-5)


def test_about_the_mean_the_covariance_vanishes():
    """Check 2.9."""
    middle = sum(T) / len(T)
    line = fit([t - middle for t in T], B)
    assert abs(line.covariance[0, 1]) < 1e-18
    assert line.coefficients[0] == pytest.approx(-0.16245455, rel=1e-6)
    assert math.sqrt(line.covariance[0, 0]) == pytest.approx(0.00105456, rel=1e-5)


def test_a_line_needs_three_points():
    with pytest.raises(ValueError, match="three points"):
        fit([1, 2], [1, 2])


@pytest.mark.parametrize(
    "step, u", [(5 / 4096, 352.387e-6), (2.048 / 65536, 9.02110e-6), (3051.758, 880.967)]
)
def test_quantisation(step, u):
    """Check 8.7."""
    assert quantisation(step) == pytest.approx(u, rel=1e-5)


def test_bridge():
    """Check 8.3."""
    assert bridge_v(1234, 5000, 2.0, 5.0) == pytest.approx(2.468e-3, rel=1e-12)


@pytest.mark.parametrize("ratio, mpa", [(0.1, 0), (0.3, 2.5), (0.5, 5), (0.9, 10)])
def test_ratiometric(ratio, mpa):
    """Check 8.4."""
    assert ratiometric(ratio, 0.1, 0.9, 10.0) == pytest.approx(mpa, rel=1e-12, abs=1e-12)


def test_a_lost_live_zero_is_a_fault_and_never_a_number():
    """Checks 8.4 and 8.6."""
    assert ratiometric(0.05, 0.1, 0.9, 10.0) is None
    assert ratiometric(0.95, 0.1, 0.9, 10.0) is None
    assert loop(3.6e-3, 10e6) is None
    assert loop(21e-3, 10e6) is None
    assert loop(12e-3, 10e6) == pytest.approx(5e6, rel=1e-12)


def test_a_sagging_supply_reads_low_unless_the_ratio_is_taken():
    """Check 8.5: 6.25 % low, the unsafe direction."""
    volts = 0.5 * 4.75
    assert ratiometric(volts / 5.0, 0.1, 0.9, 10.0) == pytest.approx(4.6875, rel=1e-12)
    assert ratiometric(volts / 4.75, 0.1, 0.9, 10.0) == pytest.approx(5.0, rel=1e-12)
