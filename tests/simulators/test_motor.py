"""The lumped chamber: closed forms, mass balance, ignition, and what faults do to it."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from simulators.gas import ThrustCoefficient, vandenkerckhove
from simulators.grain import Grain, Surface
from simulators.motor import STANDARD_PA, Motor, MotorSpec

STEP_S = 0.00025
RAW = {
    "outer_m": 0.064,
    "core_m": 0.022,
    "segment_length_m": 0.100,
    "segments": 3,
    "burning_ends": 2,
    "rate_at_ref_m_s": 0.0060,
    "ref_pa": 3.5e6,
    "n": 0.32,
    "density_kg_m3": 1700.0,
    "c_star_m_s": 900.0,
    "gamma": 1.2,
    "throat_m": 0.0115,
    "exit_m": 0.023,
    "thrust_efficiency": 0.95,
    "free_volume_m3": 1.5e-4,
    "ignition_delay_s": 0.12,
}
SPEC = MotorSpec.from_json(RAW)


def burn(motor: Motor, seconds: float) -> list[tuple[float, float, float]]:
    rows = []
    for k in range(int(seconds / STEP_S)):
        motor.step(STEP_S)
        rows.append((k * STEP_S, motor.pressure_pa, motor.thrust_n))
    return rows


def held_at_steady(motor: Motor) -> float:
    motor.grows = False
    motor.ignite(0.01)
    burn(motor, 1.0)
    return motor.pressure_pa


def test_grain_area_and_volume_have_their_closed_forms():
    grain = SPEC.grain
    w = 0.004
    core = 0.022 + 2 * w
    expected = 3 * (math.pi * core * (0.1 - 2 * w) + 0.5 * math.pi * (0.064**2 - core**2))
    assert grain.surface_m2(w) == pytest.approx(expected, rel=1e-12)
    assert grain.surface_m2(0.021) == 0.0
    assert replace(grain, burning_ends=0).surface_m2(w) == pytest.approx(
        3 * math.pi * core * 0.1, rel=1e-12
    )


@pytest.mark.parametrize("spread", [0.0, 0.03, 0.15])
@pytest.mark.parametrize("ends", [0, 1, 2])
def test_the_surface_burns_exactly_the_volume_of_the_grain(spread, ends):
    grain = replace(SPEC.grain, web_spread=spread, burning_ends=ends)
    surface = Surface(grain)
    n = 40_000
    h = surface.end_m / n
    volume = h * sum(surface.at((k + 0.5) * h) for k in range(n))
    assert volume == pytest.approx(grain.volume_m3, rel=2e-4)


def test_steady_pressure_meets_the_closed_form():
    """Equilibrium p = (a rho c* Kn)^(1/(1-n)) when nothing grows."""
    motor = Motor(SPEC)
    expected = SPEC.steady_pa(SPEC.grain.surface_m2(0.0))
    assert held_at_steady(motor) == pytest.approx(expected, rel=1e-3)


def test_steady_thrust_is_the_ideal_coefficient_times_pressure_and_throat():
    motor = Motor(SPEC)
    p = held_at_steady(motor)
    cf = ThrustCoefficient(1.2, 4.0).at(STANDARD_PA / p)
    assert motor.thrust_n == pytest.approx(0.95 * cf * p * SPEC.throat_m2, rel=1e-9)


def test_a_growing_chamber_sits_lower_by_the_gas_that_stays_behind():
    """Filling the burned volume takes rho_gas/rho of the flow; the closed form neglects it."""
    motor = Motor(SPEC)
    motor.ignite(0.01)
    burn(motor, 1.2)
    surface = Surface(SPEC.grain).at(motor.burned_m)
    gas_rt = (SPEC.c_star_m_s * vandenkerckhove(SPEC.gamma)) ** 2
    share = motor.pressure_pa / gas_rt / SPEC.density_kg_m3
    expected = SPEC.steady_pa(surface * (1.0 - share))
    assert motor.pressure_pa == pytest.approx(expected, rel=2e-3)


def test_all_propellant_leaves_and_the_chamber_empties():
    motor = Motor(SPEC)
    motor.ignite(0.1)
    rows = burn(motor, 6.0)
    assert motor.burned_kg == pytest.approx(SPEC.propellant_kg, rel=2e-3)
    assert motor.pressure_pa == STANDARD_PA
    assert motor.thrust_n == 0.0
    assert not motor.active
    impulse = sum(row[2] for row in rows) * STEP_S
    assert 1000 < impulse / SPEC.propellant_kg < 1500


def test_mass_through_the_throat_gives_c_star_back():
    """Check 5.13 turned round: At ∫p dt / mass = c*, while choked almost always."""
    motor = Motor(SPEC)
    motor.ignite(0.05)
    rows = burn(motor, 6.0)
    integral = sum(p - (0 if p > STANDARD_PA else p) for _, p, _ in rows) * STEP_S
    c_star = SPEC.throat_m2 * integral / SPEC.propellant_kg
    assert c_star == pytest.approx(SPEC.c_star_m_s, rel=0.01)


def test_nothing_happens_without_an_igniter():
    motor = Motor(SPEC)
    rows = burn(motor, 1.0)
    assert {p for _, p, _ in rows} == {STANDARD_PA}
    assert {f for _, _, f in rows} == {0.0}


def test_the_surface_lights_after_the_delay_over_a_ramp():
    motor = Motor(SPEC)
    motor.ignite(0.5)
    rows = burn(motor, 0.7)
    first = next(t for t, p, _ in rows if p > 1.001 * STANDARD_PA)
    assert first == pytest.approx(0.5, abs=0.005)
    rise = [b[1] - a[1] for a, b in pairwise(rows)]
    assert max(rise) / STEP_S < 400e6


def test_a_blocked_throat_raises_the_pressure_by_its_power_law():
    motor = Motor(SPEC)
    before = held_at_steady(motor)
    motor.throat_factor = 0.8
    burn(motor, 1.0)
    assert motor.pressure_pa / before == pytest.approx(0.8 ** (-1 / (1 - 0.32)), rel=1e-3)


def test_a_burst_empties_the_chamber_in_milliseconds_and_kicks():
    motor = Motor(replace(SPEC, burst_pa=3.0e6))
    motor.ignite(0.01)
    motor.throat_factor = 0.3
    rows = burn(motor, 1.0)
    assert motor.burst
    assert motor.burned_kg < 0.5 * SPEC.propellant_kg
    top = max(range(len(rows)), key=lambda k: rows[k][1])
    assert rows[top + 80][1] < 0.1 * rows[top][1]
    assert max(f for _, _, f in rows[top:]) > 2 * rows[top - 2][2]


def test_a_quenched_motor_may_light_again():
    motor = Motor(SPEC)
    motor.ignite(0.01)
    burn(motor, 0.3)
    motor.quench()
    burn(motor, 0.5)
    assert motor.pressure_pa == STANDARD_PA
    motor.ignite(0.2)
    burn(motor, 0.6)
    assert motor.pressure_pa > 1e6


def test_hot_grain_burns_faster():
    cold, hot = Motor(SPEC), Motor(replace(SPEC, rate_factor=1.1))
    assert held_at_steady(hot) > 1.1 * held_at_steady(cold)


def test_bad_numbers_are_refused_with_their_name():
    with pytest.raises(ValueError, match="n: must be in"):
        replace(SPEC, n=1.0)
    with pytest.raises(ValueError, match="core_m"):
        Grain.from_json({**RAW, "core_m": 0.1})
    with pytest.raises(KeyError, match="throat_m"):
        MotorSpec.from_json({k: v for k, v in RAW.items() if k != "throat_m"})
