"""A tube under inside pressure: stresses and the pressures at which it yields or bursts.

Lengths in m, pressures and strengths in Pa; `k` is outside over inside diameter. Sources: Lamé in
Timoshenko & Goodier (check 4.3); Barlow as in ASME B31; Faupel 1956, ASME Trans. 78 (from memory,
check 4.8), never rated on alone.
"""

from math import log, pi, sqrt
from typing import NamedTuple


class Stress(NamedTuple):
    """Principal stresses in the wall of a closed tube."""

    radial: float
    hoop: float
    axial: float

    @property
    def von_mises(self) -> float:
        a, b, c = self
        return sqrt(((a - b) ** 2 + (b - c) ** 2 + (c - a) ** 2) / 2)


def lame(inside: float, outside: float, pressure: float, at: float) -> Stress:
    """Thick wall, closed ends; radii (or diameters) all of one kind (check 4.3)."""
    axial = pressure * inside**2 / (outside**2 - inside**2)
    swing = axial * outside**2 / at**2
    return Stress(axial - swing, axial + swing, axial)


def maximum_strain(stress: Stress, poisson: float = 0.3) -> float:
    """Equivalent wall stress of 49 CFR 178.46 when taken at the bore (checks 4.4, 4.5)."""
    return stress.hoop - poisson * (stress.radial + stress.axial)


def first_yield_von_mises(k: float, yield_pa: float) -> float:
    return yield_pa / sqrt(3.0) * (1 - 1 / k**2)


def first_yield_tresca(k: float, yield_pa: float) -> float:
    return yield_pa / 2.0 * (1 - 1 / k**2)


def full_plastic(k: float, yield_pa: float) -> float:
    return 2 * yield_pa / sqrt(3.0) * log(k)


def burst_faupel(k: float, yield_pa: float, ultimate_pa: float) -> float:
    return 2 * yield_pa / sqrt(3.0) * (2 - yield_pa / ultimate_pa) * log(k)


def burst_mean_diameter(k: float, ultimate_pa: float) -> float:
    """2 fu t / dm, which equals 2 fu (k-1)/(k+1) (check 4.9)."""
    return 2 * ultimate_pa * (k - 1) / (k + 1)


def burst_barlow(k: float, ultimate_pa: float) -> float:
    """2 fu t / do."""
    return ultimate_pa * (1 - 1 / k)


def hoop_yield(k: float, yield_pa: float) -> tuple[float, str]:
    """The lowest first-yield pressure and the formula that gives it."""
    return min(
        (first_yield_tresca(k, yield_pa), "Tresca at the bore"),
        (first_yield_von_mises(k, yield_pa), "von Mises at the bore"),
    )


def hoop_burst(k: float, yield_pa: float, ultimate_pa: float) -> tuple[float, str]:
    """The lowest burst pressure of three formulas and which of them it is."""
    return min(
        (burst_barlow(k, ultimate_pa), "Barlow"),
        (burst_mean_diameter(k, ultimate_pa), "mean diameter"),
        (burst_faupel(k, yield_pa, ultimate_pa), "Faupel"),
    )


def bore_area(diameter: float) -> float:
    return pi / 4 * diameter**2


def net_section(
    bore: float, wall: float, sealing: float, holes: int, hole: float, ultimate_pa: float
) -> float:
    """Pressure that tears the tube through its row of holes (check 4.10)."""
    section = pi * (bore + wall) * wall - holes * hole * wall
    return ultimate_pa * section / bore_area(sealing)


def radial_growth(
    radius: float, wall: float, pressure: float, modulus_pa: float, poisson: float
) -> float:
    """Growth of the radius of a closed thin tube: p r²/(E t) (1 - ν/2) (practice 5.15)."""
    return pressure * radius**2 / (modulus_pa * wall) * (1 - poisson / 2)


def clamped_plate_stress(pressure: float, radius: float, thickness: float) -> float:
    """Edge stress of a clamped circular plate (check 4.17)."""
    return 0.75 * pressure * (radius / thickness) ** 2


def supported_plate_stress(
    pressure: float, radius: float, thickness: float, poisson: float
) -> float:
    """Centre stress of a simply supported circular plate, the nearer case for a closure (4.17)."""
    return 3 * (3 + poisson) / 8 * pressure * (radius / thickness) ** 2


def closure_burst(radius: float, thickness: float, ultimate_pa: float, poisson: float) -> float:
    """Pressure that brings the middle of a simply supported closure to its ultimate strength."""
    return ultimate_pa / supported_plate_stress(1.0, radius, thickness, poisson)
