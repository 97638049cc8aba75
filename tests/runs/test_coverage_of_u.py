"""Stated uncertainties hold: noisy synthetic firings with drawn calibration errors.

Practice 7.5. Expanded uncertainty means about 95 %: the impulse must lie inside its U in 93.5 to
99.5 % of the trials. BERM_BURN_TRIALS sets their number (a bigger campaign is run by hand).
"""

import os

import numpy as np
import pytest

from daq.runs.burn import Context, reduce_burn
from daq.runs.trace import Trace

TRIALS = int(os.environ.get("BERM_BURN_TRIALS", "200"))
RATE = 1_000
U_SCALE = 0.01


def firing(rng, t):
    """A burn of drawn length, slope and tail, its exact impulse and 10 % action time."""
    peak = rng.uniform(300.0, 1_500.0)
    start, rise = rng.uniform(0.05, 0.3), rng.uniform(0.02, 0.2)
    burn, tail = rng.uniform(0.8, 3.0), rng.uniform(0.03, 0.15)
    slope = rng.uniform(-0.3, 0.0)
    knots = [start, start + rise, start + rise + burn]
    shape = np.interp(t, knots, [0.0, 1.0, 1.0 + slope])
    after = t > knots[2]
    shape[after] = (1.0 + slope) * np.exp(-(t[after] - knots[2]) / tail)
    exact = 0.5 * rise + burn * (1.0 + slope / 2.0) + (1.0 + slope) * tail
    fall = knots[2] + tail * np.log((1.0 + slope) / 0.1)
    action = fall - (start + 0.1 * rise)
    return peak * shape, peak * exact, action, peak


def trial(seed):
    rng = np.random.default_rng(seed)
    t = np.arange(-2.0, 8.0, 1.0 / RATE)
    true, impulse, action, peak = firing(rng, t)
    gain = 1.0 + rng.normal(0.0, U_SCALE / 2.0)
    offset, drift = rng.normal(0.0, 2.0), rng.normal(0.0, 0.5)
    drifted = offset + drift * np.clip(t / 3.0, 0.0, 1.0)
    measured = gain * true + drifted + rng.normal(0.0, 0.004 * peak, len(t))
    measured = np.round(measured / 0.05) * 0.05
    trace = Trace(
        channel="f1",
        unit="n",
        t_s=t,
        value=measured,
        step_s=1.0 / RATE,
        u_scale_rel=U_SCALE,
        u_zero=4.0,
    )
    figures = reduce_burn([trace], [], Context(t0_s=0.0)).figures
    found = {
        "total_impulse_n_s": impulse,
        "peak_thrust_n": peak,
        "action_time_s": action,
    }
    return {name: (figures[name].value - exact) / figures[name].u for name, exact in found.items()}


@pytest.fixture(scope="module")
def errors():
    """Errors in units of U, by figure."""
    rows = [trial(seed) for seed in range(TRIALS)]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def test_the_impulse_lies_inside_its_uncertainty_as_often_as_stated(errors):
    inside = float(np.mean(np.abs(errors["total_impulse_n_s"]) <= 1.0))
    assert 0.935 <= inside <= 0.995, f"{inside:.3f}"


def test_the_impulse_is_not_biased(errors):
    mean = float(np.mean(errors["total_impulse_n_s"]))
    assert abs(mean) < 4.0 * 0.5 / TRIALS**0.5


@pytest.mark.parametrize("name", ["peak_thrust_n", "action_time_s"])
def test_peak_and_action_time_lie_inside_their_uncertainty(errors, name):
    """At least as often as stated: peaks carry a one-sided noise term, times a whole sample."""
    assert float(np.mean(np.abs(errors[name]) <= 1.0)) >= 0.935
