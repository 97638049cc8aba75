"""Published rules for walls, factors and tests: to hold a rating against, never a rating itself.

Lengths and pressures in any one system; strengths in that of the pressure. The configuration names
the convention it takes its factors from; nothing here is a default. Marks as in the list of check
values: "memory" was not seen in its source.
"""

from math import exp, sqrt
from typing import Final, NamedTuple


def wall_shell(
    pressure: float, radius: float, allowable: float, efficiency: float = 1.0, corrosion: float = 0
) -> float:
    """T = PR/(SE - 0.6P) on the corroded inside radius: ASME BPVC VIII-1 UG-27(c)(1)."""
    inside = radius + corrosion
    return pressure * inside / (allowable * efficiency - 0.6 * pressure) + corrosion


def wall_thick(pressure: float, radius: float, allowable: float) -> float:
    """T = R(√((S+P)/(S-P)) - 1): VIII-1 appendix 1-2, from memory."""
    return radius * (sqrt((allowable + pressure) / (allowable - pressure)) - 1)


def wall_plastic(pressure: float, radius: float, allowable: float) -> float:
    """T = D/2 (exp(P/S) - 1): VIII-2 4.3.3, from memory."""
    return radius * (exp(pressure / allowable) - 1)


def wall_maximum_strain(
    pressure: float, bore: float, allowable: float, poisson: float = 0.3
) -> float:
    """Closed ductile cylinder by greatest strain (Bhandari, ex. 22.4)."""
    top = allowable + (1 - 2 * poisson) * pressure
    return bore / 2 * (sqrt(top / (allowable - (1 + poisson) * pressure)) - 1)


def inch_stress_area(major_in: float, threads_per_inch: float) -> float:
    """Stress area in in²: 0.7854 (d - 0.9743/n)², ASME B1.1, from memory."""
    area: float = 0.7854 * (major_in - 0.9743 / threads_per_inch) ** 2
    return area


class Convention(NamedTuple):
    """One published factor: its name, its number and where it stands."""

    name: str
    value: float
    source: str


CONVENTIONS: Final = (
    Convention("water test over MAWP x lowest stress ratio", 1.3, "ASME VIII-1 UG-99(b)"),
    Convention("water test before the 1999 addenda", 1.5, "ASME VIII-1 UG-99(b), old"),
    Convention("gas test over MAWP x lowest stress ratio", 1.1, "ASME VIII-1 UG-100"),
    Convention("burst test over MAWP", 4.0, "ASME VIII-1 UG-101(m); 5 in older editions"),
    Convention("engine static parts, burst over greatest working", 1.5, "14 CFR 33.64"),
    Convention("engine static parts, burst over greatest possible", 1.15, "14 CFR 33.64"),
    Convention("solid motor case, crewed payload, burst", 1.25, "Henry 1963, flight values"),
    Convention("solid motor case, uncrewed payload, burst", 1.15, "Henry 1963, flight values"),
    Convention("non-flight loads dangerous to people, ultimate", 1.5, "Henry 1963"),
    Convention("metallic pressure vessel in space, burst", 1.5, "AIAA S-080, memory"),
    Convention("metallic structure, ultimate", 1.4, "NASA-STD-5001, memory"),
    Convention("motor case acceptance proof", 1.05, "NASA-STD-5001, memory"),
    Convention(
        "ground system part under no code, design burst over MAWP",
        4.0,
        "NASA ELV payload safety requirements 11.2.1.1: the nearest rule to a stand with people near",
    ),
)


def water_test(mawp: float, stress_ratio: float) -> float:
    """Test pressure of UG-99(b)."""
    return 1.3 * mawp * stress_ratio


def gas_test(mawp: float, stress_ratio: float) -> float:
    """Test pressure of UG-100; asks for the stored-energy distance first (practice 5.4)."""
    return 1.1 * mawp * stress_ratio


def rated_from_burst(burst: float, minimum_strength: float, measured_strength: float) -> float:
    """MAWP from a burst test: UG-101(m), joint efficiency 1."""
    return burst / 4 * minimum_strength / measured_strength


def engine_burst_needed(possible: float, working: float, kpa35: float) -> float:
    """Least burst pressure of 14 CFR 33.64; `kpa35` is 35 kPa in the unit used."""
    return max(1.15 * possible, 1.5 * working, possible + kpa35)


def space_proof(burst_factor: float) -> float:
    """Proof over MEOP: (1 + B)/2 below B = 2, else 1.5 (MIL-STD-1522A, from memory)."""
    return (1 + burst_factor) / 2 if burst_factor < 2 else 1.5


def conventions_text() -> str:
    """The table for the terminal."""
    lines = [f"{c.value:5.2f}  {c.name:56} {c.source}" for c in CONVENTIONS]
    return "\n".join(["Published factors, to compare with; none is a default here.", *lines])
