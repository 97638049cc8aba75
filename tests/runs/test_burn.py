"""Reduction of a burn: checks 6.1 to 6.9, practice 7.2, 7.3, 7.5."""

import numpy as np
import pytest

from daq.runs.burn import Context, reduce_burn
from daq.runs.figures import DEFINITIONS, Figure, decimals, shown
from daq.runs.impulse import Errors, area, integrate
from daq.runs.tangent import Line, bisector, crosses, web_burn_out
from daq.runs.trace import Trace
from daq.units import G0_M_S2


def thrust_of(knots, *, rate=1_000, end=6.0, start=-2.0, scale=0.0, zero=0.0, keep=None):
    """Piecewise linear thrust through (time, newton) knots, zero outside."""
    t = np.arange(round((end - start) * rate) + 1) / rate + start
    x, y = zip(*knots, strict=True)
    value = np.interp(t, x, y)
    if keep is not None:
        mask = keep(t)
        t, value = t[mask], value[mask]
    return Trace(
        channel="f1", unit="n", t_s=t, value=value, step_s=1 / rate, u_scale_rel=scale, u_zero=zero
    )


def pressure_of(thrust, pa_per_n=1e4, **changes):
    values = {
        "channel": "p1",
        "unit": "pa",
        "t_s": thrust.t_s,
        "value": thrust.value * pa_per_n,
        "step_s": thrust.step_s,
        "u_scale_rel": thrust.u_scale_rel,
        "u_zero": thrust.u_zero * pa_per_n,
    }
    return Trace(**values | changes)


SHORT = [(0.0, 0.0), (0.1, 500.0), (1.9, 500.0), (2.0, 0.0)]
LONG = [(0.0, 0.0), (0.1, 500.0), (1.9, 500.0), (2.1, 0.0)]
T0 = Context(t0_s=-0.2)


def values(burn):
    return {name: figure.value for name, figure in burn.figures.items()}


def test_specific_impulse_by_its_definition():
    """Checks 6.1 and 6.2."""
    assert G0_M_S2 == 9.80665
    for knots, kg, expected in (
        (SHORT, 0.500, 193.74608),
        ([(0, 0), (0.1, 500), (2.0, 500), (2.1, 0)], 0.450, 226.60360),
    ):
        burn = reduce_burn([thrust_of(knots)], [], Context(t0_s=-0.2, propellant_kg=kg))
        assert burn.figures["specific_impulse_s"].value == pytest.approx(expected, rel=1e-7)


def test_the_area_of_a_trapezoid_is_exact():
    """Check 6.3."""
    burn = reduce_burn([thrust_of(SHORT)], [], T0)
    assert values(burn)["total_impulse_n_s"] == pytest.approx(950.0, rel=1e-12)


def test_the_action_figures_of_a_trapezoid_are_the_closed_form():
    """Checks 6.4 and 6.5, 10 % rule."""
    found = values(reduce_burn([thrust_of(LONG)], [], T0))
    assert found["total_impulse_n_s"] == pytest.approx(975.0, rel=1e-9)
    assert found["action_time_s"] == pytest.approx(2.070, rel=1e-9)
    assert found["action_impulse_n_s"] == pytest.approx(974.25, rel=1e-9)
    assert found["average_thrust_n"] == pytest.approx(470.652174, rel=1e-9)
    assert found["peak_thrust_n"] == 500.0
    assert found["ignition_delay_s"] == pytest.approx(0.21, rel=1e-9)


@pytest.mark.parametrize(
    ("share", "seconds", "impulse"),
    [
        (0.05, 2.085, 974.8125),
        (0.10, 2.070, 974.25),
        (0.50, 1.950, 956.25),
        (0.75, 1.875, 932.8125),
    ],
)
def test_crossings_and_areas_at_other_levels(share, seconds, impulse):
    """Check 6.4."""
    from daq.runs.crossing import fall, rise

    trace = thrust_of(LONG)
    begin, end = (step(trace, share * 500.0, 0.0).t_s for step in (rise, fall))
    assert end - begin == pytest.approx(seconds, rel=1e-9)
    found = area(trace, begin, end, Errors(0.0, 0.0, 500.0))
    assert found.value == pytest.approx(impulse, rel=1e-9)


