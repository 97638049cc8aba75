"""Conversions at the edges; everything inside is SI (N, Pa, s, kg, m, K).

A settings key carries its unit as a suffix (`wall_mm`, `max_psi`, `weight_lbf`); this module
knows the suffixes, their dimension and their exact factor, and shows a value back in both systems.
Sources: NIST SP 811 appendix B (exact definitions of inch, pound and pound-force); check 6.1.
"""

from typing import Final, NamedTuple

G0_M_S2: Final = 9.80665
LBF_N: Final = 4.4482216152605
INCH_M: Final = 0.0254
PSI_PA: Final = LBF_N / INCH_M**2
LB_KG: Final = 0.45359237


class Unit(NamedTuple):
    """One unit: SI = value * factor + offset; `symbol` is what people read."""

    dimension: str
    factor: float
    symbol: str
    offset: float = 0.0


UNITS: Final[dict[str, Unit]] = {
    "m": Unit("length", 1.0, "m"),
    "mm": Unit("length", 1e-3, "mm"),
    "um": Unit("length", 1e-6, "µm"),
    "in": Unit("length", INCH_M, "in"),
    "ft": Unit("length", 0.3048, "ft"),
    "m2": Unit("area", 1.0, "m²"),
    "mm2": Unit("area", 1e-6, "mm²"),
    "pa": Unit("pressure", 1.0, "Pa"),
    "kpa": Unit("pressure", 1e3, "kPa"),
    "mpa": Unit("pressure", 1e6, "MPa"),
    "bar": Unit("pressure", 1e5, "bar"),
    "psi": Unit("pressure", PSI_PA, "psi"),
    "ksi": Unit("pressure", PSI_PA * 1e3, "ksi"),
    "n": Unit("force", 1.0, "N"),
    "kn": Unit("force", 1e3, "kN"),
    "lbf": Unit("force", LBF_N, "lbf"),
    "kgf": Unit("force", G0_M_S2, "kgf"),
    "kg": Unit("mass", 1.0, "kg"),
    "g": Unit("mass", 1e-3, "g"),
    "lb": Unit("mass", LB_KG, "lb"),
    "s": Unit("time", 1.0, "s"),
    "ms": Unit("time", 1e-3, "ms"),
    "us": Unit("time", 1e-6, "µs"),
    "min": Unit("time", 60.0, "min"),
    "k": Unit("temperature", 1.0, "K"),
    "c": Unit("temperature", 1.0, "°C", 273.15),
    "f": Unit("temperature", 5.0 / 9.0, "°F", 273.15 - 32.0 * 5.0 / 9.0),
    "a": Unit("current", 1.0, "A"),
    "ma": Unit("current", 1e-3, "mA"),
    "v": Unit("voltage", 1.0, "V"),
    "mv": Unit("voltage", 1e-3, "mV"),
    "ohm": Unit("resistance", 1.0, "Ω"),
    "mohm": Unit("resistance", 1e-3, "mΩ"),
    "hz": Unit("frequency", 1.0, "Hz"),
    "khz": Unit("frequency", 1e3, "kHz"),
    "m_s": Unit("speed", 1.0, "m/s"),
    "km_h": Unit("speed", 1.0 / 3.6, "km/h"),
    "mph": Unit("speed", 0.44704, "mph"),
    "pa_s": Unit("pressure rate", 1.0, "Pa/s"),
    "mpa_s": Unit("pressure rate", 1e6, "MPa/s"),
    "psi_s": Unit("pressure rate", PSI_PA, "psi/s"),
    "mm_s": Unit("speed", 1e-3, "mm/s"),
    "m3": Unit("volume", 1.0, "m³"),
    "cm3": Unit("volume", 1e-6, "cm³"),
    "kg_m3": Unit("density", 1.0, "kg/m³"),
    "g_cm3": Unit("density", 1e3, "g/cm³"),
    "n_s": Unit("impulse", 1.0, "N·s"),
    "lbf_s": Unit("impulse", LBF_N, "lbf·s"),
}


def split_key(key: str) -> tuple[str, str] | None:
    """Split `wall_mm` into ("wall", "mm"); the longest unit suffix wins; None if there is none."""
    parts = key.split("_")
    for at in range(1, len(parts)):
        suffix = "_".join(parts[at:])
        if suffix in UNITS:
            return "_".join(parts[:at]), suffix
    return None


def to_si(value: float, unit: str) -> float:
    """Value in `unit` (a key of UNITS) as SI; KeyError names an unknown unit."""
    known = UNITS[unit]
    return value * known.factor + known.offset


def from_si(value: float, unit: str) -> float:
    """SI value in `unit` (a key of UNITS)."""
    known = UNITS[unit]
    return (value - known.offset) / known.factor


PAIRS: Final[dict[str, tuple[str, str]]] = {
    "pressure": ("mpa", "psi"),
    "force": ("n", "lbf"),
    "length": ("mm", "in"),
    "mass": ("kg", "lb"),
    "temperature": ("c", "f"),
    "speed": ("m_s", "mph"),
    "impulse": ("n_s", "lbf_s"),
    "pressure rate": ("mpa_s", "psi_s"),
}


def both(value: float, dimension: str, digits: int = 4) -> str:
    """Show an SI value in both systems: `4.78 MPa = 693.3 psi`."""
    first, second = PAIRS[dimension]
    return " = ".join(
        f"{from_si(value, unit):.{digits}g} {UNITS[unit].symbol}" for unit in (first, second)
    )
