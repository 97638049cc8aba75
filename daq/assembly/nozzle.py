"""An ideal nozzle: one-dimensional, constant gamma, no losses (NACA Report 1135; Sutton & Biblarz).

`area_ratio` is local over throat area. Roots are bracketed: Newton started in the wrong place leaves
the real axis (check 5.3).
"""

from math import cos, sqrt
from typing import Final

MACH_TOP: Final = 60.0


def temperature_ratio(gamma: float, mach: float) -> float:
    """T/T0."""
    return 1 / (1 + (gamma - 1) / 2 * mach**2)


def pressure_ratio(gamma: float, mach: float) -> float:
    """p/p0."""
    ratio: float = temperature_ratio(gamma, mach) ** (gamma / (gamma - 1))
    return ratio


def density_ratio(gamma: float, mach: float) -> float:
    ratio: float = temperature_ratio(gamma, mach) ** (1 / (gamma - 1))
    return ratio


def area_ratio(gamma: float, mach: float) -> float:
    """A/A* at a Mach number (check 5.1)."""
    inside = 2 / (gamma + 1) / temperature_ratio(gamma, mach)
    ratio: float = inside ** ((gamma + 1) / (2 * (gamma - 1))) / mach
    return ratio


def mach_at(gamma: float, area: float, *, supersonic: bool) -> float:
    """Mach number where A/A* = `area`; ValueError under 1 or beyond Mach 60 (checks 5.2, 5.3)."""
    if area < 1:
        raise ValueError(f"area ratio must be at least 1, got {area:g}")
    low, high = (1.0, MACH_TOP) if supersonic else (1e-9, 1.0)
    if supersonic and area > area_ratio(gamma, high):
        raise ValueError(f"area ratio {area:g} lies beyond Mach {MACH_TOP:g}")
    for _ in range(200):
        middle = (low + high) / 2
        if (area_ratio(gamma, middle) < area) == supersonic:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def critical_ratio(gamma: float) -> float:
    """p*/p0 at the throat (check 5.4)."""
    return pressure_ratio(gamma, 1.0)


def choking(gamma: float) -> float:
    """Γ = √γ (2/(γ+1))^((γ+1)/(2(γ-1))) (check 5.5)."""
    power: float = (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1)))
    return sqrt(gamma) * power


def characteristic_velocity(gamma: float, gas_constant: float, temperature_k: float) -> float:
    """c* = √(R T)/Γ in m/s, R in J/(kg K) (check 5.8)."""
    return sqrt(gas_constant * temperature_k) / choking(gamma)


def mass_flow(pressure_pa: float, throat_area_m2: float, c_star_m_s: float) -> float:
    """Choked flow in kg/s."""
    return pressure_pa * throat_area_m2 / c_star_m_s


def exit_pressure_ratio(gamma: float, area: float) -> float:
    """p_exit/p_chamber of a full-flowing nozzle."""
    return pressure_ratio(gamma, mach_at(gamma, area, supersonic=True))


def thrust_coefficient(gamma: float, area: float, ambient_over_chamber: float = 0.0) -> float:
    """Ideal CF (Sutton & Biblarz eq. 3-30, check 5.9); ambient 0 is vacuum."""
    exit_ratio = exit_pressure_ratio(gamma, area)
    speed = 1 - exit_ratio ** ((gamma - 1) / gamma)
    momentum = choking(gamma) * sqrt(2 * gamma / (gamma - 1) * speed)
    return momentum + (exit_ratio - ambient_over_chamber) * area


def optimum_expansion(gamma: float, chamber_over_exit: float) -> tuple[float, float]:
    """(area ratio, CF) of a nozzle whose exit pressure is the ambient's (check 5.10)."""
    lift = chamber_over_exit ** ((gamma - 1) / gamma) - 1
    area = area_ratio(gamma, sqrt(2 / (gamma - 1) * lift))
    return area, thrust_coefficient(gamma, area, 1 / chamber_over_exit)


def divergence(half_angle_rad: float) -> float:
    """λ of a cone: (1 + cos α)/2 (check 5.12)."""
    return (1 + cos(half_angle_rad)) / 2
