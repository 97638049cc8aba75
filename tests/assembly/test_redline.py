"""The worked example of the design, to every printed digit, and what may never happen to a rating."""

import json
from dataclasses import fields, is_dataclass, replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.assembly.movement import movements
from daq.assembly.rating import rate
from daq.assembly.redline import (
    DETECTS_ONLY,
    Demand,
    acts_at_pa,
    delays,
    indicated_pa,
    redline_of,
    trip,
)
from daq.assembly.sheet import (
    movement_text,
    rating_json,
    rating_text,
    redline_json,
    redline_text,
)
from daq.channels.calibration import calibrations
from daq.settings import load_settings
from daq.settings_demo import demo_settings

TODAY = date(2026, 9, 14)


@pytest.fixture(scope="module")
def stands(tmp_path_factory):
    return {
        name: load_settings(demo_settings(name, tmp_path_factory.mktemp(name), TODAY))
        for name in ("fast", "avr")
    }


@pytest.fixture(scope="module")
def fast(stands):
    return stands["fast"]


@pytest.fixture(scope="module")
def casing(fast):
    return fast.casing


class ExampleGauge:
    """The example's own U = 0.10 MPa and σ = 0.03 MPa."""

    noise_si = 0.03e6

    def expanded_u(self, si):
        return 0.10e6


def redline(settings):
    return redline_of(settings, rate(settings.casing), calibrations(settings.stand))


def example(settings, **changes):
    asked = {
        "channel": "p1",
        "rise_pa_s": 40e6,
        "rise_source": "example",
        "expected_peak_pa": 3.90e6,
        "meop_pa": 4.21e6,
        "sigma_pa": 0.03e6,
        "range_pa": 10e6,
        "line_lag_s": 2e-3,
    }
    demand = Demand(**(asked | changes))
    return trip(rate(settings.casing), demand, delays(settings.stand, 0), ExampleGauge())


def mpa(pressure):
    return f"{pressure / 1e6:.2f}"


TABLE = {
    "hoop yield": ("18.20", ".85", ".98", "15.16", 1.5, "10.11"),
    "hoop burst": ("20.53", ".85", ".98", "17.10", 2.0, "8.55"),
    "axial": ("36.10", ".85", ".98", "30.08", 2.0, "15.04"),
    "fastener shear": ("16.04", "1.0", ".95", "15.24", 2.0, "7.62"),
    "fastener bearing": ("12.16", ".91", ".95", "10.51", 2.0, "5.26"),
    "tear-out": ("13.18", ".91", ".95", "11.39", 2.0, "5.70"),
    "seal as tested": ("10.40", "1.0", ".95", "9.88", 1.5, "6.59"),
}


@pytest.mark.parametrize("name", TABLE)
def test_every_mode_of_the_worked_example(casing, name):
    """design, rated burst table; checks 4.8, 4.10, 4.20."""
    mode = next(mode for mode in rate(casing).modes if mode.name == name)
    nominal, k_t, k_n, p_i, n_i, allowed = TABLE[name]
    assert mpa(mode.nominal_pa) == nominal
    assert (mode.k_t, mode.k_n) == (pytest.approx(float(k_t)), pytest.approx(float(k_n)))
    assert mpa(mode.pressure_pa) == p_i
    assert mode.factor == n_i
    assert mpa(mode.allowed_pa) == allowed


def test_the_rating_names_its_two_modes(casing):
    """Yield is not burst; the governing mode is often another than the rated burst's."""
    rating = rate(casing)
    assert (mpa(rating.rated_burst_pa), rating.burst_mode.name) == ("9.88", "seal as tested")
    assert (mpa(rating.allowable_pa), rating.allowable_mode.name) == ("5.26", "fastener bearing")
    assert not rating.refusals
    assert any("1.88 diameters from the edge" in text for text in rating.warnings)
    first, share = rating.first_to_go()
    assert first.name == "seal as tested"
    assert share == pytest.approx(9.88 / 17.10, abs=1e-3)