@pytest.mark.parametrize(("rate", "error"), [(80, -3.21e-5), (100, -2.06e-5), (1_000, -2.1e-7)])
def test_the_trapezoid_rule_has_its_known_error_on_a_half_sine(rate, error):
    """Check 6.6: relative error -pi^2/12n^2; the stated sampling U covers it."""
    t = np.arange(2 * rate + 1) / rate
    y = 500.0 * np.sin(np.pi * t / 2.0)
    exact = 2_000.0 / np.pi
    found = integrate(t, y) / exact - 1.0
    assert found == pytest.approx(-(np.pi**2) / (12 * (2 * rate) ** 2), rel=1e-2)
    assert found == pytest.approx(error, rel=3e-2), "as printed, two or three digits"
    trace = Trace(
        channel="f1", unit="n", t_s=t, value=y, step_s=1 / rate, u_scale_rel=0.0, u_zero=0.0
    )
    found = area(trace, 0.0, 2.0, Errors(0.0, 0.0, 500.0))
    assert abs(found.value - exact) <= found.u


def exponential(rate=1_000):
    t = np.arange(10 * rate + 1) / rate - 2.0
    value = np.where((t >= 0) & (t <= 2), 500.0, 0.0)
    value = np.where(t > 2, 500.0 * np.exp(-(t - 2.0) / 0.1), value)
    return Trace(
        channel="f1", unit="n", t_s=t, value=value, step_s=1 / rate, u_scale_rel=0.0, u_zero=0.0
    )


def test_an_exponential_tail_is_counted_to_its_end():
    """Check 6.7; the step at t = 0 costs half a sample of area at 1 kHz, taken off here."""
    trace = exponential()
    burn = reduce_burn([trace], [], T0)
    half_step = 500.0 * 0.0005
    assert values(burn)["total_impulse_n_s"] - half_step == pytest.approx(1050.0, rel=1e-6)
    from daq.runs.crossing import fall

    for share, when in ((0.10, 2.2302585), (0.05, 2.2995732)):
        assert fall(trace, share * 500.0, 0.0).t_s == pytest.approx(when, rel=1e-6)
    to_10_percent = area(trace, 0.0, 2.2302585, Errors(0.0, 0.0, 500.0)).value
    assert to_10_percent == pytest.approx(1045.0, rel=1e-6)


def tangent_case(rate=20_000):
    t = np.arange(round(4.0 * rate) + 1) / rate - 0.5
    tau = t - 2.0
    value = np.where(tau < 0, 5.0, 5.0 - 50.0 * tau**2)
    value = np.where(tau > 0.2, 3.0 - 20.0 * (tau - 0.2), value)
    value = np.where((t < 0) | (value < 0), 0.0, value) * 1e6
    return Trace(
        channel="p1", unit="pa", t_s=t, value=value, step_s=1 / rate, u_scale_rel=0.0, u_zero=0.0
    )


@pytest.mark.parametrize(
    ("scale_s", "scale_pa", "when"),
    [
        (1.0, 1e6, 2.036530),
        (2.35, 5e6, 2.049085),
        (1.0, 5e6, 2.065995),
        (1.0, 20e6, 2.091357),
    ],
)
def test_the_bisector_depends_on_the_scale_as_computed(scale_s, scale_pa, when):
    """Check 6.8: the construction depends on the axis scale, so the scale is part of the id."""
    trace = tangent_case()
    forward, aft = Line(1.5, 5e6, 0.0), Line(2.3, 1e6, -20e6)
    line = bisector(forward, aft, scale_s, scale_pa)
    assert line.t0 == pytest.approx(2.1)
    inside = (trace.t_s > 1.8) & (trace.t_s < 2.3)
    assert crosses(trace.t_s[inside], trace.value[inside], line) == pytest.approx(when, abs=1e-6)


def test_web_burn_out_finds_its_own_tangents():
    """Checks 6.8 and 6.9: action time 2.325 s, scale = (2.325 s, 5 MPa)."""
    trace = tangent_case()
    burn = reduce_burn([], [trace], Context(t0_s=-0.01))
    assert burn.action_end_s == pytest.approx(2.325, abs=1e-9)
    m = 20.0 * 2.325 / 5.0
    slope = m / (np.sqrt(1 + m * m) - 1.0) * 5.0 / 2.325
    tau = np.roots([50.0, slope, -0.1 * slope]).max()  # 50 tau^2 = slope (0.1 - tau)
    assert web_burn_out(trace, 0.0, 2.325, 5e6, 0.0).t_s == pytest.approx(2.0 + tau, abs=1e-6)
    assert values(burn)["burn_time_s"] == pytest.approx(2.0 + tau, abs=1e-4)


def test_web_burn_out_hardly_moves_under_noise():
    clean = tangent_case(rate=4_000)
    rng = np.random.default_rng(7)
    quiet = reduce_burn([], [clean], Context(t0_s=-0.01))
    times = []
    for _ in range(20):
        noisy = clean.less(-rng.normal(0, 0.02e6, len(clean.t_s)))
        figure = reduce_burn([], [noisy], Context(t0_s=-0.01)).figures["burn_time_s"]
        times.append(figure.value)
        assert abs(figure.value - values(quiet)["burn_time_s"]) < max(0.015, figure.u)
    assert np.std(times) < 0.006


