"""Stand-off rules side by side, the stricter first, and what stored energy and throw say to them.

Floors to compare with, never permissions: the greatest wins and local law comes first (practice 8).
Published tables are printed in feet, pounds or N·s; lengths come out in m and round outward, to the
next whole metre. A value beyond a table is refused, never extrapolated. None of the energy figures
covers propellant: they are for gas that is let go.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import ceil, exp, log, sqrt
from typing import Final, Literal

from daq.assembly.casing import bore_area
from daq.settings import Settings
from daq.settings_table import Positive, Text
from daq.units import G0_M_S2, LB_KG, to_si

Who = Literal["crew", "visitors", "public"]
FEET_PER_ROOT_POUND_M: Final = 0.3048 / LB_KG ** (1 / 3)  # K-factor 1 ft/lb^⅓ in m/kg^⅓
TNT_J_KG: Final = 4.184e6  # thermochemical convention (check 7.4)
TNT_PCC2_J_KG: Final = 4_266_920.0  # ASME PCC-2 article 5.1 appendix II (check 7.4)
AMBIENT_PA: Final = 101_325.0
LIGHT_ALLOY_KG_M3: Final = 2700.0  # the lighter the closure, the faster the bound


class BeyondTheTables(ValueError):  # noqa: N818 - an answer, not a mistake of ours
    """No table reaches that far; the text names the rule."""


# ---- stored energy -------------------------------------------------------------------------------


def brode_j(p1: float, p0: float, volume: float, gamma: float) -> float:
    """Brode 1959: (p1 - p0) V/(γ - 1), absolute pressures in Pa, V in m³."""
    return (p1 - p0) * volume / (gamma - 1)


def isentropic_j(p1: float, p0: float, volume: float, gamma: float) -> float:
    ratio: float = (p0 / p1) ** ((gamma - 1) / gamma)
    return p1 * volume / (gamma - 1) * (1 - ratio)


def isothermal_j(p1: float, p0: float, volume: float) -> float:
    return p1 * volume * log(p1 / p0)


def availability_j(p1: float, p0: float, volume: float) -> float:
    return p1 * volume * (log(p1 / p0) - (1 - p0 / p1))


def pcc2_energy_j(test_pa: float, volume: float, ambient_pa: float = 101_000.0) -> float:
    """2.5 Pt V (1 - (Pa/Pt)^0.286): ASME PCC-2-2008 eq. II-2, absolute pressures."""
    ratio: float = (ambient_pa / test_pa) ** 0.286
    return 2.5 * test_pa * volume * (1 - ratio)


def pcc2_distance_m(energy_j: float, *, later_edition: bool = True) -> float:
    """Greater of 30 m (to 135.5 MJ), 60 m (to 271 MJ) and 20 m/kg^⅓; the later edition doubles TNT."""
    tnt = energy_j / TNT_PCC2_J_KG * (2 if later_edition else 1)
    by_formula = pcc2_scaled_m(tnt)
    if energy_j <= 135.5e6:
        return max(30.0, by_formula)
    if energy_j <= 271e6:
        return max(60.0, by_formula)
    return by_formula


def pcc2_scaled_m(tnt_kg: float) -> float:
    """20 m/kg^⅓ alone (check 7.6)."""
    distance: float = 20.0 * tnt_kg ** (1 / 3)
    return distance


# ---- blast ---------------------------------------------------------------------------------------

SWISDAK: Final = (
    (2.9, (7.2106, -2.1069, -0.3229, 0.1117, 0.0685)),
    (23.8, (7.5938, -3.0523, 0.40977, 0.0261, -0.01267)),
    (198.5, (6.0536, -1.4066)),
)


def overpressure_pa(scaled_m: float) -> float:
    """Peak incident overpressure of a hemispherical surface burst at Z in m/kg^⅓ TNT.

    Swisdak 1994 (check 7.7), 0.2 to 198.5. The fit rises 0.7 % at Z 23.8: never invert it there.
    """
    if not 0.2 <= scaled_m <= SWISDAK[-1][0]:
        raise BeyondTheTables(f"Z = {scaled_m:g} m/kg^⅓ is beyond the tables: 0.2 to 198.5")
    terms = next(terms for top, terms in SWISDAK if scaled_m <= top)
    return 1e3 * exp(sum(a * log(scaled_m) ** i for i, a in enumerate(terms)))


def scaled_distance(distance_m: float, tnt_kg: float) -> float:
    """Z in m/kg^⅓."""
    scaled: float = distance_m / tnt_kg ** (1 / 3)
    return scaled


# ---- throw ---------------------------------------------------------------------------------------


def vacuum_range_m(speed_m_s: float) -> float:
    """v²/g0: an upper bound, no drag (check 7.11)."""
    return speed_m_s**2 / G0_M_S2


def speed_bound_m_s(energy_j: float, mass_kg: float) -> float:
    """√(2E/m): all the energy into one part; a real part gets a fraction (check 7.12)."""
    return sqrt(2 * energy_j / mass_kg)


# ---- rules ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Charge:
    """What stands on the stand: N·s, kg of propellant, gauge pressure at rated burst, free volume."""

    impulse_n_s: float
    propellant_kg: float
    burst_pa: float
    volume_m3: float
    gamma: float
    closure_kg: float
    motors: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What one rule says for one group of people; distance in m, None = beyond its table."""

    rule: str
    who: Who
    distance_m: float | None
    source: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalRow:
    """One step of a local rule: up to so much impulse, so far."""

    impulse_n_s: Positive
    distance_m: Positive


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalRule:
    """A rule of one's own range, as data: a file may bring any number of them."""

    name: Text
    who: Literal["crew", "visitors", "public"]
    source: Text
    edition: Text
    rows: tuple[LocalRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalRules:
    """A TOML file of local rules: `[[rules]]` with `[[rules.rows]]`."""

    rules: tuple[LocalRule, ...]


CALIFORNIA_FT: Final = (
    (320, 30), (1280, 150), (2560, 200), (5120, 300), (10240, 500), (20480, 1000),
)  # fmt: skip
CALIFORNIA: Final = "19 CCR 1036(f) table 18A (edition not recorded: compare with the current text)"
SOCIETY_FT: Final = (
    (1280, 200), (2560, 300), (5120, 500), (10240, 1000), (20480, 1500), (40960, 2000),
)  # fmt: skip
SOCIETY: Final = "NFPA 1127 table, complex column, from memory: not verified"
PART420: Final = "14 CFR 420 appendix E table E-1, division 1.1 (edition not recorded: compare with the current text)"


def step_up(table: Iterable[tuple[float, float]], at: float) -> float | None:
    """The row that covers `at`, None beyond the last: a step is never interpolated downwards."""
    return next((value for top, value in table if at <= top), None)


def part420_ft(pounds: float) -> float | None:
    """Public distance of table E-1: 291.3 + 79.2 ln(lb) between 0.5 and 100 lb, None above."""
    if pounds <= 0.5:
        return 236.0
    if 99 < pounds <= 100:
        return 658.0  # the printed last row lies 2 ft above the formula
    return max(236.0, 291.3 + 79.2 * log(pounds)) if pounds <= 100 else None


def outward(feet: float | None) -> float | None:
    """Feet as whole metres, rounded up."""
    return None if feet is None else metres_up(to_si(feet, "ft"))


def metres_up(distance_m: float) -> float:
    return float(ceil(round(distance_m, 6)))


def charge_of(settings: Settings, burst_pa: float) -> Charge:
    """What these settings put on the stand; the bore counts as full of gas, the closure as light."""
    tube, motor = settings.casing.tube, settings.motor
    seal = max(seal.sealing_diameter_m for seal in settings.casing.seals)
    thinnest = min(closure.thickness_m for closure in settings.casing.closures)
    return Charge(
        impulse_n_s=motor.expected_impulse_n_s,
        propellant_kg=motor.propellant_kg,
        burst_pa=burst_pa,
        volume_m3=bore_area(tube.bore_m) * tube.length_m,
        gamma=motor.simulation.gamma,
        closure_kg=bore_area(seal) * thinnest * LIGHT_ALLOY_KG_M3,
    )


def rules_said(charge: Charge, local: Iterable[LocalRule] = ()) -> tuple[Said, ...]:
    """Every rule for the charge, the stricter first; beyond a table counts as strictest of all."""
    said = [rule(charge) for rule in _RULES]
    said += [_local(charge, rule) for rule in local]
    return tuple(
        sorted(said, key=lambda row: -(row.distance_m if row.distance_m is not None else 1e9))
    )


def least_distance_m(said: Iterable[Said], who: Who) -> float:
    """The greatest distance for one group; BeyondTheTables where any rule ends before the charge.

    A rule for the crew binds visitors and the public too, one for visitors the public.
    """
    order = ("crew", "visitors", "public")
    rows = [row for row in said if order.index(row.who) <= order.index(who)]
    for row in rows:
        if row.distance_m is None:
            raise BeyondTheTables(f"{row.rule}: beyond the tables ({row.source})")
    return max(row.distance_m for row in rows if row.distance_m is not None)


def _california(charge: Charge) -> Said:
    tops = [top for top, _ in CALIFORNIA_FT]
    feet = step_up(CALIFORNIA_FT, charge.impulse_n_s)
    if charge.motors > 1 and feet is not None:  # clusters: next higher class
        at = next(i for i, top in enumerate(tops) if charge.impulse_n_s <= top) + 1
        feet = CALIFORNIA_FT[at][1] if at < len(tops) else None
    return Said(
        rule="launch of experimental motors, all persons",
        who="crew",
        distance_m=outward(feet),
        source=CALIFORNIA,
        note="a launching rule: for a fixed motor it is a floor",
    )


def _society(charge: Charge) -> Said:
    return Said(
        rule="society table, experimental motors as complex",
        who="visitors",
        distance_m=outward(step_up(SOCIETY_FT, charge.impulse_n_s)),
        source=SOCIETY,
    )


def _part420(charge: Charge) -> Said:
    return Said(
        rule="explosive siting, public",
        who="public",
        distance_m=outward(part420_ft(charge.propellant_kg / LB_KG)),
        source=PART420,
        note="propellant counted as its weight of division 1.1: a pessimistic cross-check",
    )


def _gas(charge: Charge) -> Said:
    energy = pcc2_energy_j(charge.burst_pa + AMBIENT_PA, charge.volume_m3)
    return Said(
        rule="gas energy at rated burst",
        who="crew",
        distance_m=metres_up(pcc2_distance_m(energy)),
        source="ASME PCC-2 article 5.1 appendix III, later edition (2 × TNT)",
        note=f"{energy / 1e3:.1f} kJ; for gas tests of sound equipment, not for propellant",
    )


def _local(charge: Charge, rule: LocalRule) -> Said:
    rows = [(row.impulse_n_s, row.distance_m) for row in rule.rows]
    found = step_up(sorted(rows), charge.impulse_n_s)
    return Said(
        rule=rule.name,
        who=rule.who,
        distance_m=None if found is None else metres_up(found),
        source=f"{rule.source}, {rule.edition}",
        note="local rule",
    )


_RULES: Final[tuple[Callable[[Charge], Said], ...]] = (_california, _society, _part420, _gas)


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossChecks:
    """What energy says of a burst: upper bounds in J, m/s and m, TNT in kg."""

    brode_j: float
    isentropic_j: float
    tnt_kg: float
    closure_m_s: float
    closure_throw_m: float


def cross_checks(charge: Charge) -> CrossChecks:
    """Stored energy at rated burst by the gas's own γ, and the throw of a closure it could drive."""
    p1 = charge.burst_pa + AMBIENT_PA
    energy = brode_j(p1, AMBIENT_PA, charge.volume_m3, charge.gamma)
    speed = speed_bound_m_s(energy, charge.closure_kg)
    return CrossChecks(
        brode_j=energy,
        isentropic_j=isentropic_j(p1, AMBIENT_PA, charge.volume_m3, charge.gamma),
        tnt_kg=energy / TNT_J_KG,
        closure_m_s=speed,
        closure_throw_m=vacuum_range_m(speed),
    )


def standoff_text(charge: Charge, local: Iterable[LocalRule] = ()) -> str:
    """Rules side by side, stricter first, then the cross-checks."""
    lines = [
        "Stand-off: floors to compare with, never permissions. The greatest wins; local law first."
    ]
    for row in rules_said(charge, local):
        far = "beyond the tables" if row.distance_m is None else f"{row.distance_m:.0f} m"
        feet = "" if row.distance_m is None else f" = {ceil(row.distance_m / 0.3048)} ft"
        lines.append(f"  {row.who:9} {far + feet:>22}  {row.rule}: {row.source}")
        if row.note:
            lines.append(f"{'':35}({row.note})")
    seen = cross_checks(charge)
    lines.append(
        f"  gas at rated burst: {seen.brode_j / 1e3:.1f} kJ (Brode), "
        f"{seen.isentropic_j / 1e3:.1f} kJ (isentropic), {seen.tnt_kg * 1e3:.1f} g TNT"
    )
    lines.append(
        f"  closure {charge.closure_kg:.2f} kg: at most {seen.closure_m_s:.0f} m/s and "
        f"{seen.closure_throw_m:.0f} m (all energy in one part, no drag): a bound, not a forecast"
    )
    return "\n".join(lines)
