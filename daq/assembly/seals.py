"""An O-ring on the bore: squeeze and gap, at rest and at pressure (practice 5.14, 5.15).

Lengths in m. The worst side counts: a closure that lies against one side of the bore leaves its
whole clearance on the other.
"""

from math import pi
from typing import Final, NamedTuple

FILL_MOST: Final = 0.90  # of the gland's section, practice 5.14


class SealState(NamedTuple):
    """What the seal has left at one pressure: share of section squeezed, widest radial gap."""

    squeeze: float
    gap: float


def seal_state(
    section: float, gland_depth: float, clearance: float, radial_growth: float
) -> SealState:
    """Squeeze and widest gap when the bore has grown by `radial_growth`."""
    squeeze = (section - gland_depth - radial_growth) / section
    return SealState(squeeze, clearance + radial_growth)


def seal_extremes(
    section: float, depth: float, section_tol: float, depth_tol: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """(section, gland depth) of the tightest and of the loosest fit the tolerances allow."""
    return (section + section_tol, depth - depth_tol), (section - section_tol, depth + depth_tol)


def gland_fill(section: float, depth: float, width: float) -> float:
    """Share of the gland's section that the seal takes."""
    return pi / 4 * section**2 / (depth * width)
