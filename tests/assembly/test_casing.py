"""Wall stresses and burst pressures against values computed elsewhere (checks section 4)."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.assembly import casing as tube

PSI = 6894.757293168
CASE_A = 76 / 70


@pytest.mark.parametrize(
    "at, radial, hoop, axial",
    [
        (1.0, -100, 500 / 3, 100 / 3),
        (1.5, -25.925925925926, 92.592592592593, 100 / 3),
        (2.0, 0, 200 / 3, 100 / 3),
    ],
)
def test_lame_gives_the_published_stresses(at, radial, hoop, axial):
    """Check 4.3."""
    assert tube.lame(1, 2, 100, at) == pytest.approx((radial, hoop, axial), rel=1e-9, abs=1e-9)


def test_the_wall_stress_rule_of_the_cylinder_code_is_lame_with_maximum_strain():
    """Checks 4.4 and 4.5."""
    stress = tube.lame(6.25, 7.25, 5000, 6.25)
    assert stress == pytest.approx((-5000, 33935.185, 14467.593), rel=1e-7)
    assert tube.maximum_strain(stress) == pytest.approx(31094.907, rel=1e-6)


@given(st.floats(1, 100), st.floats(1.01, 3), st.floats(0.1, 1e3))
def test_that_identity_holds_for_any_tube(inside, k, pressure):
    """Check 4.5."""
    outside = inside * k
    code = pressure * (1.3 * outside**2 + 0.4 * inside**2) / (outside**2 - inside**2)
    lame = tube.maximum_strain(tube.lame(inside, outside, pressure, inside))
    assert lame == pytest.approx(code, rel=1e-9)


def test_case_a_stresses():
    """Check 4.7."""
    bore = tube.lame(70, 76, 10, 70)
    outside = tube.lame(70, 76, 10, 76)
    assert bore.hoop == pytest.approx(121.8721, rel=1e-6)
    assert outside.hoop == pytest.approx(111.8721, rel=1e-6)
    assert bore.axial == pytest.approx(55.9361, rel=1e-6)
    assert bore.von_mises == pytest.approx(114.2046, rel=1e-6)
    assert 260 / tube.burst_barlow(CASE_A, 260) * 10 == pytest.approx(126.6667, rel=1e-6)
    assert 260 / tube.burst_mean_diameter(CASE_A, 260) * 10 == pytest.approx(121.6667, rel=1e-6)


def test_case_a_pressures():
    """Check 4.8."""
    assert tube.first_yield_von_mises(CASE_A, 240) == pytest.approx(21.01491, rel=1e-6)
    assert tube.first_yield_tresca(CASE_A, 240) == pytest.approx(18.19945, rel=1e-6)
    assert tube.full_plastic(CASE_A, 240) == pytest.approx(22.79049, rel=1e-6)
    assert tube.burst_faupel(CASE_A, 240, 260) == pytest.approx(24.54360, rel=1e-6)
    assert tube.burst_mean_diameter(CASE_A, 260) == pytest.approx(21.36986, rel=1e-6)
    assert tube.burst_barlow(CASE_A, 260) == pytest.approx(20.52632, rel=1e-6)


def test_the_lowest_formula_rates():
    """Check 4.8: never on Faupel alone."""
    assert tube.hoop_yield(CASE_A, 240) == (pytest.approx(18.19945, rel=1e-6), "Tresca at the bore")
    assert tube.hoop_burst(CASE_A, 240, 260) == (pytest.approx(20.52632, rel=1e-6), "Barlow")


@given(st.floats(1.001, 4))
def test_mean_diameter_burst_has_two_forms(k):
    """Check 4.9: 2 fu t/dm with dm = (do + di)/2 and t = (do - di)/2."""
    wall, mean = (k - 1) / 2, (k + 1) / 2
    assert tube.burst_mean_diameter(k, 260) == pytest.approx(2 * 260 * wall / mean, rel=1e-12)


def test_a_circular_plate_gives_the_published_stresses():
    """Check 4.17."""
    assert tube.clamped_plate_stress(10, 35, 10) == pytest.approx(91.875, rel=1e-5)
    assert tube.supported_plate_stress(10, 35, 10, 0.33) == pytest.approx(152.9719, rel=1e-5)
    assert tube.closure_burst(35, 10, 152.9719, 0.33) == pytest.approx(10, rel=1e-5)


def test_net_section_counts_the_holes():
    """Check 4.10: 36.10447 MPa."""
    assert tube.net_section(70, 3, 70, 8, 6.4, 260) == pytest.approx(36.10447, rel=1e-6)
    assert tube.bore_area(70) == pytest.approx(3848.451, rel=1e-6)


def test_radial_growth_is_the_thin_tube_formula():
    """Practice 5.15; for the closed thin tube strain = (σh - ν σa)/E."""
    growth = tube.radial_growth(0.0365, 0.003, 5e6, 68.9e9, 0.33)
    hoop, axial = 5e6 * 0.0365 / 0.003, 5e6 * 0.0365 / 0.006
    assert growth == pytest.approx(0.0365 * (hoop - 0.33 * axial) / 68.9e9, rel=1e-12)


def test_area_is_in_square_metres():
    assert tube.bore_area(2.0) == pytest.approx(pi)