@pytest.mark.parametrize(
    "stand, board_ms, shown, psi, margin",
    [("fast", 7.5, "4.78", 693, "0.24"), ("avr", 12.0, "4.60", 667, "0.06")],
)
def test_the_trip_on_both_stands(stands, stand, board_ms, shown, psi, margin):
    """design: 4.78 MPa (693 psi), clear by 0.24; 4.60 on the slower board, clear by 0.06."""
    for red in (redline(stands[stand]), example(stands[stand])):
        assert red.delays.board_s == pytest.approx(board_ms * 1e-3)
        assert mpa(red.trip_pa) == shown
        assert mpa(red.margin_pa) == margin
        assert mpa(red.needed_pa) == "4.54"
        assert not red.refusals
        assert red.allowable_pa - sum(term.pa for term in red.terms) == pytest.approx(red.trip_pa)
        assert f"{red.trip_pa / 6894.757293168:.0f}" == f"{psi}"
        assert any("39 % of the range" in text for text in red.warnings)


def test_the_slower_board_costs_what_the_sheet_says(stands):
    lost = redline(stands["fast"]).trip_pa - redline(stands["avr"]).trip_pa
    assert mpa(lost) == "0.18"


def test_the_delays_are_those_of_the_example(stands):
    fast, avr = (delays(stands[name].stand, 0) for name in ("fast", "avr"))
    assert [seconds * 1e3 for _, seconds in fast.named()] == pytest.approx(
        [0.5, 0.25, 1.25, 0.5, 5]
    )
    assert [seconds * 1e3 for _, seconds in avr.named()] == pytest.approx([0.5, 1, 5, 0.5, 5])
    assert fast.engine_s == pytest.approx(0.045)


def test_the_table_of_rises(fast):
    """design: rise, true pressure when the board acts, when only the engine acts, what it says."""
    red = redline(fast)
    rows = {int(row.rise_pa_s / 1e6): row for row in red.rises}
    assert list(rows) == [40, 120, 400, 526, 1000]
    assert [mpa(row.board_pa) for row in rows.values()][:4] == ["5.26", "6.02", "8.68", "9.88"]
    assert f"{rows[1000].board_pa / 1e6:.1f}" == "14.4"
    assert (mpa(rows[40].engine_pa), mpa(rows[120].engine_pa)) == ("6.76", "10.52")
    assert rows[400].engine_pa > red.rated_burst_pa
    assert rows[40].says == "covered by the board; engine late"
    assert rows[120].says == "board late, below rated burst; engine too late"
    assert rows[400].says.startswith("board late, below rated burst")
    assert rows[526].says == "the fastest rise the trip can outrun at all"
    assert (
        rows[1000].says
        == DETECTS_ONLY
        == "DETECTS ONLY, DOES NOT PROTECT: distance and relief device"
    )


def test_at_the_design_rise_the_board_acts_at_the_allowable(fast):
    red = example(fast)
    assert acts_at_pa(red, red.rise_pa_s, engine=False) == pytest.approx(red.allowable_pa)


def test_near_trip_begins_at_the_larger_of_two(fast):
    red = redline(fast)
    assert red.near_trip_pa == pytest.approx(max(0.9 * red.trip_pa, red.meop_pa + 4 * red.sigma_pa))


@pytest.mark.parametrize(
    "change, says",
    [
        ({"meop_pa": 4.5e6}, "trip 4.78 MPa does not clear 1.05 x MEOP 4.50 MPa + 4 x noise 0.030 MPa = 4.84 MPa: 0.07 MPa missing"),
        ({"range_pa": 5.9e6}, "trip 4.78 MPa is above 80 % of the range of p1 = 4.72 MPa"),
        ({"range_pa": 25e6}, "expected peak 3.90 MPa is under 20 % of the range of p1 = 5.00 MPa"),
        ({"meop_pa": 1.4e6}, "MEOP 1.40 MPa over trip 4.78 MPa is 0.29, expected 0.3 to 0.95"),
        ({"meop_pa": 5.0e6}, "is 1.05, expected 0.3 to 0.95: casing and motor do not fit"),
        ({"rise_pa_s": 600e6}, "no trip is left: allowable 5.26 MPa (fastener bearing) minus 5.80 MPa"),
    ],
)  # fmt: skip
def test_a_refusal_names_the_number_in_the_way(fast, change, says):
    """Practice 4.2, 5.7, 6.6."""
    red = example(fast, **change)
    assert any(says in text for text in red.refusals), red.refusals


