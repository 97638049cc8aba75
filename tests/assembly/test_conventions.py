"""Published walls and factors, as printed in their sources (checks section 4)."""

from math import log, sqrt

import pytest

from daq.assembly import conventions as rules


def test_shell_wall_of_the_vessel_code():
    """Check 4.1; the wall gives back its own pressure when the formula is turned round."""
    wall = rules.wall_shell(356, 45, 20000, corrosion=0.125)
    assert wall == pytest.approx(0.9369, rel=1e-4)
    thin = rules.wall_shell(356, 45.125, 20000)
    assert thin == pytest.approx(0.811896, rel=1e-5)
    assert 20000 * thin / (45.125 + 0.6 * thin) == pytest.approx(356, rel=1e-12)


def test_thick_and_plastic_walls_of_the_vessel_code():
    """Check 4.2, and both by the way back: Lamé's hoop stress is S; ln k = P/S."""
    thick = rules.wall_thick(356, 45.125, 20000)
    assert thick == pytest.approx(0.8105027, rel=1e-6)
    k2 = (1 + thick / 45.125) ** 2
    assert 356 * (k2 + 1) / (k2 - 1) == pytest.approx(20000, rel=1e-9)
    plastic = rules.wall_plastic(356, 45.125, 20000)
    assert plastic == pytest.approx(0.8104163, rel=1e-6)
    assert 20000 * log(1 + plastic / 45.125) == pytest.approx(356, rel=1e-9)


def test_wall_by_greatest_strain():
    """Check 4.6: the textbook rounds it to 30 mm."""
    assert rules.wall_maximum_strain(15, 250, 340 / 5, 0.27) == pytest.approx(29.623, rel=1e-4)


@pytest.mark.parametrize(
    "major, threads, area",
    [
        (0.138, 32, 0.00909),
        (0.164, 32, 0.01401),
        (0.190, 32, 0.01999),
        (0.25, 20, 0.03182),
        (0.25, 28, 0.03637),
        (0.3125, 18, 0.05243),
    ],
)
def test_inch_stress_areas(major, threads, area):
    """Check 4.16."""
    assert rules.inch_stress_area(major, threads) == pytest.approx(area, abs=1e-5)


def test_published_factors_are_as_published():
    """Checks 4.30, 4.31, 4.32, 4.34, 4.36, 4.38."""
    values = {c.name: c.value for c in rules.CONVENTIONS}
    assert values["water test over MAWP x lowest stress ratio"] == 1.3
    assert values["water test before the 1999 addenda"] == 1.5
    assert values["gas test over MAWP x lowest stress ratio"] == 1.1
    assert values["burst test over MAWP"] == 4
    assert values["solid motor case, crewed payload, burst"] == 1.25
    assert values["solid motor case, uncrewed payload, burst"] == 1.15
    assert values["motor case acceptance proof"] == 1.05
    assert values["ground system part under no code, design burst over MAWP"] == 4
    assert rules.water_test(5.26e6, 1 / 0.91) == pytest.approx(7.514e6, rel=1e-3)
    assert rules.gas_test(5.26e6, 1.0) == pytest.approx(5.786e6)
    assert rules.rated_from_burst(20e6, 260, 300) == pytest.approx(20e6 / 4 * 260 / 300)
    assert all(c.source for c in rules.CONVENTIONS)
    assert len(rules.conventions_text().splitlines()) == len(rules.CONVENTIONS) + 1


def test_engine_parts_under_gas_pressure():
    """Check 4.33: the greatest of three."""
    assert rules.engine_burst_needed(4.0e6, 3.9e6, 35e3) == pytest.approx(5.85e6)
    assert rules.engine_burst_needed(4.0e6, 1.0e6, 35e3) == pytest.approx(4.6e6)
    assert rules.engine_burst_needed(0.1e6, 0.05e6, 35e3) == pytest.approx(0.135e6)


@pytest.mark.parametrize("burst, proof", [(1.25, 1.125), (1.5, 1.25), (2.0, 1.5), (4.0, 1.5)])
def test_space_vessel_proof(burst, proof):
    """Check 4.35."""
    assert rules.space_proof(burst) == proof


def test_thick_wall_is_less_than_thin_for_one_pressure():
    thin = rules.wall_shell(20, 35, 100)
    assert rules.wall_thick(20, 35, 100) < thin
    assert rules.wall_thick(20, 35, 100) == pytest.approx(35 * (sqrt(120 / 80) - 1))
