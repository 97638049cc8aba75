"""How far the closure and the seal's gap move under pressure: the joint must pass this too.

The closure may not travel so far that the seal reaches the edge of its bore or a screw hole; squeeze
and gap at pressure stay inside the seal's limits (practice 5.14, 5.15). Estimates on the large
side: the whole tube is taken as the stretched length, the worst screw carries its unshared load.
"""

from dataclasses import dataclass

from daq.assembly.casing import radial_growth
from daq.assembly.joints import SCREWS, Travel, closure_thrust, closure_travel
from daq.assembly.materials import ALLOYS, modulus_left
from daq.assembly.seals import seal_state
from daq.settings_casing import Casing, Joint, Seal


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """One joint with one seal at one pressure; lengths in m, squeeze as a share of the section."""

    joint: str
    seal: str
    pressure_pa: float
    travel: Travel
    land_m: float
    squeeze_at_rest: float
    squeeze: float
    gap_m: float
    refusals: tuple[str, ...]

    @property
    def seal_margin_m(self) -> float:
        """Land minus travel."""
        return self.land_m - self.travel.total


def movements(casing: Casing, pressure_pa: float) -> tuple[Movement, ...]:
    """Every joint with every seal, at a gauge pressure (the trip)."""
    pressure = max(pressure_pa, 0.0)
    return tuple(
        _movement(casing, joint, seal, pressure) for joint in casing.joints for seal in casing.seals
    )


def _movement(casing: Casing, joint: Joint, seal: Seal, pressure: float) -> Movement:
    tube, metal = casing.tube, casing.tube.material
    alloy = ALLOYS.get(metal.name)
    left = modulus_left(alloy, tube.hot_k) if alloy else None
    modulus = metal.modulus_pa * (left or 0.1)  # what cannot be rated is refused by the rating
    radius = (tube.bore_m + tube.wall_m) / 2
    axial = pressure * radius / (2 * tube.wall_m * modulus) * (1 - 2 * metal.poisson)
    thrust = closure_thrust(pressure, seal.sealing_diameter_m) / joint.count / joint.load_share
    travel = closure_travel(
        thrust, SCREWS[joint.thread], joint.hole_m, tube.wall_m, modulus, axial, tube.length_m
    )
    growth = radial_growth(radius, tube.wall_m, pressure, modulus, metal.poisson)
    rest = seal_state(seal.section_m, seal.gland_depth_m, seal.clearance_m, 0.0)
    loaded = seal_state(seal.section_m, seal.gland_depth_m, seal.clearance_m, growth)
    said = []
    if travel.total >= seal.land_m:
        said.append(
            f"closure {joint.name} travels {travel.total * 1e3:.2f} mm at {pressure / 1e6:.2f} MPa, "
            f"the seal's land is {seal.land_m * 1e3:.2f} mm"
        )
    if loaded.gap > seal.gap_limit_m:
        said.append(
            f"gap of seal {seal.name} is {loaded.gap * 1e3:.3f} mm at {pressure / 1e6:.2f} MPa, "
            f"limit {seal.gap_limit_m * 1e3:.3f} mm"
        )
    if loaded.squeeze < seal.least_squeeze or rest.squeeze > seal.most_squeeze:
        said.append(
            f"squeeze of seal {seal.name} is {100 * rest.squeeze:.1f} % at rest and "
            f"{100 * loaded.squeeze:.1f} % at {pressure / 1e6:.2f} MPa, expected "
            f"{100 * seal.least_squeeze:.0f} to {100 * seal.most_squeeze:.0f} %"
        )
    return Movement(
        joint=joint.name,
        seal=seal.name,
        pressure_pa=pressure,
        travel=travel,
        land_m=seal.land_m,
        squeeze_at_rest=rest.squeeze,
        squeeze=loaded.squeeze,
        gap_m=loaded.gap,
        refusals=tuple(said),
    )