def test_taking_the_lowest_pressure_over_its_own_factor_would_be_too_high(fast):
    """design: 9.88/1.5 - 0.48 = 6.11 MPa would leave bearing a factor under 2."""
    red = example(fast)
    wrong = red.rated_burst_pa / 1.5 - 0.48e6
    assert mpa(wrong) == "6.11"
    assert red.trip_pa < wrong


def test_casing_refusals(casing):
    """Practice 5.8, 5.9, 5.12; checks 4.20 and section 10, trap 14."""
    joint, tube = casing.joints[0], casing.tube
    short = replace(joint, edge_to_hole_centre_m=9.5e-3)
    typical = replace(tube.material, yield_pa=276e6, ultimate_pa=310e6)
    cases = {
        "1.48 diameters from the edge, at least 1.5": replace(casing, joints=(short,)),
        "360 °C is beyond the strength table": replace(casing, tube=replace(tube, hot_k=633.15)),
        "never on typical values": replace(casing, tube=replace(tube, material=typical)),
        "10 firings seen, 10 allowed": fired(casing, 10),
        "11 firings seen, the wear table ends at 10": fired(casing, 11),
        "is not wider than its M6 screw": replace(casing, joints=(replace(joint, hole_m=6e-3),)),
    }
    for says, weak in cases.items():
        assert any(says in text for text in rate(weak).refusals), says


def test_without_a_proof_test_the_higher_factors_apply(casing):
    unproven = replace(casing, history=replace(casing.history, proof_tested=False))
    assert rate(unproven).allowable_pa < rate(casing).allowable_pa
    assert any("no valid proof test" in text for text in rate(unproven).warnings)


def test_a_factor_under_one_and_a_half_shows_its_reason(casing):
    """Practice 5.2."""
    factors = replace(casing.factors, reason_below_1_5="unattended pit")
    assert any("unattended pit" in text for text in rate(replace(casing, factors=factors)).warnings)


def fired(casing, firings):
    return replace(casing, history=replace(casing.history, firings_seen=firings))


@given(st.integers(0, 20))
def test_adding_a_firing_never_raises_the_rating(casing, firings):
    before, after = rate(fired(casing, firings)), rate(fired(casing, firings + 1))
    assert after.rated_burst_pa <= before.rated_burst_pa
    assert after.allowable_pa <= before.allowable_pa


# Fields whose smaller value makes a part weaker, and fields whose larger value does.
SMALLER = {
    "tube": ("wall_m",),
    "material": ("yield_pa", "ultimate_pa"),
    "joints": ("count", "edge_to_hole_centre_m", "load_share", "screw_strength_left"),
    "closures": ("thickness_m",),
    "seals": ("tested_pa", "tested_strength_left"),
}
LARGER = {
    "tube": ("bore_m", "hot_k"),
    "joints": ("hole_m", "hot_k"),
    "closures": ("hot_k",),
    "seals": ("sealing_diameter_m",),
}


def weakened(record, part, name, factor):
    if is_dataclass(record):
        changes = {}
        for entry in fields(record):
            value = getattr(record, entry.name)
            if entry.name == part:
                inner = value[0] if isinstance(value, tuple) else value
                old = getattr(inner, name)
                new = max(int(old * factor), 3) if isinstance(old, int) else old * factor
                changed = replace(inner, **{name: new})
                changes[entry.name] = (changed,) if isinstance(value, tuple) else changed
            elif is_dataclass(value):
                changes[entry.name] = weakened(value, part, name, factor)
        return replace(record, **changes)
    return record


PARTS = [(p, n, False) for p, names in SMALLER.items() for n in names]
PARTS += [(p, n, True) for p, names in LARGER.items() for n in names]


@pytest.mark.parametrize("part, name, larger", PARTS)
@given(share=st.floats(0.5, 1.0), firings=st.integers(0, 9))
def test_making_any_part_weaker_never_raises_the_rating(casing, part, name, larger, share, firings):
    """Practice 5.6."""
    base = fired(casing, firings)
    weak = weakened(base, part, name, 1 / share if larger else share)
    assert (weak != base) or share > 0.95 or name == "count"
    before, after = rate(base), rate(weak)
    slack = 1 + 1e-12
    assert after.rated_burst_pa <= before.rated_burst_pa * slack
    assert after.allowable_pa <= before.allowable_pa * slack


