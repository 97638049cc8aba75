"""Ideal nozzle flow of the simulated motor: thrust coefficient, area and Mach, flow factor.

Written here on its own: the simulated stand is an independent witness, so it shares no formula
with the controller's nozzle module. Perfect gas, constant gamma, one-dimensional, no losses
(NACA Report 1135; checks 5.1 to 5.11).
"""

import math
from typing import Final

CHOKED_STEPS: Final = 200


def area_ratio_of_mach(gamma: float, mach: float) -> float:
    """A/A* at a Mach number (check 5.1)."""
    g = gamma
    inner = 2.0 / (g + 1.0) * (1.0 + 0.5 * (g - 1.0) * mach * mach)
    return float(inner ** (0.5 * (g + 1.0) / (g - 1.0)) / mach)


def mach_of_area_ratio(gamma: float, area_ratio: float, *, supersonic: bool = True) -> float:
    """Mach number at A/A* >= 1 by bisection (check 5.3: Newton leaves the real axis here)."""
    if area_ratio < 1.0:
        raise ValueError(f"area_ratio: must be >= 1, got {area_ratio}")
    low, high = (1.0, 60.0) if supersonic else (1e-9, 1.0)
    for _ in range(CHOKED_STEPS):
        middle = 0.5 * (low + high)
        too_big = area_ratio_of_mach(gamma, middle) > area_ratio
        if too_big == supersonic:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def pressure_ratio_of_mach(gamma: float, mach: float) -> float:
    """Static over total pressure (check 5.2)."""
    return float((1.0 + 0.5 * (gamma - 1.0) * mach * mach) ** (-gamma / (gamma - 1.0)))


def critical_ratio(gamma: float) -> float:
    """Ambient over chamber pressure below which the throat is choked (check 5.4)."""
    return float((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def vandenkerckhove(gamma: float) -> float:
    """Gamma function of the choked flow, c* = sqrt(R T)/it (check 5.5)."""
    return math.sqrt(gamma) * float((2.0 / (gamma + 1.0)) ** (0.5 * (gamma + 1.0) / (gamma - 1.0)))


def cf_vacuum(gamma: float, area_ratio: float) -> float:
    """Thrust coefficient of the full-flowing nozzle in vacuum (check 5.9)."""
    exit_ratio = pressure_ratio_of_mach(gamma, mach_of_area_ratio(gamma, area_ratio))
    drop = 1.0 - exit_ratio ** ((gamma - 1.0) / gamma)
    momentum = vandenkerckhove(gamma) * math.sqrt(2.0 * gamma / (gamma - 1.0) * drop)
    return momentum + area_ratio * exit_ratio


class ThrustCoefficient:
    """CF of one nozzle at any chamber pressure, in any regime; fast enough for every sample.

    Choked and full-flowing: the ideal value. Over-expanded so far that the throat alone would
    push harder: the flow has left the cone, the throat-only value holds (a bound, not a separation
    model). Unchoked: isentropic expansion to ambient in the throat. Continuous throughout.
    """

    __slots__ = ("_critical", "_expo", "_full", "_gain", "_gamma", "_ratio", "_throat", "_vander")

    def __init__(self, gamma: float, area_ratio: float) -> None:
        self._gamma = gamma
        self._ratio = area_ratio
        self._full = cf_vacuum(gamma, area_ratio)
        self._throat = cf_vacuum(gamma, 1.0)
        self._critical = critical_ratio(gamma)
        self._vander = vandenkerckhove(gamma)
        self._expo = (gamma - 1.0) / gamma
        self._gain = 2.0 * gamma / (gamma - 1.0)

    def at(self, ambient_over_chamber: float) -> float:
        """Ideal CF at p_ambient/p_chamber; 0 when there is no pressure difference."""
        r = ambient_over_chamber
        if r <= self._critical:
            full = self._full - self._ratio * r
            throat = self._throat - r
            return max(throat, full)
        if r >= 1.0:
            return 0.0
        return float(self._gain * r ** (1.0 / self._gamma) * (1.0 - r**self._expo))

    def flow_factor(self, ambient_over_chamber: float) -> float:
        """Mass flow as a fraction of the choked flow p·At/c*; 1 when choked."""
        r = ambient_over_chamber
        if r <= self._critical:
            return 1.0
        if r >= 1.0:
            return 0.0
        speed = math.sqrt(self._gain * (1.0 - r**self._expo))
        return float(r ** (1.0 / self._gamma) * speed / self._vander)
