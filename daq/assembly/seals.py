"""An O-ring on the bore: squeeze and gap, at rest and at pressure (practice 5.14, 5.15).

Lengths in m. The worst side counts: a closure that lies against one side of the bore leaves its
whole clearance on the other.
"""

from typing import NamedTuple


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
