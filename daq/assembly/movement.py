"""How far the closure and the seal's gap move under pressure: the joint must pass this too.

The closure may not travel so far that the seal reaches the edge of its bore or a screw hole; squeeze
and gap at pressure stay inside the seal's limits (practice 5.14, 5.15). Estimates on the large
side: the whole tube is taken as the stretched length, the worst screw carries its unshared load.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import pi

from daq.assembly.casing import radial_growth
from daq.assembly.joints import SCREWS, Travel, closure_thrust, closure_travel
from daq.assembly.materials import alloy_of, modulus_left
from daq.assembly.seals import FILL_MOST, SealState, gland_fill, seal_extremes, seal_state
from daq.settings_casing import Casing, Joint, RetainingRing, Seal


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
    """Every joint and ring with every seal, at a gauge pressure (the trip)."""
    pressure = max(pressure_pa, 0.0)
    holders: tuple[Joint | RetainingRing, ...] = (*casing.joints, *casing.rings)
    return tuple(
        _movement(casing, holder, seal, pressure) for holder in holders for seal in casing.seals
    )


def _travel(
    casing: Casing, holder: Joint | RetainingRing, seal: Seal, pressure: float, modulus: float
) -> Travel:
    tube = casing.tube
    radius = (tube.bore_m + tube.wall_m) / 2
    axial = pressure * radius / (2 * tube.wall_m * modulus) * (1 - 2 * tube.material.poisson)
    thrust = closure_thrust(pressure, seal.sealing_diameter_m)
    if isinstance(holder, RetainingRing):
        wall = pi * tube.bore_m * holder.groove_depth_m  # bears on both sides, as a hole does
        crush = 2 * thrust * holder.groove_depth_m / (wall * modulus)
        return Travel(holder.slack_m, crush, 0.0, axial * tube.length_m)
    each = thrust / holder.count / holder.load_share
    return closure_travel(
        each, SCREWS[holder.thread], holder.hole_m, tube.wall_m, modulus, axial, tube.length_m
    )


def _movement(
    casing: Casing, holder: Joint | RetainingRing, seal: Seal, pressure: float
) -> Movement:
    tube, metal = casing.tube, casing.tube.material
    alloy = alloy_of(metal)
    left = modulus_left(alloy, tube.hot_k) if alloy else None
    modulus = metal.modulus_pa * (left or 0.1)  # what cannot be rated is refused by the rating
    radius = (tube.bore_m + tube.wall_m) / 2
    travel = _travel(casing, holder, seal, pressure, modulus)
    growth = radial_growth(radius, tube.wall_m, pressure, modulus, metal.poisson)
    tightest, loosest = seal_extremes(
        seal.section_m, seal.gland_depth_m, seal.section_tol_m, seal.gland_tol_m
    )
    rest = seal_state(*tightest, seal.clearance_m, 0.0)
    loaded = seal_state(*loosest, seal.clearance_m, growth)
    return Movement(
        joint=holder.name,
        seal=seal.name,
        pressure_pa=pressure,
        travel=travel,
        land_m=seal.land_m,
        squeeze_at_rest=rest.squeeze,
        squeeze=loaded.squeeze,
        gap_m=loaded.gap,
        refusals=tuple(_said(holder.name, seal, pressure, travel, rest, loaded)),
    )


def _said(
    holder: str, seal: Seal, pressure: float, travel: Travel, rest: SealState, loaded: SealState
) -> Iterator[str]:
    at = f"{pressure / 1e6:.2f} MPa"
    if travel.total >= seal.land_m:
        yield (
            f"closure {holder} travels {travel.total * 1e3:.2f} mm at {at}, "
            f"the seal's land is {seal.land_m * 1e3:.2f} mm"
        )
    if loaded.gap > seal.gap_limit_m:
        yield (
            f"gap of seal {seal.name} is {loaded.gap * 1e3:.3f} mm at {at}, "
            f"limit {seal.gap_limit_m * 1e3:.3f} mm"
        )
    if loaded.squeeze < seal.least_squeeze or rest.squeeze > seal.most_squeeze:
        yield (
            f"squeeze of seal {seal.name} is {100 * rest.squeeze:.1f} % at rest and "
            f"{100 * loaded.squeeze:.1f} % at {at}, expected "
            f"{100 * seal.least_squeeze:.0f} to {100 * seal.most_squeeze:.0f} %"
        )
    if seal.gland_width_m:
        fill = gland_fill(seal.section_m + seal.section_tol_m, *_gland(seal))
        if fill > FILL_MOST:
            yield (
                f"seal {seal.name} fills {100 * fill:.0f} % of its gland, "
                f"at most {100 * FILL_MOST:.0f} %"
            )


def _gland(seal: Seal) -> tuple[float, float]:
    return seal.gland_depth_m - seal.gland_tol_m, seal.gland_width_m - seal.gland_tol_m