def test_every_figure_names_a_definition_and_carries_its_uncertainty():
    """Practice 7.2: the id is stored with the value; thrust-made times carry an id of their own."""
    both = reduce_burn([thrust_of(LONG)], [pressure_of(thrust_of(LONG))], T0)
    alone = reduce_burn([thrust_of(LONG)], [], T0)
    assert {f.definition for f in both.figures.values()} <= set(DEFINITIONS)
    assert both.figures["action_time_s"].definition == "AT1"
    assert alone.figures["action_time_s"].definition == "AT1F"
    for figure in both.figures.values():
        assert figure.value is None or figure.u is not None
    with pytest.raises(ValueError, match="definition"):
        Figure(value=1.0, unit="s", u=0.1, definition="XX9")
    with pytest.raises(ValueError, match="U"):
        Figure(value=1.0, unit="s", u=None, definition="IT1")


def test_the_scale_of_the_calibration_never_averages_out():
    """Practice 7.5: impulse U >= calibration scale U in any test."""
    for rate in (80, 1_000, 20_000):
        figure = reduce_burn([thrust_of(LONG, rate=rate, scale=0.01)], [], T0).figures[
            "total_impulse_n_s"
        ]
        assert figure.u >= 0.01 * figure.value * (1 - 1e-12)
        assert figure.u == pytest.approx(9.75, rel=0.05)


def test_peak_of_trip_keeps_the_uncertainty_of_the_pressure():
    trace = pressure_of(thrust_of(LONG, scale=0.02))
    burn = reduce_burn([], [trace], Context(t0_s=-0.2, trip_pa=10e6))
    margin = burn.figures["margin_used_percent"]
    assert margin.value == pytest.approx(50.0)
    assert margin.u == pytest.approx(1.0, rel=0.01)
    assert burn.figures["total_impulse_n_s"].value is None
    assert "thrust" in burn.figures["total_impulse_n_s"].note


def test_no_rise_gives_no_figures_and_the_reason():
    flat = thrust_of([(0.0, 0.0), (1.0, 0.0)])
    noisy = flat.less(np.random.default_rng(1).normal(0, 1.0, len(flat.t_s)))
    burn = reduce_burn(
        [noisy], [pressure_of(noisy)], Context(t0_s=0.0, expected_thrust_n=500.0, expected_pa=5e6)
    )
    assert not burn.lit
    assert all(f.value is None and f.note == "no burn was seen" for f in burn.figures.values())
    assert not reduce_burn([noisy], [], Context(t0_s=0.0)).lit
    assert not reduce_burn([], []).lit


def test_puff_test_and_check_load_are_not_the_burn():
    """The record also holds what was done before T-0 and after the wait."""
    knots = [
        (-8, 0),
        (-7.9, 200),
        (-6, 200),
        (-5.9, 0),
        *LONG,
        (9, 0),
        (9.1, 700),
        (11, 700),
        (11.1, 0),
    ]
    trace = thrust_of(knots, start=-10.0, end=13.0)
    found = values(reduce_burn([trace], [], T0))
    assert found["total_impulse_n_s"] == pytest.approx(975.0, rel=1e-9)
    no_t0 = reduce_burn([trace], [], Context(lit_s=0.02))
    assert no_t0.figures["total_impulse_n_s"].value == pytest.approx(975.0, rel=1e-9)
    assert "not sensed" in no_t0.figures["ignition_delay_s"].note


def test_chuffs_within_a_second_belong_to_the_burn():
    knots = [
        (0, 0),
        (0.05, 300),
        (0.2, 300),
        (0.25, 0),
        (0.9, 0),
        *((t + 0.9, f) for t, f in LONG[1:]),
    ]
    found = values(reduce_burn([thrust_of(knots)], [], T0))
    expected = 300 * 0.2 + 975.0
    assert found["total_impulse_n_s"] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("gap", [(0.5, 0.9), (0.02, 0.4), (1.8, 2.05), (1.0, 1.01)])
def test_a_gap_bounds_the_impulse_and_widens_it(gap):
    """Practice 9 row 1: nothing is filled in silence; the truth lies inside."""
    keep = lambda t: (t <= gap[0]) | (t >= gap[1])  # noqa: E731
    burn = reduce_burn([thrust_of(LONG, keep=keep)], [], T0)
    figure = burn.figures["total_impulse_n_s"]
    assert figure.bound == "between"
    assert "missing" in figure.note
    assert abs(figure.value - 975.0) <= figure.u
    assert len(burn.gaps) == 1
    whole = reduce_burn([thrust_of(LONG)], [], T0).figures["total_impulse_n_s"]
    assert figure.u > whole.u
    assert burn.figures["peak_thrust_n"].bound == "lower"


