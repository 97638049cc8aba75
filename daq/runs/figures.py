"""A figure of a burn: value, unit, expanded uncertainty and the definition it was made by.

Rules: every figure names its definition by id; changing a definition changes its id. A figure that
cannot be given is None with the reason. Nothing here is more than preliminary.
"""

from dataclasses import dataclass
from math import floor, isfinite, log10
from typing import Any, Final, Literal

from daq.units import UNITS, from_si

Bound = Literal["lower", "between"]

DEFINITIONS: Final[dict[str, str]] = {
    "LD1": "ignition delay: T-0 (sensed line current) to 10 % of peak pressure on the rise",
    "LD1F": "ignition delay: T-0 (sensed line current) to 10 % of peak thrust on the rise",
    "BT1": (
        "burn time: 10 % of peak pressure on the rise to web burn-out by the aft tangent bisector, "
        "axes scaled by action time and maximum pressure; forward line 25 to 10 % of the action "
        "time before the knee, aft line the steepest over 3 %"
    ),
    "BT1F": "burn time: as BT1, on thrust",
    "AT1": "action time: 10 % of peak pressure on the rise to 10 % on the fall",
    "AT1F": "action time: 10 % of peak thrust on the rise to 10 % on the fall",
    "IT1": "total impulse: area under all thrust until both channels were under 5 % of peak for 1 s",
    "IA1": "action impulse: area under thrust between its own 10 % points",
    "PP1": "peak pressure above ambient: highest level that 3 of 5 samples reached (as the trip sees it)",
    "PF1": "peak thrust: highest level that 3 of 5 samples reached, stand overshoot included",
    "PA1": "average pressure: integral over the action time AT1 / action time",
    "FA1": "average thrust: action impulse IA1 / time between the 10 % points of thrust",
    "IS1": "specific impulse: total impulse IT1 / (propellant charged * g0), g0 = 9.80665 m/s2",
    "MT1": "peak pressure PP1 in percent of the trip; the pressure's own uncertainty is kept whole",
}

SHOWN: Final[dict[str, tuple[str, str]]] = {
    "ignition_delay_s": ("Ignition delay", "s"),
    "burn_time_s": ("Burn time", "s"),
    "action_time_s": ("Action time", "s"),
    "peak_pressure_pa": ("Peak pressure", "mpa psi"),
    "average_pressure_pa": ("Average pressure", "mpa psi"),
    "peak_thrust_n": ("Peak thrust", "n lbf"),
    "average_thrust_n": ("Average thrust", "n lbf"),
    "total_impulse_n_s": ("Total impulse", "n_s lbf_s"),
    "action_impulse_n_s": ("Action impulse", "n_s lbf_s"),
    "specific_impulse_s": ("Specific impulse", "s"),
    "margin_used_percent": ("Peak of trip", "%"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """`value` and `u` (k = 2) in `unit`; `definition` is a key of DEFINITIONS.

    `bound` "lower" = at least this much (a channel was saturated or samples miss at the peak);
    "between" = samples are missing inside and the middle of the bounds is given.
    """

    value: float | None
    unit: str
    u: float | None
    definition: str
    note: str = ""
    bound: Bound | None = None

    def __post_init__(self) -> None:
        if self.definition not in DEFINITIONS:
            raise ValueError(f"{self.definition} is no known definition")
        if self.value is not None and not (isfinite(self.value) and self.u is not None):
            raise ValueError(f"{self.definition}: a value needs to be finite and to carry its U")

    def as_json(self) -> dict[str, Any]:
        """The shape in result.json."""
        return {
            "value": self.value,
            "unit": self.unit,
            "expanded_uncertainty": self.u,
            "k": 2,
            "definition": self.definition,
            "definition_text": DEFINITIONS[self.definition],
            "note": self.note,
            "bound": self.bound,
        }


def missing(unit: str, definition: str, why: str) -> Figure:
    """A figure that cannot be given, with the reason."""
    return Figure(value=None, unit=unit, u=None, definition=definition, note=why)


def decimals(u: float) -> int:
    """Decimals that match an uncertainty: its two leading digits are shown."""
    if not isfinite(u) or u <= 0:
        return 3
    return max(0, 1 - floor(log10(u)))


def number(value: float, places: int) -> str:
    """Real minus sign, thin space in thousands, point as decimal."""
    return f"{value:,.{places}f}".replace(",", "\u2009").replace("-", "\u2212")


def shown(name: str, value: float, u: float, bound: str | None = None) -> str:
    """`4.21 ± 0.05 MPa = 610.6 ± 7.3 psi`: digits match U, both systems where there are two."""
    texts = []
    for unit in SHOWN[name][1].split():
        scale = 1.0 if unit in {"s", "%"} else from_si(1.0, unit)
        symbol = unit if unit in {"s", "%"} else UNITS[unit].symbol
        places = decimals(u * scale)
        sign = "\u2265 " if bound == "lower" else ""
        texts.append(
            f"{sign}{number(value * scale, places)} ± {number(u * scale, places)} {symbol}"
        )
    return " = ".join(texts)
