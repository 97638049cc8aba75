"""Minimum strengths by name, and what heat leaves of them.

A casing file states its strengths with their source; a value above the guaranteed minimum known
here is refused, because the usual mistake is to rate on "typical" strengths (checks section 10,
trap 14). Beyond the table nothing is extrapolated: the caller gets None and must refuse. A material
that is not known here brings its own curves and their source in the casing file.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from daq.settings_casing import CurvePoint, Heat, Material

CELSIUS_ZERO_K: Final = 273.15
Curve = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Alloy:
    """Highest strengths a casing file may state, and ratios by temperature in °C, up to 2 h."""

    yield_pa: float
    ultimate_pa: float
    strength: Curve
    modulus: Curve
    source: str


# Minima: the higher of checks 4.18 and 4.19; ratios: checks 4.20 and 4.21 (0.2 % proof ratio,
# taken for the ultimate strength too, which the table does not give).
AL_6061_T6: Final = Alloy(
    yield_pa=241.4e6,
    ultimate_pa=262.1e6,
    strength=((20, 1.0), (100, 0.95), (150, 0.91), (200, 0.79), (250, 0.55), (300, 0.31), (350, 0.1)),
    modulus=(
        (20, 1.0),
        (50, 0.99),
        (100, 0.97),
        (150, 0.93),
        (200, 0.86),
        (250, 0.78),
        (300, 0.68),
        (350, 0.54),
    ),
    source="EN 1999-1-1 table 3.2b and 49 CFR 178.46 table 2; EN 1999-1-2 tables 1a and 2",
)  # fmt: skip

# Ratio of the 2 % strain strength and of the modulus: EN 1993-1-2 table 3.1, from memory. The least
# steel that carries the name: EN 10025-2, t <= 16 mm, from memory.
S355: Final = Alloy(
    yield_pa=355e6,
    ultimate_pa=470e6,
    strength=((20, 1.0), (400, 1.0)),
    modulus=((20, 1.0), (100, 1.0), (200, 0.9), (300, 0.8), (400, 0.7)),
    source="EN 10025-2 and EN 1993-1-2 table 3.1, from memory: to be confirmed by the crew",
)
EXPOSURE_S: Final = 2 * 3600.0  # what the ratios of EN 1999-1-2 hold for (check 4.20)
# At or below the temperature of its artificial ageing, for less time: common practice, from memory.
UNHARMED: Final[dict[str, tuple[tuple[float, float], ...]]] = {
    "6061-T6": ((175.0, EXPOSURE_S),),
    "EN AW-6061 T6": ((175.0, EXPOSURE_S),),
    "S355": ((400.0, EXPOSURE_S),),
}

ALLOYS: Final[dict[str, Alloy]] = {"6061-T6": AL_6061_T6, "EN AW-6061 T6": AL_6061_T6, "S355": S355}


def alloy_of(metal: Material) -> Alloy | None:
    """The alloy by name, or made of the file's own curves; None if there is neither."""
    known = ALLOYS.get(metal.name)
    if known or not metal.strength_curve:
        return known
    return Alloy(
        yield_pa=metal.yield_pa,
        ultimate_pa=metal.ultimate_pa,
        strength=_curve(metal.strength_curve),
        modulus=_curve(metal.modulus_curve or metal.strength_curve),
        source=metal.curve_source,
    )


def _curve(points: tuple[CurvePoint, ...]) -> Curve:
    return tuple((point.at_k - CELSIUS_ZERO_K, point.left) for point in points)


def softened(metal: Material, heats: tuple[Heat, ...]) -> float | None:
    """Share left for good after these exposures; None where no row covers them: quarantine.

    On the safe side all the time counts as spent at the hottest; a row covers what is no hotter and
    no longer in total.
    """
    if not heats:
        return 1.0
    hottest, total_s = max(heat.at_k for heat in heats), sum(heat.for_s for heat in heats)
    rows = [(row.at_k, row.for_s, row.left) for row in metal.softening]
    rows += [(at + CELSIUS_ZERO_K, for_s, 1.0) for at, for_s in UNHARMED.get(metal.name, ())]
    return max(
        (left for at, for_s, left in rows if at >= hottest and for_s >= total_s), default=None
    )


def interpolated(curve: Curve, at: float) -> float | None:
    """Linear between the points; the first value below the first, None beyond the last."""
    if at <= curve[0][0]:
        return curve[0][1]
    for (x0, y0), (x1, y1) in pairwise(curve):
        if at <= x1:
            return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return None


def strength_left(alloy: Alloy, temperature_k: float) -> float | None:
    """Share of the strength at a temperature (k_T); None above the table, which must be refused."""
    return interpolated(alloy.strength, temperature_k - CELSIUS_ZERO_K)


def modulus_left(alloy: Alloy, temperature_k: float) -> float | None:
    """Share of Young's modulus at a temperature; None above the table."""
    return interpolated(alloy.modulus, temperature_k - CELSIUS_ZERO_K)


def stated_fault(name: str, yield_pa: float, ultimate_pa: float) -> str | None:
    """What is wrong with the strengths a file states for an alloy, as a sentence; None if nothing."""
    alloy = ALLOYS.get(name)
    if alloy is None:
        return f"material {name!r} has no strength curve here; known: {', '.join(ALLOYS)}"
    for word, stated, most in (
        ("yield", yield_pa, alloy.yield_pa),
        ("ultimate", ultimate_pa, alloy.ultimate_pa),
    ):
        if stated > most:
            return (
                f"{name} {word} strength {stated / 1e6:.4g} MPa is above the guaranteed minimum "
                f"{most / 1e6:.4g} MPa: rate on minima, never on typical values"
            )
    return None
