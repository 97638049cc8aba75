"""The stand's own nozzle formulas against published and closed values."""

import itertools

import pytest

from simulators.gas import (
    ThrustCoefficient,
    area_ratio_of_mach,
    cf_vacuum,
    critical_ratio,
    mach_of_area_ratio,
    pressure_ratio_of_mach,
    vandenkerckhove,
)


@pytest.mark.parametrize(
    "gamma, area, subsonic, supersonic",
    [
        (1.4, 2.0, 0.305903834, 2.19719812),
        (1.4, 4.0, 0.146548214, 2.94017917),
        (1.2, 4.0, 0.149843325, 2.61944678),
        (1.2, 10.0, 0.0593171841, 3.27834079),
    ],
)
def test_mach_from_area_finds_both_roots(gamma, area, subsonic, supersonic):
    """Check 5.3."""
    assert mach_of_area_ratio(gamma, area, supersonic=False) == pytest.approx(subsonic, rel=1e-8)
    assert mach_of_area_ratio(gamma, area) == pytest.approx(supersonic, rel=1e-8)


def test_area_and_pressure_of_a_mach_number():
    """Check 5.2 (gamma 1.2, Mach 2 and 3) and 5.1 (gamma 1.4, Mach 3)."""
    assert pressure_ratio_of_mach(1.2, 2.0) == pytest.approx(0.1328103, rel=1e-6)
    assert area_ratio_of_mach(1.2, 3.0) == pytest.approx(6.735406, rel=1e-6)
    assert area_ratio_of_mach(1.4, 3.0) == pytest.approx(4.2346, abs=5e-5)


@pytest.mark.parametrize(
    "gamma, critical, vander",
    [
        (1.1, 0.584679289, 0.628360248),
        (1.2, 0.56447393, 0.648531171),
        (1.4, 0.528281788, 0.684731456),
    ],
)
def test_choking_numbers(gamma, critical, vander):
    """Checks 5.4 and 5.5."""
    assert critical_ratio(gamma) == pytest.approx(critical, rel=1e-8)
    assert vandenkerckhove(gamma) == pytest.approx(vander, rel=1e-8)


@pytest.mark.parametrize(
    "gamma, area, chamber_over_ambient, expected",
    [
        (1.2, 4.0, 20.0, 1.40717465),
        (1.2, 4.0, 50.0, 1.52717465),
        (1.25, 6.0, 40.0, 1.50253142),
        (1.3, 8.0, 70.0, 1.55249398),
    ],
)
def test_thrust_coefficient_of_the_full_flowing_nozzle(gamma, area, chamber_over_ambient, expected):
    """Check 5.9."""
    coefficient = ThrustCoefficient(gamma, area)
    assert coefficient.at(1.0 / chamber_over_ambient) == pytest.approx(expected, rel=1e-8)


def test_vacuum_coefficient():
    """Checks 5.9 and 5.11."""
    assert cf_vacuum(1.2, 4.0) == pytest.approx(1.60717465, rel=1e-8)
    assert cf_vacuum(1.2, 1.0) == pytest.approx(1.24184265, rel=1e-8)


def test_thrust_never_jumps_between_regimes_and_ends_at_zero():
    coefficient = ThrustCoefficient(1.2, 4.0)
    values = [coefficient.at(k / 20_000) for k in range(1, 20_001)]
    assert max(abs(b - a) for a, b in itertools.pairwise(values)) < 5e-4
    assert values[-1] == 0.0
    assert min(values) >= 0.0


def test_flow_is_full_below_the_critical_ratio_and_nothing_without_a_difference():
    coefficient = ThrustCoefficient(1.4, 2.0)
    critical = critical_ratio(1.4)
    assert coefficient.flow_factor(0.5 * critical) == 1.0
    assert coefficient.flow_factor(critical * (1 + 1e-9)) == pytest.approx(1.0, abs=1e-6)
    assert coefficient.flow_factor(1.0) == 0.0
