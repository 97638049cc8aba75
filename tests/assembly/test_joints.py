"""Screws and holes against values computed elsewhere (checks 4.10 to 4.15)."""

from math import pi

import pytest

from daq.assembly import joints
from daq.assembly.joints import GRADE_ULTIMATE_PA, SCREWS, Plate, pressure_of

CASE_A = Plate(6e-3, 6.4e-3, 3e-3, 12e-3, 260e6, 800e6)
K1_FULL = 2.5


def mpa(force):
    return pressure_of(force, 8, 70e-3) / 1e6


def test_case_a_joint():
    """Check 4.10."""
    shear = joints.shear_strength("M6", "8.8", threads_in_plane=True)
    shank = joints.shear_strength("M6", "8.8", threads_in_plane=False)
    assert mpa(shear) == pytest.approx(20.05586, rel=1e-6)
    assert mpa(shank) == pytest.approx(28.21225, rel=1e-6)
    assert mpa(joints.bearing_strength(CASE_A, K1_FULL)) == pytest.approx(15.20092, rel=1e-6)
    tear = joints.tear_out_strength(12e-3, 6.4e-3, 3e-3, 260e6)
    assert mpa(tear) == pytest.approx(16.47596, rel=1e-6)


def test_tear_out_runs_to_the_edge_of_the_hole():
    """Check 4.10: to the centre it would be 22.47 MPa, unconservative by 36 %."""
    to_edge = joints.tear_out_strength(12e-3, 6.4e-3, 3e-3, 260e6)
    to_centre = joints.tear_out_strength(12e-3, 0.0, 3e-3, 260e6)
    assert mpa(to_centre) == pytest.approx(22.47, abs=0.005)
    assert to_centre / to_edge == pytest.approx(1.364, abs=0.001)
    assert joints.tear_out_strength(3e-3, 6.4e-3, 3e-3, 260e6) == 0.0


def test_closure_thrust():
    """Check 4.11."""
    assert joints.closure_thrust(10e6, 70e-3) == pytest.approx(38484.51, rel=1e-7)


@pytest.mark.parametrize(
    "thread, grade, in_plane, kn",
    [
        ("M20", "8.8", True, 94.08),
        ("M20", "8.8", False, 120.637),
        ("M20", "10.9", True, 98.0),
        ("M6", "8.8", True, 7.7184),
        ("M8", "8.8", True, 14.0544),
    ],
)
def test_bolt_shear(thread, grade, in_plane, kn):
    """Check 4.12, which divides by γM2 = 1.25."""
    force = joints.shear_strength(thread, grade, threads_in_plane=in_plane)
    assert force / 1.25 / 1e3 == pytest.approx(kn, rel=1e-4)


def test_plate_bearing():
    """Check 4.13, which divides by γM2 = 1.25."""
    k1 = joints.k1_edge(30, 22)
    assert k1 == pytest.approx(2.11818, rel=1e-5)
    plate = Plate(20e-3, 22e-3, 10e-3, 40e-3, 430e6, 800e6)
    assert joints.bearing_strength(plate, k1) / 1.25 == pytest.approx(88321.8, rel=1e-4)


def test_pitch_lowers_bearing_only_when_it_is_tight():
    assert joints.k1_pitch(28.7, 6.4) == 2.5
    assert joints.k1_pitch(15.0, 6.4) == pytest.approx(1.4 * 15 / 6.4 - 1.7)


PITCH_MM = {"M3": 0.5, "M4": 0.7, "M5": 0.8, "M6": 1.0, "M8": 1.25, "M10": 1.5, "M12": 1.75, "M20": 2.5}  # fmt: skip


@pytest.mark.parametrize("thread", SCREWS)
def test_stress_areas_agree_with_the_thread_geometry(thread):
    """Check 4.14: π/4 ((d2+d3)/2)², printed to three figures."""
    screw, pitch = SCREWS[thread], PITCH_MM[thread]
    d = screw.diameter * 1e3
    mean = ((d - 0.6495 * pitch) + (d - 1.2269 * pitch)) / 2
    area = screw.stress_area * 1e6
    assert area == pytest.approx(pi / 4 * mean**2, rel=3e-3)


@pytest.mark.parametrize(
    "thread, grade, newton",
    [
        ("M5", "8.8", 11350),
        ("M6", "8.8", 16100),
        ("M8", "8.8", 29200),
        ("M10", "8.8", 46400),
    ],
)
def test_ultimate_loads_are_those_of_the_screw_table(thread, grade, newton):
    """Check 4.15, rounded there to three figures."""
    load = SCREWS[thread].stress_area * GRADE_ULTIMATE_PA[grade]
    assert load == pytest.approx(newton, rel=5e-3)


def test_travel_adds_its_parts_and_grows_with_thrust():
    def travel(thrust):
        return joints.closure_travel(thrust, SCREWS["M6"], 6.4e-3, 3e-3, 68.9e9, 1e-4, 0.4)

    none, some = travel(0.0), travel(2000.0)
    assert none.slack == pytest.approx(0.4e-3)
    assert (none.bearing, none.bending) == (0, 0)
    assert none.stretch == pytest.approx(4e-5)
    assert some.total == pytest.approx(some.slack + some.bearing + some.bending + some.stretch)
    assert some.total > none.total
