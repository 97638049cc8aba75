"""Other ways to hold an end: a thread, a ring in a groove, a plate that carries the nozzle.

Lengths in m, forces in N, strengths in Pa. Shear strength is taken as fu/√3 (von Mises), as for
tear-out (check 4.10). None of these carries a partial factor: the factors of the rating are its own.
"""

from math import pi, sqrt
from typing import Final, NamedTuple

from daq.assembly.casing import bore_area

H_PER_PITCH: Final = sqrt(3.0) / 2  # height of the sharp ISO metric triangle (ISO 68-1)


class ThreadShear(NamedTuple):
    """Areas in m² that shear when a thread strips: of the outside and of the inside thread."""

    outside: float
    inside: float


def thread_shear(major: float, pitch: float, engagement: float) -> ThreadShear:
    """Shear areas of an ISO metric thread at its nominal diameters.

    FED-STD-H28 form, from memory: π D Le/P (P/2 + Δ/√3), on the mating part's crest diameter.
    """
    height = H_PER_PITCH * pitch
    pitch_diameter, minor = major - 0.75 * height, major - 1.25 * height
    turns = engagement / pitch
    return ThreadShear(
        outside=pi * minor * turns * (pitch / 2 + (pitch_diameter - minor) / sqrt(3.0)),
        inside=pi * major * turns * (pitch / 2 + (major - pitch_diameter) / sqrt(3.0)),
    )


class Ring(NamedTuple):
    """A ring in the bore: lengths in m, minimum strengths of ring and tube in Pa."""

    bore: float
    wall: float
    thickness: float
    groove_depth: float
    edge: float
    ring_ultimate: float
    tube_yield: float
    tube_ultimate: float


def ring_shear(ring: Ring) -> float:
    """Force that shears the ring at the bore."""
    return pi * ring.bore * ring.thickness * ring.ring_ultimate / sqrt(3.0)


def groove_bearing(ring: Ring) -> float:
    """Force that crushes the groove's wall: its projected area at yield."""
    outer = ring.bore + 2 * ring.groove_depth
    return (bore_area(outer) - bore_area(ring.bore)) * ring.tube_yield


def groove_tear_out(ring: Ring) -> float:
    """Force that shears off the collar between groove and tube end, along the groove's floor."""
    return pi * (ring.bore + 2 * ring.groove_depth) * ring.edge * ring.tube_ultimate / sqrt(3.0)


def groove_section(ring: Ring) -> float:
    """Force that tears the tube through the groove; 0 when the groove is as deep as the wall."""
    left = bore_area(ring.bore + 2 * ring.wall) - bore_area(ring.bore + 2 * ring.groove_depth)
    return max(left, 0.0) * ring.tube_ultimate


def carrier_stress(
    pressure: float, radius: float, hole: float, thickness: float, poisson: float
) -> float:
    """Hoop stress at the hole of a plate simply supported at `radius`, free at `hole` (radii).

    The plate carries p r/2 at every radius, as if it had no hole: σ = 3p/(4t²)((3+ν)a² + (1-ν)b²).
    From the plate equation; a vanishing hole doubles the centre stress of check 4.17.
    """
    inside = (3 + poisson) * radius**2 + (1 - poisson) * hole**2
    return 3 * pressure / (4 * thickness**2) * inside


def carrier_burst(
    radius: float, hole: float, thickness: float, ultimate: float, poisson: float
) -> float:
    """Pressure that brings the edge of the hole to its ultimate strength."""
    return ultimate / carrier_stress(1.0, radius, hole, thickness, poisson)


def shoulder_strength(hole: float, shoulder: float, ultimate: float) -> float:
    """Force that pushes the nozzle through its shoulder (hole as a diameter)."""
    return pi * hole * shoulder * ultimate / sqrt(3.0)
