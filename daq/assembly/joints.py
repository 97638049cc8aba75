"""Radial screws that hold a closure: shear, bearing, tear-out to the hole's edge, and travel.

Forces after EN 1993-1-8 table 3.4 without partial factors (check 4.10): the factors of the rating
are its own. Stress areas and screw strengths after ISO 898-1 (checks 4.14, 4.15).
"""

from math import pi, sqrt
from typing import Final, NamedTuple

from daq.assembly.casing import bore_area


class Screw(NamedTuple):
    """A thread: nominal diameter in m, stress area in m² (ISO 898-1 As,nom)."""

    diameter: float
    stress_area: float


SCREWS: Final[dict[str, Screw]] = {
    "M3": Screw(3e-3, 5.03e-6),
    "M4": Screw(4e-3, 8.78e-6),
    "M5": Screw(5e-3, 14.2e-6),
    "M6": Screw(6e-3, 20.1e-6),
    "M8": Screw(8e-3, 36.6e-6),
    "M10": Screw(10e-3, 58.0e-6),
    "M12": Screw(12e-3, 84.3e-6),
    "M20": Screw(20e-3, 245e-6),
}
GRADE_ULTIMATE_PA: Final[dict[str, float]] = {"8.8": 800e6, "10.9": 1000e6, "12.9": 1200e6}
BRITTLE_IN_THREAD: Final = ("10.9", "12.9")  # αv 0.5 with threads in the shear plane (check 4.12)
STEEL_MODULUS_PA: Final = 205e9
EDGE_LEAST: Final = 1.5  # hole centre to edge, in hole diameters: refused under, practice 5.12
EDGE_WARNED: Final = 2.0


def shear_strength(thread: str, grade: str, *, threads_in_plane: bool) -> float:
    """Force in N that shears one screw: αv fub A (check 4.12 without γM2)."""
    screw = SCREWS[thread]
    ultimate = GRADE_ULTIMATE_PA[grade]
    if not threads_in_plane:
        return 0.6 * ultimate * bore_area(screw.diameter)
    share = 0.5 if grade in BRITTLE_IN_THREAD else 0.6
    return share * ultimate * screw.stress_area


class Plate(NamedTuple):
    """What one screw bears on: lengths in m, strengths in Pa; `edge` runs to the hole's centre."""

    diameter: float
    hole: float
    thickness: float
    edge: float
    ultimate_pa: float
    screw_ultimate_pa: float


def bearing_strength(plate: Plate, k1: float) -> float:
    """Force in N that one hole bears: k1 αb fu d t (check 4.13 without γM2)."""
    alpha = min(plate.edge / (3 * plate.hole), plate.screw_ultimate_pa / plate.ultimate_pa, 1.0)
    return k1 * alpha * plate.ultimate_pa * plate.diameter * plate.thickness


def k1_edge(across: float, hole: float) -> float:
    """k1 for an edge at `across` from the hole's centre."""
    return min(2.8 * across / hole - 1.7, 2.5)


def k1_pitch(pitch: float, hole: float) -> float:
    """k1 for holes at `pitch` across the load."""
    return min(1.4 * pitch / hole - 1.7, 2.5)


def tear_out_strength(edge_to_centre: float, hole: float, thickness: float, fu: float) -> float:
    """Force in N that tears one hole out; the length runs to the hole's edge, not its centre."""
    length = edge_to_centre - hole / 2
    return 2 * max(length, 0.0) * thickness * fu / sqrt(3.0)


def pressure_of(force_each: float, count: int, sealing: float) -> float:
    """Pressure whose thrust on the sealing diameter loads each of `count` screws with a force."""
    return force_each * count / bore_area(sealing)


def closure_thrust(pressure: float, sealing: float) -> float:
    """Force on a closure in N (check 4.11)."""
    return pressure * bore_area(sealing)


class Travel(NamedTuple):
    """How far a closure moves under pressure, part by part, in m."""

    slack: float
    bearing: float
    bending: float
    stretch: float

    @property
    def total(self) -> float:
        return sum(self)


def closure_travel(
    thrust_each: float,
    screw: Screw,
    hole: float,
    wall: float,
    modulus_pa: float,
    axial_strain: float,
    loaded_length: float,
) -> Travel:
    """Travel at a thrust: hole clearance, hole bearing, screw bending, tube stretch (practice 5.15).

    Bearing is taken as F/(t E) for the tube and for a closure of the same alloy; bending as a
    cantilever of one wall plus half a diameter. Both are estimates on the large side, no source.
    """
    slack = hole - screw.diameter
    bearing = 2 * thrust_each / (wall * modulus_pa)
    arm = wall + screw.diameter / 2
    inertia = pi * screw.diameter**4 / 64
    bending = thrust_each * arm**3 / (3 * STEEL_MODULUS_PA * inertia)
    return Travel(slack, bearing, bending, axial_strain * loaded_length)