def test_a_record_cut_off_in_the_burn_says_what_it_did_not_see():
    burn = reduce_burn([thrust_of(LONG, end=1.2)], [], T0)
    assert burn.figures["action_time_s"].value is None
    assert burn.figures["total_impulse_n_s"].bound == "lower"
    assert "samples end" in burn.figures["total_impulse_n_s"].note
    assert any("zero after" in finding for finding in burn.findings)


def test_a_saturated_load_cell_gives_lower_bounds():
    """Practice 9 row 5."""
    trace = thrust_of(LONG)
    value = np.minimum(trace.value, 400.0)
    railed = Trace(
        channel="f1",
        unit="n",
        t_s=trace.t_s,
        value=value,
        step_s=trace.step_s,
        u_scale_rel=0.01,
        u_zero=0.1,
        saturated=value >= 400.0,
    )
    burn = reduce_burn([railed], [], T0)
    assert burn.figures["peak_thrust_n"].bound == "lower"
    assert burn.figures["total_impulse_n_s"].bound == "lower"
    assert any("upper rail" in finding for finding in burn.findings)
    assert "\u2265" in shown("peak_thrust_n", 400.0, 4.0, "lower")


def test_a_plugged_pressure_line_gives_no_pressure_figure():
    """Practice 9 row 4: BLIND, and never a comforting margin."""
    force = thrust_of(LONG)
    context = Context(
        t0_s=-0.2, trip_pa=6e6, c_f=1.5, throat_m2=500.0 / (1.5 * 5e6), expected_pa=5e6
    )
    plugged = pressure_of(force, pa_per_n=1e3)
    burn = reduce_burn([force], [plugged], context)
    assert burn.figures["peak_pressure_pa"].value is None
    assert burn.figures["margin_used_percent"].value is None
    assert "BLIND" in burn.figures["margin_used_percent"].note
    assert burn.figures["action_time_s"].definition == "AT1F"
    good = reduce_burn([force], [pressure_of(force)], context)
    assert good.figures["peak_pressure_pa"].value == pytest.approx(5e6)
    weak = reduce_burn([force.less(0.5 * force.value)], [pressure_of(force)], context)
    assert any("load path" in finding for finding in weak.findings)


def test_of_two_pressure_channels_the_higher_rules_and_the_difference_is_said():
    """Practice 6.14: both stored, never averaged."""
    force = thrust_of(LONG, scale=0.005)
    one, two = pressure_of(force), pressure_of(force, pa_per_n=1.1e4, channel="p2")
    burn = reduce_burn([force], [one, two], T0)
    assert burn.figures["peak_pressure_pa"].value == pytest.approx(5.5e6)
    assert any("p2 and p1 differ" in finding for finding in burn.findings)


def test_a_small_zero_shift_is_taken_off_and_a_large_one_is_not():
    trace = thrust_of(LONG)
    drift = np.interp(trace.t_s, [0.0, 2.05], [0.0, 4.0])
    burn = reduce_burn([trace.less(-drift)], [], T0)
    figure = burn.figures["total_impulse_n_s"]
    assert figure.value == pytest.approx(975.0, abs=0.5)
    assert any("calibration is void" in finding for finding in burn.findings)
    large = reduce_burn([trace.less(-5.0 * drift)], [], T0)
    assert any("too much" in finding for finding in large.findings)
    assert large.figures["total_impulse_n_s"].u > 40.0


def test_digits_match_the_uncertainty():
    """Practice 7.5: digits printed match U."""
    assert decimals(0.034) == 3
    assert decimals(12.0) == 0
    assert shown("total_impulse_n_s", 974.25, 9.8) == "974.2 ± 9.8 N·s = 219.0 ± 2.2 lbf·s"
    assert shown("peak_pressure_pa", 4.2123e6, 0.051e6) == "4.212 ± 0.051 MPa = 610.9 ± 7.4 psi"


def test_a_slow_pressure_line_gives_its_times_to_the_thrust():
    """Practice 6.7, 6.8: pressure that rises clearly after thrust is late and blunted."""
    force = thrust_of(LONG)
    late = pressure_of(thrust_of([(t + 0.08, f) for t, f in LONG]))
    burn = reduce_burn([force], [late], T0)
    assert burn.figures["action_time_s"].definition == "AT1F"
    assert burn.figures["peak_pressure_pa"].bound == "lower"
    assert any("80 ms after the thrust" in finding for finding in burn.findings)
