"""What really happened, reduced without any sensor: the figures a result may be compared with.

The figures carry the names of a result, but the truth has its own definitions: pressures are gauge;
action time lies between the first and last crossing of 10 % of maximum pressure; burn time runs from
the same start to the moment the main web was really gone (a result estimates that from the shape);
average thrust and action impulse lie between the 10 % points of thrust; ignition delay runs from
line current to 10 % of maximum pressure; specific impulse is by propellant charged. Trapezoid rule.
"""

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from daq.units import G0_M_S2
from simulators.plant import Plant
from simulators.rig import Rig

Array = npt.NDArray[np.float64]
START_PART: Final = 0.10


def _crossings(time: Array, value: Array, level: float) -> tuple[float, float]:
    """First and last time at which the trace crosses `level`, interpolated."""
    above = np.flatnonzero(value >= level)
    first, last = int(above[0]), int(above[-1])
    rise = time[first]
    if first > 0:
        part = (level - value[first - 1]) / (value[first] - value[first - 1])
        rise = time[first - 1] + part * (time[first] - time[first - 1])
    fall = time[last]
    if last + 1 < len(value):
        part = (value[last] - level) / (value[last] - value[last + 1])
        fall = time[last] + part * (time[last + 1] - time[last])
    return float(rise), float(fall)


def _cut(time: Array, value: Array, start: float, end: float) -> tuple[Array, Array]:
    """The trace between two moments, ends interpolated."""
    inside = (time > start) & (time < end)
    ends = np.interp((start, end), time, value)
    return (
        np.concatenate(([start], time[inside], [end])),
        np.concatenate((ends[:1], value[inside], ends[1:])),
    )


def _integral(time: Array, value: Array) -> float:
    return float(np.sum(0.5 * (value[1:] + value[:-1]) * np.diff(time)))


def figures(plant: Plant) -> dict[str, dict[str, Any]]:
    """The true figures; empty when the motor never lit."""
    motor = plant.motor
    if motor is None or plant.lit_s is None or not plant.trace:
        return {}
    rows = np.array(plant.trace)
    time, pressure, thrust, burned = (
        rows[:, 0],
        rows[:, 1] - motor.ambient_pa,
        rows[:, 2],
        rows[:, 3],
    )
    top = float(pressure.max())
    start, end = _crossings(time, pressure, START_PART * top)
    first, last = _crossings(time, thrust, START_PART * float(thrust.max()))
    impulse, action = _integral(time, thrust), _integral(*_cut(time, thrust, first, last))
    spec = motor.spec
    web_kg = spec.propellant_kg * (1.0 - spec.grain.web_spread)
    out = float(time[np.argmax(burned >= web_kg)]) if burned[-1] >= web_kg else end
    average = _integral(*_cut(time, pressure, start, end)) / (end - start)
    found: dict[str, tuple[float, str]] = {
        "burn_time_s": (out - start, "s"),
        "action_time_s": (end - start, "s"),
        "peak_pressure_pa": (top, "Pa"),
        "average_pressure_pa": (average, "Pa"),
        "peak_thrust_n": (float(thrust.max()), "N"),
        "average_thrust_n": (action / (last - first), "N"),
        "total_impulse_n_s": (impulse, "N*s"),
        "action_impulse_n_s": (action, "N*s"),
        "specific_impulse_s": (impulse / (spec.propellant_kg * G0_M_S2), "s"),
    }
    if plant.t0_s is not None:
        found["ignition_delay_s"] = (start - plant.t0_s, "s")
    return {name: {"value": value, "unit": unit} for name, (value, unit) in found.items()}


def outcome(plant: Plant) -> str:
    """One word: "burst", "burnt", "misfire" (line energised, no light), "not fired"."""
    if plant.motor is not None and plant.motor.burst:
        return "burst"
    if plant.lit_s is not None:
        return "burnt"
    return "misfire" if plant.energised else "not fired"


def truth(rig: Rig) -> dict[str, Any]:
    """Everything that truth.json says, in the shape of a result: figures, outcome, T-0, events."""
    plant = rig.plant
    return {
        "figures": figures(plant),
        "outcome": outcome(plant),
        "t0_tick": plant.t0_tick,
        "t0_s": plant.t0_s,
        "lit_s": plant.lit_s,
        "out_s": plant.out_s,
        "igniter_worked_s": plant.worked_s,
        "bridge_open": plant.line.bridge_open,
        "ran_s": rig.now_s,
        "stepped_s": rig.stepped_s,
        "boots": rig.boots,
        "events": rig.events,
    }
