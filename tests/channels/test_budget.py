"""Uncertainty budgets against the GUM's worked examples (checks section 2)."""

import math

import numpy as np
import pytest

from daq.channels.budget import Budget, expanded_share
from daq.channels.montecarlo import rectangular_draws, second_order, shortest_interval
from daq.channels.student import coverage_factor
from daq.channels.uncertainty import combined, effective_freedom, propagated, rectangular
from daq.settings_stand import BudgetPart
from tests.channels.test_uncertainty import END_GAUGE, MA, PHI, V


def test_the_end_gauge_at_99_percent_and_the_rounding_trap():
    """Check 2.2: rounding uc to 32 nm first gives 17.5 degrees of freedom, which is wrong."""
    freedom = effective_freedom(END_GAUGE)
    assert freedom == pytest.approx(16.75, abs=0.1)
    k = coverage_factor(0.99, math.floor(freedom))
    assert k == pytest.approx(2.92, abs=0.005)
    assert k * combined(END_GAUGE) == pytest.approx(93, abs=1)
    trap = 32.0**4 / sum(part.standard**4 / part.freedom for part in END_GAUGE)
    assert trap == pytest.approx(17.5, abs=0.05)
    assert abs(trap - freedom) > 0.5


def test_the_end_gauge_with_second_order_terms():
    """Check 2.3: 34 nm; u(θ) = 0.41 and u(αs) = 1.2E-6 of H.1 make the two products."""
    u = np.array([rectangular(1e-6), 0.41, 1.2e-6, rectangular(0.05)])
    hessian = np.zeros((4, 4))
    hessian[0, 1] = hessian[1, 0] = hessian[2, 3] = hessian[3, 2] = -50000623
    more = math.sqrt(combined(END_GAUGE) ** 2 + second_order(hessian, u))
    assert more == pytest.approx(33.8, abs=0.5)
    again = second_order(lambda i, j: float(hessian[i, j]), u)
    assert again == pytest.approx(second_order(hessian, u), rel=1e-12)


@pytest.fixture(scope="module")
def impedance():
    data = np.array([V, [value * 1e-3 for value in MA], PHI])
    v, i, phi = data.mean(axis=1)
    z = v / i
    slopes = np.array(
        [
            [math.cos(phi) / i, -z * math.cos(phi) / i, -z * math.sin(phi)],
            [math.sin(phi) / i, -z * math.sin(phi) / i, z * math.cos(phi)],
            [1 / i, -z / i, 0.0],
        ]
    )
    return data, np.array([z * math.cos(phi), z * math.sin(phi), z]), slopes


def test_simultaneous_readings_are_correlated(impedance):
    """Check 2.4."""
    r = np.corrcoef(impedance[0])
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.3553, 0.8576, -0.6451], abs=5e-5)
    assert impedance[0].mean(axis=1) == pytest.approx([4.9990, 19.6610e-3, 1.04446], rel=1e-5)


def test_resistance_reactance_impedance(impedance):
    """Check 2.5, with the correlations of the results."""
    data, values, slopes = impedance
    assert values == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
    covariance = slopes @ (np.cov(data) / 5) @ slopes.T
    u = np.sqrt(np.diag(covariance))
    assert u == pytest.approx([0.071, 0.296, 0.236], abs=0.001)
    r = covariance / np.outer(u, u)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.001)


def test_dropping_the_covariance_gives_other_numbers(impedance):
    """Check 2.6: code that ignores covariance fails 2.5 by these."""
    data, _, slopes = impedance
    bare = np.diag(np.diag(np.cov(data) / 5))
    u = [propagated(slope, bare) for slope in slopes]
    assert u == pytest.approx([0.195, 0.201, 0.204], abs=0.001)


@pytest.mark.parametrize("largest, half", [(1.0, 3.8794067), (10.0, 17.0158)])
def test_rectangular_parts_by_monte_carlo(largest, half):
    """Checks 2.11 and 2.12: a Gaussian rule would say 3.92 and 19.89."""
    rng = np.random.default_rng(8)
    total = sum(rectangular_draws(rng, u, 1_000_000) for u in (1.0, 1.0, 1.0, largest))
    low, high = shortest_interval(total, 0.95)
    assert (high - low) / 2 == pytest.approx(half, abs=0.02 if largest == 1 else 0.05)
    gauss = 1.95996 * math.sqrt(3 + largest**2)
    assert abs(gauss - half) > 0.02


def test_too_few_draws_are_refused():
    with pytest.raises(ValueError, match="too few"):
        shortest_interval(np.zeros(3), 0.999)


PARTS = (
    BudgetPart(name="reference", u=0.005, of="value"),
    BudgetPart(name="fit", u=3000.0, of="zero", freedom=9),
    BudgetPart(name="noise", u=4000.0, of="zero", freedom=40, averages=True),
)


def test_scale_errors_never_average_out_over_samples():
    budget = Budget(channel="p1", unit="Pa", parts=PARTS)
    one, many = (budget.standard_u(4e6, samples) for samples in (1, 1_000_000))
    assert one == pytest.approx(math.sqrt(20000**2 + 3000**2 + 4000**2))
    assert many == pytest.approx(math.sqrt(20000**2 + 3000**2), rel=1e-6)


def test_u_grows_with_the_value_and_few_readings_widen_k():
    few = Budget(
        channel="p1", unit="Pa", parts=(BudgetPart(name="fit", u=10.0, of="zero", freedom=3),)
    )
    assert few.k(1.0) == pytest.approx(coverage_factor(0.9545, 3))
    assert few.expanded_u(1.0) > 30
    budget = Budget(channel="p1", unit="Pa", parts=PARTS)
    assert budget.k(4e6) == pytest.approx(2.0, abs=0.01)
    assert budget.expanded_u(8e6) > 1.9 * budget.expanded_u(4e6)
    assert budget.freedom(0.0) < budget.freedom(4e6)
    assert expanded_share(PARTS, "value") == pytest.approx(0.01, rel=1e-4)
    assert expanded_share((), "zero") == 0.0


def test_the_table_states_the_lag_apart():
    said = Budget(channel="p1", unit="Pa", parts=PARTS, step_si=190.7, lag_s=0.002).text(4e6)
    assert "resolution" in said
    assert "Apart from U: the line lags by 2 ms" in said
    bare = Budget(channel="p1", unit="Pa", parts=PARTS)
    lagging = Budget(channel="p1", unit="Pa", parts=PARTS, lag_s=0.002)
    assert bare.expanded_u(4e6) == lagging.expanded_u(4e6)
