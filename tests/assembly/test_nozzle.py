"""The ideal nozzle against tables, a file of forty-digit values, and textbook examples."""

import csv
from math import pi, radians
from pathlib import Path

import pytest

from daq.assembly import nozzle

FILE = Path(__file__).parents[1] / "data" / "nozzle_ideal.csv"
LINES = FILE.read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in LINES if not line.startswith("#")))
R = 8.31446261815324


def same_digits(value, printed):
    """Agree with every printed digit."""
    digits = printed.lstrip("0.").replace(".", "")
    return f"{value:.{len(digits)}g}" == f"{float(printed):.{len(digits)}g}"


@pytest.mark.parametrize(
    "mach, pressure, density, temperature, area",
    [
        (0.5, ".8430", ".8852", ".9524", "1.3398"),
        (1, ".5283", ".6339", ".8333", "1"),
        (2, ".1278", ".2300", ".5556", "1.6875"),
        (3, ".02722", ".07623", ".3571", "4.2346"),
        (5, ".001890", ".01134", ".1667", "25.000"),
    ],
)
def test_isentropic_tables(mach, pressure, density, temperature, area):
    """Check 5.1 (γ 1.4)."""
    assert same_digits(nozzle.pressure_ratio(1.4, mach), pressure)
    assert same_digits(nozzle.density_ratio(1.4, mach), density)
    assert same_digits(nozzle.temperature_ratio(1.4, mach), temperature)
    assert same_digits(nozzle.area_ratio(1.4, mach), area)


@pytest.mark.parametrize(
    "mach, pressure, area", [(2, 0.1328103, 1.883712), (3, 0.02125585, 6.735406)]
)
def test_other_gamma(mach, pressure, area):
    """Check 5.2 (γ 1.2)."""
    assert nozzle.pressure_ratio(1.2, mach) == pytest.approx(pressure, rel=1e-6)
    assert nozzle.area_ratio(1.2, mach) == pytest.approx(area, rel=1e-6)


@pytest.mark.parametrize(
    "gamma, area, sub, sup",
    [
        (1.4, 2, 0.305903834, 2.19719812),
        (1.4, 4, 0.146548214, 2.94017917),
        (1.2, 4, 0.149843325, 2.61944678),
        (1.2, 10, 0.0593171841, 3.27834079),
    ],
)
def test_mach_from_area(gamma, area, sub, sup):
    """Check 5.3."""
    assert nozzle.mach_at(gamma, area, supersonic=False) == pytest.approx(sub, rel=1e-8)
    assert nozzle.mach_at(gamma, area, supersonic=True) == pytest.approx(sup, rel=1e-8)


def test_areas_without_a_root_are_refused():
    with pytest.raises(ValueError, match="at least 1"):
        nozzle.mach_at(1.2, 0.99, supersonic=True)
    with pytest.raises(ValueError, match="beyond Mach"):
        nozzle.mach_at(1.4, 1e30, supersonic=True)


GAMMAS = (1.1, 1.15, 1.2, 1.25, 1.3, 1.4)


@pytest.mark.parametrize(
    "gamma, critical, choking",
    [
        *zip(
            GAMMAS,
            (0.584679289, 0.57438326, 0.56447393, 0.554928957, 0.545727734, 0.528281788),
            (0.628360248, 0.63863825, 0.648531171, 0.658064792, 0.667262351, 0.684731456),
            strict=True,
        )
    ],
)
def test_the_throat(gamma, critical, choking):
    """Checks 5.4 and 5.5."""
    assert nozzle.critical_ratio(gamma) == pytest.approx(critical, rel=1e-8)
    assert nozzle.choking(gamma) == pytest.approx(choking, rel=1e-8)


def test_choked_air():
    """Check 5.6: ṁ √T0/(p0 A*) = Γ/√R."""
    c_star = nozzle.characteristic_velocity(1.4, 287, 1.0)
    assert nozzle.mass_flow(1.0, 1.0, c_star) == pytest.approx(0.0404184, rel=1e-6)