@given(
    rise=st.floats(1e6, 2e9),
    lag=st.floats(0, 0.05),
    noise=st.floats(0, 1e5),
    firings=st.integers(0, 12),
    share=st.floats(0.3, 1.0),
)
def test_the_trip_never_exceeds_any_mode_over_its_factor(fast, rise, lag, noise, firings, share):
    weak = weakened(fired(fast.casing, firings), "seals", "tested_pa", share)
    demand = Demand(
        channel="p1",
        rise_pa_s=rise,
        rise_source="any",
        expected_peak_pa=3.9e6,
        meop_pa=4.21e6,
        sigma_pa=noise,
        range_pa=10e6,
        line_lag_s=lag,
    )
    rating = rate(weak)
    red = trip(rating, demand, delays(fast.stand, 0), calibrations(fast.stand)["p1"])
    assert red.trip_pa < min(mode.allowed_pa for mode in rating.modes) or red.refusals
    assert red.trip_pa <= min(mode.allowed_pa for mode in rating.modes)
    assert all(term.pa >= 0 for term in red.terms)
    assert bool(red.refusals) or red.margin_pa >= 0


def test_the_lowest_of_two_channels_rules(stands):
    settings = stands["avr"]
    slow = replace(settings.stand.pressure[1], line_lag_s=3e-3)
    stand = replace(settings.stand, pressure=(settings.stand.pressure[0], slow))
    red = redline(replace(settings, stand=stand))
    assert red.channel == "p2"
    assert red.trip_pa == pytest.approx(redline(settings).trip_pa - 0.04e6, abs=1e3)


def test_an_absolute_sensor_reads_the_ambient_once_more(fast):
    gauge = fast.stand.pressure[0]
    assert indicated_pa(gauge, 4e6, 101325) == 4e6
    assert indicated_pa(replace(gauge, reference="absolute"), 4e6, 101325) == 4e6 + 101325


def test_the_joint_may_not_move_too_far(fast):
    """Practice 5.14, 5.15."""
    casing = fast.casing
    seal = casing.seals[0]
    red = redline(fast)
    (move,) = movements(casing, red.trip_pa)
    assert not move.refusals
    assert move.seal_margin_m == pytest.approx(seal.land_m - move.travel.total)
    assert move.squeeze < move.squeeze_at_rest
    for change, says in (
        ({"land_m": 0.4e-3}, "the seal's land is 0.40 mm"),
        ({"gap_limit_m": 0.1e-3}, "limit 0.100 mm"),
        ({"gland_depth_m": 3.1e-3}, "expected 15 to 30 %"),
        ({"gland_depth_m": 2.3e-3}, "expected 15 to 30 %"),
    ):
        weak = replace(casing, seals=(replace(seal, **change),))
        red = redline(replace(fast, casing=weak))
        assert any(says in text for text in red.refusals), says


def test_the_sheet_shows_each_subtraction_on_its_own_line(fast):
    rating, red = rate(fast.casing), redline(fast)
    table, sheet = rating_text(rating), redline_text(red)
    governing = next(line for line in table.splitlines() if "<< governs" in line)
    assert governing.startswith("fastener bearing")
    assert "rated burst  9.88 MPa = 1433 psi (seal as tested)" in table
    assert sum(line.startswith("− ") for line in sheet.splitlines()) == len(red.terms) == 7
    assert "4.78 MPa = 693 psi" in sheet
    assert DETECTS_ONLY in sheet
    assert "a burning motor burns on" in sheet
    assert "travel" in movement_text(movements(fast.casing, red.trip_pa))


def test_rating_and_redline_are_plain_json(fast):
    rating, red = rate(fast.casing), redline(fast)
    body = json.loads(json.dumps([rating_json(rating), redline_json(red)]))
    assert body[0]["allowable_mode"] == "fastener bearing"
    assert body[0]["modes"][0]["pressure_pa"] == pytest.approx(rating.modes[0].pressure_pa)
    assert body[1]["margin_pa"] == pytest.approx(red.margin_pa)
    assert len(body[1]["terms"]) == 7


def test_two_joints_are_named_apart(casing):
    head = replace(casing.joints[0], name="head")
    aft = replace(casing.joints[0], name="aft", count=6)
    rating = rate(replace(casing, joints=(head, aft)))
    assert rating.allowable_mode.name == "fastener bearing (aft)"
