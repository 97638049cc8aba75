"""Threads, rings, carriers, wear by real peaks, heat for good: formulas and the modes made of them."""

from dataclasses import replace
from datetime import date
from math import pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.assembly import ends
from daq.assembly.casing import supported_plate_stress
from daq.assembly.cycles import cycles_to_failure, damage, equivalent_firings, life_used
from daq.assembly.materials import softened
from daq.assembly.movement import movements
from daq.assembly.rating import rate
from daq.assembly.seals import gland_fill
from daq.assembly.throat import Throat, growth_each, pressure_share
from daq.errors import ConfigError
from daq.settings import load_settings
from daq.settings_casing import (
    Casing,
    CurvePoint,
    Heat,
    NozzleCarrier,
    RetainingRing,
    Softening,
    ThreadedEnd,
)
from daq.settings_demo import config_root, demo_settings
from daq.settings_table import read_one

KSI = 6894757.293168
RING = ends.Ring(70e-3, 5e-3, 2.5e-3, 1.25e-3, 8e-3, 1200e6, 240e6, 260e6)


@pytest.fixture(scope="module")
def casing(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ends")
    return load_settings(demo_settings("fast", folder, date(2026, 9, 14))).casing


@pytest.fixture(scope="module")
def full(casing):
    """The demo casing with every kind of end at once."""
    metal = casing.tube.material
    sets = casing.factors
    factors = replace(
        sets,
        proof_tested=replace(sets.proof_tested, thread_strip=2.0, ring=2.0, carrier=2.0),
        not_proof_tested=replace(sets.not_proof_tested, thread_strip=3.0, ring=3.0, carrier=3.0),
    )
    common = {"serial": "X-1", "hot_k": 423.15, "material": metal}
    return replace(
        casing,
        factors=factors,
        tube=replace(casing.tube, wall_m=6e-3),
        threaded_ends=(
            ThreadedEnd(name="aft", major_m=74e-3, pitch_m=2e-3, engagement_m=15e-3, **common),
        ),
        rings=(
            RetainingRing(
                name="head",
                thickness_m=2.5e-3,
                groove_depth_m=1.25e-3,
                edge_m=8e-3,
                slack_m=0.1e-3,
                **common,
            ),
        ),
        carriers=(
            NozzleCarrier(
                name="nozzle",
                hole_m=30e-3,
                nozzle_outer_m=45e-3,
                thickness_m=18e-3,
                shoulder_m=6e-3,
                **common,
            ),
        ),
    )


def test_thread_areas_are_the_usual_shares_of_the_cylinder():
    """ISO 68-1 profile: 3/4 of π D1 Le outside, 7/8 of π d Le inside; a second road by geometry."""
    area = ends.thread_shear(74e-3, 2e-3, 15e-3)
    minor = 74e-3 - 1.0825 * 2e-3
    assert area.outside == pytest.approx(0.75 * pi * minor * 15e-3, rel=1e-4)
    assert area.inside == pytest.approx(0.875 * pi * 74e-3 * 15e-3, rel=1e-4)


def test_ring_forces_by_hand():
    assert ends.ring_shear(RING) == pytest.approx(pi * 70e-3 * 2.5e-3 * 1200e6 / sqrt(3))
    assert ends.groove_bearing(RING) == pytest.approx(pi * 71.25e-3 * 1.25e-3 * 240e6)
    assert ends.groove_tear_out(RING) == pytest.approx(pi * 72.5e-3 * 8e-3 * 260e6 / sqrt(3))
    assert ends.groove_section(RING) == pytest.approx(pi * 76.25e-3 * 3.75e-3 * 260e6)
    assert ends.groove_section(RING._replace(groove_depth=5e-3)) == 0


def test_a_vanishing_hole_doubles_the_stress_of_a_full_plate():
    """Check 4.17 is the full plate; a small hole doubles it (Kt 2 under equal biaxial stress)."""
    full_plate = supported_plate_stress(10, 35, 10, 0.33)
    assert ends.carrier_stress(10, 35, 1e-6, 10, 0.33) == pytest.approx(2 * full_plate, rel=1e-9)


@pytest.mark.parametrize("hole", [5.0, 15.0, 25.0])
def test_carrier_stress_solves_the_plate_equation(hole):
    """Second road: integrate φ'' + φ'/r - φ/r² = -q r/(2D) and meet both free edges by shooting."""
    radius, q, nu, t = 35.0, 10.0, 0.33, 10.0
    steps = 4000

    def shoot(phi):
        slope = -nu * phi / hole
        h = (radius - hole) / steps

        def rate_of(r, y):
            return y[1], -q * r / 2 - y[1] / r + y[0] / r**2

        y, r = (phi, slope), hole
        for _ in range(steps):
            k1 = rate_of(r, y)
            k2 = rate_of(r + h / 2, (y[0] + h / 2 * k1[0], y[1] + h / 2 * k1[1]))
            k3 = rate_of(r + h / 2, (y[0] + h / 2 * k2[0], y[1] + h / 2 * k2[1]))
            k4 = rate_of(r + h, (y[0] + h * k3[0], y[1] + h * k3[1]))
            y = tuple(y[i] + h / 6 * (k1[i] + 2 * k2[i] + 2 * k3[i] + k4[i]) for i in range(2))
            r += h
        return y[1] + nu * y[0] / radius

    at0, at1 = shoot(0.0), shoot(1.0)
    phi = -at0 / (at1 - at0)
    moment = phi / hole + nu * (-nu * phi / hole)
    assert ends.carrier_stress(q, radius, hole, t, nu) == pytest.approx(6 * moment / t**2, rel=1e-6)


@pytest.mark.parametrize(
    "ksi, ratio, cycles",
    [
        (30, 0, 1.396776e6),
        (25, 0, 8.399827e6),
        (20, 0, 7.548573e7),
        (35, 0, 3.064576e5),
        (30, -1, 1.900998e4),
    ],
)
def test_cycles_of_the_published_curve(ksi, ratio, cycles):
    """Check 4.23: a mean curve of tests, not a lower bound."""
    assert cycles_to_failure(ksi * KSI, ratio) == pytest.approx(cycles, rel=1e-5)


def test_damage_adds_up():
    """Check 4.24."""
    seen = [35 * KSI] * 5 + [30 * KSI] * 10 + [25 * KSI] * 20
    assert damage(seen) == pytest.approx(2.585581e-5, rel=1e-5)


def test_a_higher_peak_counts_for_more_and_a_lower_one_never_for_less():
    assert equivalent_firings([4e6, 3e6, 1e6], 4e6) == 3
    assert equivalent_firings([4.4e6], 4e6) == pytest.approx(1.1**9.84)
    assert life_used([], 70e-3, 3e-3, 3.0) == 0
    assert life_used([5e6] * 2, 70e-3, 3e-3, 3.0) == pytest.approx(
        2 * life_used([5e6], 70e-3, 3e-3, 3.0)
    )


def test_real_peaks_wear_the_casing(casing):
    """Practice 5.9: life left falls by recorded peaks, also of spiked runs."""

    def seen(peaks, kt=3.0):
        history = replace(casing.history, peaks_pa=peaks, wear_peak_pa=4.21e6, hole_kt=kt)
        return rate(replace(casing, history=history))

    assert seen((3.9e6,) * 4).allowable_pa == rate(casing).allowable_pa
    assert seen((3.9e6,) * 3 + (4.8e6,)).allowable_pa < rate(casing).allowable_pa
    spiked = seen((3.9e6,) * 3 + (5.4e6,))
    assert any("their peaks stand for" in text for text in spiked.refusals)
    assert any("no life left" in text for text in seen((6e6,), kt=20.0).refusals)


def test_heat_for_good(casing):
    """Practice 5.8: beyond what is known the casing is quarantined until measured."""
    metal = casing.tube.material
    mild, hot = Heat(at_k=440.0, for_s=60.0), Heat(at_k=500.0, for_s=300.0)
    assert softened(metal, ()) == 1
    assert softened(metal, (mild,) * 3) == 1
    assert softened(metal, (mild,) * 121) is None
    assert softened(metal, (hot,)) is None
    rows = (
        Softening(at_k=510.0, for_s=600.0, left=0.8),
        Softening(at_k=510.0, for_s=60.0, left=0.9),
    )
    own = replace(metal, softening=rows, softening_source="own hardness tests, invented")
    assert softened(own, (hot,)) == 0.8
    assert softened(own, (hot, hot)) == 0.8
    assert softened(own, (hot, hot, mild)) is None
    history = replace(casing.history, heats=(hot,))
    refused = rate(replace(casing, history=history))
    assert any("quarantined until its hardness is measured" in text for text in refused.refusals)
    tube = replace(casing.tube, material=own)
    weaker = rate(replace(casing, history=history, tube=tube))
    assert weaker.allowable_pa == pytest.approx(0.8 * rate(casing).allowable_pa)


def test_a_material_of_ones_own_brings_its_curve(casing):
    curve = (CurvePoint(at_k=293.15, left=1.0), CurvePoint(at_k=473.15, left=0.5))
    own = replace(
        casing.tube.material, name="own steel", strength_curve=curve, curve_source="test W-9"
    )
    rated = rate(replace(casing, tube=replace(casing.tube, material=own)))
    assert not rated.refusals
    assert rated.modes[0].k_t == pytest.approx(1 - 0.5 * (175 - 20) / 180)
    bare = replace(own, strength_curve=())
    assert rate(replace(casing, tube=replace(casing.tube, material=bare))).refusals
    shadow = replace(own, name="6061-T6")
    refused = rate(replace(casing, tube=replace(casing.tube, material=shadow))).refusals
    assert any("another name" in text for text in refused)


def test_every_end_is_rated_by_name(full):
    """Practice 5.6."""
    names = [mode.name for mode in rate(full).modes]
    for name in (
        "thread strip, outside thread",
        "thread strip, inside thread",
        "section at the thread",
        "ring shear",
        "groove wall",
        "groove tear-out",
        "section at the groove",
        "nozzle carrier bending",
        "nozzle through carrier",
    ):
        assert name in names
    assert not rate(full).refusals


SMALLER = {
    "threaded_ends": ("engagement_m",),
    "rings": ("thickness_m", "groove_depth_m", "edge_m"),
    "carriers": ("thickness_m", "shoulder_m"),
}


@pytest.mark.parametrize("part, name", [(p, n) for p, ns in SMALLER.items() for n in ns])
@given(share=st.floats(0.05, 1.0))
def test_a_weaker_end_never_raises_its_modes(full, part, name, share):
    """Practice 5.6. A shallower groove leaves more tube, so only its wall is asked there."""
    (old,) = getattr(full, part)
    weak = replace(full, **{part: (replace(old, **{name: getattr(old, name) * share}),)})
    for before, after in zip(rate(full).modes, rate(weak).modes, strict=True):
        if before.name not in {"groove tear-out", "section at the groove"}:
            assert after.pressure_pa <= before.pressure_pa * (1 + 1e-12), before.name
    if name == "edge_m":
        assert _mode(weak, "groove tear-out") <= _mode(full, "groove tear-out") * (1 + 1e-12)


def _mode(casing, name):
    return next(mode.pressure_pa for mode in rate(casing).modes if mode.name == name)


def test_a_deeper_groove_weakens_the_tube(full):
    (old,) = full.rings
    deep = replace(full, rings=(replace(old, groove_depth_m=4e-3),))
    assert _mode(deep, "section at the groove") < _mode(full, "section at the groove")


def test_short_threads_in_the_closure_are_refused(casing):
    """Practice 5.12: 1 D in steel, 1.5 D in aluminium."""
    joint = replace(casing.joints[0], engagement_m=8e-3)
    assert any("1.33 diameters" in t for t in rate(replace(casing, joints=(joint,))).refusals)
    steel = replace(joint, tapped_in="steel")
    assert not rate(replace(casing, joints=(steel,))).refusals


def test_a_ring_moves_with_its_slack(full):
    moves = {move.joint: move for move in movements(full, 4.78e6)}
    ring = moves["head"]
    assert ring.travel.slack == pytest.approx(0.1e-3)
    assert ring.travel.total > ring.travel.slack
    assert ring.travel.bending == 0


def test_squeeze_is_judged_at_the_tolerances_and_the_gland_may_not_be_overfull(casing):
    """Practice 5.14."""
    seal = casing.seals[0]
    (exact,) = movements(casing, 4.78e6)
    loose = replace(seal, section_tol_m=0.1e-3, gland_tol_m=0.05e-3)
    (wide,) = movements(replace(casing, seals=(loose,)), 4.78e6)
    assert wide.squeeze_at_rest > exact.squeeze_at_rest
    assert wide.squeeze < exact.squeeze
    narrow = replace(seal, gland_width_m=3.6e-3)
    (overfull,) = movements(replace(casing, seals=(narrow,)), 4.78e6)
    assert any("fills 97 % of its gland" in text for text in overfull.refusals)
    assert gland_fill(3.53e-3, 2.8e-3, 3.6e-3) == pytest.approx(0.971, abs=1e-3)


def test_a_used_part_needs_its_factor(tmp_path):
    text = (config_root() / "casings" / "case_a.toml").read_text(encoding="utf-8")
    text += (
        '\n[[rings]]\nname = "head"\nserial = "RR-1"\nthickness_mm = 2.5\ngroove_depth_mm = 1.2\n'
        'edge_mm = 8\nslack_mm = 0.1\nhot_c = 150\n[rings.material]\nname = "S355"\n'
        'yield_mpa = 355\nultimate_mpa = 470\nmodulus_mpa = 210000\npoisson = 0.3\nsource = "x"\n'
    )
    (tmp_path / "casing.toml").write_text(text, encoding="utf-8")
    with pytest.raises(
        ConfigError, match=r"factors.proof_tested.ring: expected a factor for rings"
    ):
        read_one(tmp_path / "casing.toml", Casing)


def test_a_wider_throat_lowers_the_pressure():
    """P ∝ (1/At)^(1/(1-n)): with n = 0.34, 1 % on the diameter takes 3 % of the pressure."""
    assert pressure_share(18.0, 18.18, 0.34) == pytest.approx(1.01 ** (-2 / 0.66))
    assert growth_each([18.0, 18.1, 18.3]) == pytest.approx(0.15)
    assert growth_each([18.0]) == 0
    good = Throat(
        predicted_m=18e-3, now_m=18.1e-3, growth_each_m=0.1e-3, exponent=0.34, growth_limit=0.02
    )
    assert good.refusal() is None
    assert good.next_share < good.pressure_share < 1
    worn = replace(good, now_m=18.5e-3)
    assert "+2.8 % off the 18.00 mm of the prediction, limit 2.0 %" in worn.refusal()
    with pytest.raises(ValueError, match="expected 0 to below 1"):
        pressure_share(1.0, 1.0, 1.0)