def test_a_textbook_nozzle():
    """Check 5.7 (exact flow 1.8675 kg/s)."""
    c_star = nozzle.characteristic_velocity(1.4, 286, 2273.15)
    assert nozzle.mass_flow(7e6, pi / 4 * 0.02**2, c_star) == pytest.approx(1.8675, rel=1e-3)
    mach = nozzle.mach_at(1.4, 25, supersonic=True)
    assert mach == pytest.approx(5.0, rel=1e-3)
    assert 7e6 * nozzle.pressure_ratio(1.4, mach) == pytest.approx(13230, rel=1e-3)
    assert 2273.15 * nozzle.temperature_ratio(1.4, mach) == pytest.approx(378.9, rel=1e-3)


@pytest.mark.parametrize(
    "gamma, molar, temperature, c_star",
    [(1.2, 25e-3, 3000, 1540.199), (1.25, 23.5e-3, 1600, 1143.338)],
)
def test_characteristic_velocity(gamma, molar, temperature, c_star):
    """Check 5.8."""
    got = nozzle.characteristic_velocity(gamma, R / molar, temperature)
    assert got == pytest.approx(c_star, rel=1e-6)


@pytest.mark.parametrize(
    "gamma, area, ambient, cf",
    [
        (1.2, 4, 0, 1.60717465),
        (1.2, 4, 1 / 20, 1.40717465),
        (1.2, 4, 1 / 50, 1.52717465),
        (1.25, 6, 1 / 40, 1.50253142),
        (1.3, 8, 1 / 70, 1.55249398),
    ],
)
def test_thrust_coefficient(gamma, area, ambient, cf):
    """Check 5.9."""
    assert nozzle.thrust_coefficient(gamma, area, ambient) == pytest.approx(cf, rel=1e-8)


@pytest.mark.parametrize(
    "ratio, cf, area",
    [(10, 1.268288, 2.259317), (20, 1.408441, 3.625056), (50, 1.554851, 7.046625), (100, 1.644521, 11.87104)],
)  # fmt: skip
def test_optimum_expansion(ratio, cf, area):
    """Check 5.10 (γ 1.2)."""
    assert nozzle.optimum_expansion(1.2, ratio) == pytest.approx((area, cf), rel=1e-6)


@pytest.mark.parametrize(
    "gamma, throat, endless",
    [(1.2, 1.24184265, 2.24657788), (1.3, 1.25517379, 1.96436717), (1.4, 1.26787629, 1.81162915)],
)
def test_a_throat_alone_and_an_endless_nozzle(gamma, throat, endless):
    """Check 5.11; the limit is approached from below."""
    assert nozzle.thrust_coefficient(gamma, 1.0) == pytest.approx(throat, rel=1e-8)
    far = nozzle.thrust_coefficient(gamma, nozzle.area_ratio(gamma, 59.0))
    assert 0.98 * endless < far < endless


@pytest.mark.parametrize("degrees, factor", [(12, 0.9890738), (15, 0.9829629), (18, 0.9755283)])
def test_divergence(degrees, factor):
    """Check 5.12."""
    assert nozzle.divergence(radians(degrees)) == pytest.approx(factor, rel=1e-6)


def test_the_file_of_ideal_nozzles_is_whole():
    assert len(ROWS) == 36


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['gamma']}-{row['eps']}")
def test_the_file_of_ideal_nozzles(row):
    """Checks section 5, nozzle_ideal.csv, rel 1e-9."""
    gamma, eps = float(row["gamma"]), float(row["eps"])
    sub, sup = (nozzle.mach_at(gamma, eps, supersonic=fast) for fast in (False, True))
    assert sub == pytest.approx(float(row["mach_sub"]), rel=1e-9)
    assert sup == pytest.approx(float(row["mach_sup"]), rel=1e-9)
    exit_ratio = nozzle.exit_pressure_ratio(gamma, eps)
    assert exit_ratio == pytest.approx(float(row["pe_over_pc"]), rel=1e-9)
    assert nozzle.thrust_coefficient(gamma, eps) == pytest.approx(float(row["cf_vac"]), rel=1e-9)
