"""Strength against temperature, and the refusal of "typical" strengths."""

import pytest

from daq.assembly.materials import AL_6061_T6, modulus_left, stated_fault, strength_left

K = 273.15


@pytest.mark.parametrize(
    "celsius, share",
    [
        (20, 1.00), (100, 0.95), (150, 0.91), (200, 0.79), (250, 0.55), (300, 0.31), (350, 0.10),
        (60, 0.975), (125, 0.930), (175, 0.850), (225, 0.670), (275, 0.430),
    ],
)  # fmt: skip
def test_strength_falls_with_temperature_as_tabled(celsius, share):
    """Check 4.20."""
    assert strength_left(AL_6061_T6, celsius + K) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize(
    "celsius, share",
    [(20, 1.0), (50, 0.99), (100, 0.97), (150, 0.93), (200, 0.86), (250, 0.78), (300, 0.68), (350, 0.54)],
)  # fmt: skip
def test_modulus_falls_with_temperature_as_tabled(celsius, share):
    """Check 4.21."""
    assert modulus_left(AL_6061_T6, celsius + K) == pytest.approx(share, abs=1e-12)


def test_nothing_is_extrapolated():
    """Check 4.20: refuse above 350 °C."""
    assert strength_left(AL_6061_T6, 350.1 + K) is None
    assert strength_left(AL_6061_T6, -10 + K) == 1.0


def test_minimum_strengths_pass_and_typical_ones_are_refused():
    """Checks 4.18, 4.19; section 10, trap 14: 276/310 MPa are typical values."""
    assert stated_fault("6061-T6", 240e6, 260e6) is None
    assert stated_fault("EN AW-6061 T6", 241.3e6, 262.0e6) is None
    assert "276 MPa is above the guaranteed minimum" in stated_fault("6061-T6", 276e6, 310e6)
    assert "ultimate" in stated_fault("6061-T6", 240e6, 310e6)
    assert "no strength curve" in stated_fault("unobtainium", 1e6, 2e6)
