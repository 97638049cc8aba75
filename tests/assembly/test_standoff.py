"""Energy, blast, throw and distance rules (checks section 7, practice section 8)."""

from dataclasses import replace
from math import exp, log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.assembly import standoff
from daq.assembly.standoff import (
    BeyondTheTables,
    Charge,
    LocalRules,
    cross_checks,
    least_distance_m,
    overpressure_pa,
    rules_said,
    standoff_text,
)
from daq.settings_table import read_one

PSI = 6894.757293168
P1, P0, LITRE = 10.1325e6, 101325.0, 1e-3
DEMO = Charge(
    impulse_n_s=2670,
    propellant_kg=1.342,
    burst_pa=9.88e6,
    volume_m3=1.4e-3,
    gamma=1.22,
    closure_kg=0.35,
)


def integral(function, low, high, steps=4000):
    """Trapezoids in log space: the second road for the energies."""
    xs = [low * (high / low) ** (i / steps) for i in range(steps + 1)]
    ys = [function(x) for x in xs]
    return sum((ys[i] + ys[i + 1]) / 2 * (xs[i + 1] - xs[i]) for i in range(steps))


@pytest.mark.parametrize(
    "gamma, brode, isentropic", [(1.4, 25077.94, 18535.65), (1.2, 50155.88, 27147.05)]
)
def test_gas_energies(gamma, brode, isentropic):
    """Checks 7.1, 7.2: 1.4 for hot gas halves Brode. Isentropic by ∫p dV as well."""
    assert standoff.brode_j(P1, P0, LITRE, gamma) == pytest.approx(brode, rel=1e-6)
    found = standoff.isentropic_j(P1, P0, LITRE, gamma)
    assert found == pytest.approx(isentropic, rel=1e-6)
    end = LITRE * (P1 / P0) ** (1 / gamma)
    work = integral(lambda v: P1 * (LITRE / v) ** gamma, LITRE, end)
    assert found == pytest.approx(work, rel=1e-5)


def test_isothermal_and_available_energy():
    """Checks 7.1, 7.3; the isothermal work by ∫p dV, the available by taking off the air's."""
    isothermal = standoff.isothermal_j(P1, P0, LITRE)
    assert isothermal == pytest.approx(46661.89, rel=1e-6)
    end = LITRE * P1 / P0
    assert isothermal == pytest.approx(integral(lambda v: P1 * LITRE / v, LITRE, end), rel=1e-5)
    available = standoff.availability_j(P1, P0, LITRE)
    assert available == pytest.approx(36630.71, rel=1e-6)
    assert available == pytest.approx(isothermal - P0 * (end - LITRE), rel=1e-9)


def test_two_conventions_of_tnt():
    """Check 7.4."""
    assert pytest.approx(4.430126, rel=1e-6) == 18535.65 / standoff.TNT_J_KG * 1e3
    assert pytest.approx(4.344034, rel=1e-6) == 18535.65 / standoff.TNT_PCC2_J_KG * 1e3


def test_gas_test_energy_and_distance():
    """Checks 7.5, 7.6: the floor of 30 m governs every small vessel; editions differ by 26 %."""
    assert standoff.pcc2_energy_j(10.1e6, LITRE) == pytest.approx(18485.10, rel=1e-6)
    energy = standoff.pcc2_energy_j(2.0e6, 1.0)
    assert energy == pytest.approx(2871315.3, rel=1e-6)
    tnt = energy / standoff.TNT_PCC2_J_KG
    assert tnt == pytest.approx(0.672925, rel=1e-5)
    assert standoff.pcc2_scaled_m(tnt) == pytest.approx(17.526, rel=1e-4)
    assert standoff.pcc2_scaled_m(2 * tnt) == pytest.approx(22.0815, rel=1e-5)
    assert standoff.pcc2_distance_m(energy) == 30
    assert standoff.pcc2_distance_m(200e6) == pytest.approx(90.9, abs=0.1)
    assert standoff.pcc2_distance_m(200e6, later_edition=False) == pytest.approx(72.1, abs=0.1)
    assert standoff.pcc2_distance_m(140e6, later_edition=False) == pytest.approx(64.1, abs=0.1)


@pytest.mark.parametrize(
    "scaled, kpa",
    [(1, 1353.70), (2, 283.746), (5, 43.2300), (10, 14.8895), (20, 6.10205), (40, 2.37458), (100, 0.654403)],
)  # fmt: skip
def test_overpressure_of_the_published_fit(scaled, kpa):
    """Check 7.7."""
    assert overpressure_pa(scaled) == pytest.approx(kpa * 1e3, rel=1e-5)


def test_overpressure_of_the_published_example():
    """Check 7.8."""
    scaled = standoff.scaled_distance(500, 10000)
    assert scaled == pytest.approx(23.2079, rel=1e-5)
    assert overpressure_pa(scaled) == pytest.approx(5054.9639655, rel=1e-9)


def test_the_fit_jumps_upwards_where_its_pieces_meet():
    """Check 7.9: never assert that it falls across the join."""
    below, above = overpressure_pa(23.8), overpressure_pa(23.8 * (1 + 1e-12))
    assert (below, above) == (pytest.approx(4894.656, rel=1e-5), pytest.approx(4928.893, rel=1e-5))
    for outside in (0.19, 199.0):
        with pytest.raises(BeyondTheTables, match="beyond the tables"):
            overpressure_pa(outside)


@pytest.mark.parametrize(
    "k, psi",
    [(9, 11.74), (18, 3.509), (24, 2.311), (30, 1.711), (40, 1.183), (50, 0.8943), (328, 0.06554)],
)
def test_k_factors(k, psi):
    """Check 7.10."""
    assert pytest.approx(0.396697730, rel=1e-8) == standoff.FEET_PER_ROOT_POUND_M
    found = overpressure_pa(k * standoff.FEET_PER_ROOT_POUND_M)
    assert found / PSI == pytest.approx(psi, rel=1e-3)


def test_throw_bounds():
    """Checks 7.11, 7.12; second road: time of flight at 45°."""
    for speed, far in ((50, 254.929), (100, 1019.716), (200, 4078.865)):
        found = standoff.vacuum_range_m(speed)
        assert found == pytest.approx(far, rel=1e-6)
        along = speed / 2**0.5
        assert found == pytest.approx(along * 2 * along / 9.80665, rel=1e-12)
    assert standoff.speed_bound_m_s(24000, 0.2) == pytest.approx(489.898, rel=1e-6)


@pytest.mark.parametrize(
    "impulse, single, cluster",
    [(320, 10, 46), (320.1, 46, 61), (1280, 46, 61), (2560, 61, 92), (5120, 92, 153), (10240, 153, 305), (20480, 305, None)],
)  # fmt: skip
def test_launch_distances_step_up_and_round_outward(impulse, single, cluster):
    """Check 7.13: 30, 150, 200, 300, 500, 1000 ft; clusters one class up."""

    def says(motors):
        said = rules_said(replace(DEMO, impulse_n_s=impulse, motors=motors))
        return next(row.distance_m for row in said if "19 CCR" in row.source)

    assert says(1) == single
    assert says(2) == cluster


def test_explosive_siting_matches_its_printed_rows():
    """Practice 8: 0.5 lb 236 ft, 1 lb 291 ft, 10 lb 474 ft, 100 lb 658 ft (the rule's rounding is 2 ft)."""
    for pounds, feet in ((0.5, 236), (1, 291), (10, 474), (100, 658)):
        assert standoff.part420_ft(pounds) == pytest.approx(feet, abs=1.0)
    assert standoff.part420_ft(100.1) is None
    assert standoff.part420_ft(10) == pytest.approx(291.3 + 79.2 * log(10))


@given(st.floats(0.01, 99), st.floats(1, 1.5))
def test_more_propellant_never_needs_less(pounds, more):
    """Practice 8: interpolation never goes down."""
    if pounds * more <= 100:
        assert standoff.part420_ft(pounds * more) >= standoff.part420_ft(pounds)


@given(st.floats(1, 20000), st.floats(1, 1.02))
def test_more_impulse_never_needs_less(impulse, more):
    first, second = (
        least_distance_m(rules_said(replace(DEMO, impulse_n_s=i)), "public")
        for i in (impulse, impulse * more)
    )
    assert second >= first


def test_the_stricter_stands_first_and_the_maximum_wins():
    """Practice 8: lookup picks the maximum; each rule shows source and edition."""
    said = rules_said(DEMO)
    distances = [row.distance_m for row in said]
    assert distances == sorted(distances, reverse=True)
    assert least_distance_m(said, "crew") == 92
    assert least_distance_m(said, "visitors") == 153
    assert least_distance_m(said, "public") == max(distances)
    assert all(row.source for row in said)


def test_beyond_a_table_is_refused_not_extrapolated():
    said = rules_said(replace(DEMO, impulse_n_s=41000))
    assert said[0].distance_m is None
    with pytest.raises(BeyondTheTables, match="beyond the tables"):
        least_distance_m(said, "crew")
    assert "beyond the tables" in standoff_text(replace(DEMO, impulse_n_s=41000))


def test_local_rules_are_data(tmp_path):
    (tmp_path / "rules.toml").write_text(
        '[[rules]]\nname = "club"\nwho = "crew"\nsource = "club order"\nedition = "2026"\n'
        "rows = [{ impulse_n_s = 5000, distance_ft = 1000 }]\n",
        encoding="utf-8",
    )
    local = read_one(tmp_path / "rules.toml", LocalRules).rules
    said = rules_said(DEMO, local)
    assert said[0].rule == "club"
    assert said[0].distance_m == 305
    assert least_distance_m(said, "crew") == 305
    assert "club order, 2026" in standoff_text(DEMO, local)


def test_cross_checks_use_the_gas_s_own_gamma():
    """Practice 8; check 7.2."""
    seen = cross_checks(DEMO)
    assert seen.brode_j == pytest.approx(9.88e6 * 1.4e-3 / 0.22)
    assert seen.closure_throw_m == pytest.approx(seen.closure_m_s**2 / 9.80665)
    assert seen.tnt_kg == pytest.approx(seen.brode_j / 4.184e6)
    assert seen.isentropic_j < seen.brode_j
    assert "a bound, not a forecast" in standoff_text(DEMO)
    assert overpressure_pa(100.0) == pytest.approx(1e3 * exp(6.0536 - 1.4066 * log(100)))
