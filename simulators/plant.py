"""Everything behind the board's pins: firing line, motor, sensors, outputs, memory, key and stop.

`Plant` is what the board calls its hardware (`Hal`, simulators/board.py). It knows nothing of
frames, states or limits: the board decides, the plant answers. Time comes in through `step`.
"""

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from firmware_protocol.numbers import Out
from simulators.circuit import FiringLine
from simulators.motor import Motor
from simulators.pins import PinLog
from simulators.sensors import Channel
from simulators.setup import StandSetup

VENT_S: Final = 0.15
SHAKE_HZ: Final = 11.0
TRACE_LIMIT: Final = 400_000
OUT_NAMES: Final[dict[int, str]] = {int(out): out.name.lower() for out in Out}


@dataclass(slots=True, kw_only=True)
class Ramp:
    """A motor attribute moves in a straight line; used by throat blockage and the like."""

    name: str
    goal: float
    left_s: float


class Plant:
    """The stand's hardware. `now_s` is stand time, `board_tick` the tick of the present boot."""

    def __init__(self, setup: StandSetup, pins: PinLog) -> None:
        self.setup = setup
        self.pins = pins
        self.line = FiringLine(
            spec=setup.line,
            igniter=setup.igniter,
            joined=setup.joined,
            load=setup.load,
            shunted=setup.shunted,
            key_in=setup.key_in,
            stop_in=setup.stop_in,
        )
        self.motor = Motor(setup.motor, setup.ambient_pa) if setup.motor is not None else None
        self.channels = {
            spec.name: Channel(
                spec,
                1.0 / setup.rate_of(spec.name),
                setup.seed * 1009 + place,
                setup.ambient_pa,
            )
            for place, spec in enumerate(setup.channels)
        }
        self.groups = [[self.channels[name] for name in group.channels] for group in setup.groups]
        self.mounted = True
        self.now_s = 0.0
        self.board_tick = 0
        self.t0_s: float | None = None
        self.t0_tick: int | None = None
        self.energised = False
        self.worked_s: float | None = None
        self.lit_s: float | None = None
        self.out_s: float | None = None
        self.hang_s: float | None = None
        self.weight_n = 0.0
        self.puff_pa = 0.0
        self.shake_n = 0.0
        self.trace: list[tuple[float, float, float, float]] = []
        self.on_moment: Callable[[str], None] = lambda _word: None
        self._puff_left_s = 0.0
        self._shake_left_s = 0.0
        self._ramps: list[Ramp] = []
        self._outputs: dict[int, bool] = {}
        self._nv = setup.nv
        self._rng = random.Random(setup.seed ^ 0x5EED)

    # what the world does -------------------------------------------------------------------

    def step(self, dt_s: float) -> None:
        """Move circuit, motor and everything mechanical on by one fast sample."""
        self.now_s += dt_s
        line = self.line
        if line.powered or line.current_a:
            self._step_line(dt_s)
        motor = self.motor
        if motor is None:
            return
        if self._ramps:
            self._step_ramps(dt_s)
        if motor.light_in_s is not None or motor.pressure_pa != motor.ambient_pa or motor.lit:
            motor.step(dt_s)
            self._watch(motor)
        if self._puff_left_s or self.puff_pa:
            self._step_puff(dt_s)
        if self._shake_left_s > 0.0:
            self._shake_left_s -= dt_s

    def _step_line(self, dt_s: float) -> None:
        line = self.line
        worked = line.step(dt_s)
        if self.t0_s is None and line.current_a >= line.igniter.all_fire_a:
            self.t0_s = self.now_s
            self.t0_tick = self.board_tick
            self.on_moment("t0")
        if worked:
            self.worked_s = self.now_s
            self.ignite()

    def ignite(self) -> None:
        """The igniter worked: a mounted motor lights after its delay (or after the hang)."""
        if self.motor is None or not self.mounted:
            return
        delay = self.motor.spec.ignition_delay_s
        self.motor.ignite(delay if self.hang_s is None else self.hang_s)

    def _watch(self, motor: Motor) -> None:
        burning = motor.lit
        if (burning or motor.pressure_pa > motor.ambient_pa) and len(self.trace) < TRACE_LIMIT:
            self.trace.append((self.now_s, motor.pressure_pa, motor.thrust_n, motor.burned_kg))
        if burning and (self.lit_s is None or self.out_s is not None):
            if self.lit_s is None:
                self.lit_s = self.now_s
            self.out_s = None
            self.on_moment("lit")
        elif not burning and self.lit_s is not None and self.out_s is None:
            self.out_s = self.now_s
            self.on_moment("out")

    def _step_ramps(self, dt_s: float) -> None:
        for ramp in self._ramps:
            now = getattr(self.motor, ramp.name)
            part = min(1.0, dt_s / ramp.left_s) if ramp.left_s > 0.0 else 1.0
            setattr(self.motor, ramp.name, now + (ramp.goal - now) * part)
            ramp.left_s -= dt_s
        self._ramps = [ramp for ramp in self._ramps if ramp.left_s > 0.0]

    def ramp(self, name: str, goal: float, over_s: float) -> None:
        """Move a motor attribute to `goal` within `over_s`."""
        self._ramps.append(Ramp(name=name, goal=goal, left_s=max(over_s, 1e-4)))

    def puff(self, pa: float, hold_s: float) -> None:
        """A person's test pressure at the motor end of the sense line, vented after hold_s."""
        self.puff_pa = pa
        self._puff_left_s = hold_s

    def _step_puff(self, dt_s: float) -> None:
        if self._puff_left_s > 0.0:
            self._puff_left_s = max(0.0, self._puff_left_s - dt_s)
            return
        self.puff_pa -= self.puff_pa * min(1.0, dt_s / VENT_S)
        if abs(self.puff_pa) < 1.0:
            self.puff_pa = 0.0

    def shake(self, newton: float, for_s: float) -> None:
        """Somebody leans on the stand."""
        self.shake_n = newton
        self._shake_left_s = for_s

    def skip(self, seconds: float) -> None:
        """Rehearsal step: what needs time vents and settles at once; nothing else happens."""
        self.now_s += seconds
        self._puff_left_s = max(0.0, self._puff_left_s - seconds)
        if not self._puff_left_s:
            self.puff_pa = 0.0
        self._shake_left_s = 0.0
        if self.motor is not None:
            if self.motor.light_in_s is not None:
                self.motor.light_in_s -= seconds
            if not self.motor.lit:
                self.motor.pressure_pa = self.motor.ambient_pa
                self.motor.thrust_n = 0.0

    @property
    def busy(self) -> bool:
        """Current, flame or pressure: no rehearsal step now. A light still to come is not busy."""
        motor = self.motor
        hot = motor is not None and (
            motor.lit
            or motor.pressure_pa > 1.02 * motor.ambient_pa
            or 0.0 < motor.lit_fraction < 1.0
        )
        return bool(self.line.powered or self.line.current_a or hot or self._ramps)

    @property
    def lights_in_s(self) -> float | None:
        """Time until a flame that is on its way; None if none is."""
        return None if self.motor is None else self.motor.light_in_s

    def rows(self, group: int) -> tuple[int, ...]:
        """One conversion of every channel of a group: raw counts in channel order."""
        motor = self.motor
        pressure, force = (
            (self.setup.ambient_pa, 0.0) if motor is None else (motor.pressure_pa, motor.thrust_n)
        )
        pressure += self.puff_pa
        force += self.weight_n
        if self._shake_left_s > 0.0:
            force += self.shake_n * self._rng.uniform(-1.0, 1.0)
        return tuple([channel.sample(pressure, force) for channel in self.groups[group]])

    # what the board calls -------------------------------------------------------------------

    def key_in(self) -> bool:
        return self.line.key_sensed

    def stop_in(self) -> bool:
        return self.line.stop_in

    def high_closed(self) -> bool:
        return self.line.high_closed

    def low_closed(self) -> bool:
        return self.line.low_closed

    def line_mv(self) -> int:
        return self.line.line_mv()

    def line_ma(self) -> int:
        return self.line.line_ma()

    def continuity_mohm(self) -> int:
        return self.line.continuity_mohm()

    def supply_mv(self) -> int:
        if self._outputs.get(Out.TEST_LOAD, False):
            return self.line.sagged_mv() - round(
                1000 * self.setup.test_load_a * self.line.spec.source_ohm
            )
        return self.line.sagged_mv()

    def drive(self, high: bool, low: bool) -> None:
        """The two switch outputs; logged before anything else happens."""
        self.pins.put(self.board_tick, self.now_s, "high", high)
        self.pins.put(self.board_tick, self.now_s, "low", low)
        self.energised |= high and low
        self.line.high = high
        self.line.low = low
        self.line.step(0.0)

    def output(self, out: int, level: bool) -> None:
        """A named auxiliary output."""
        self.pins.put(self.board_tick, self.now_s, OUT_NAMES[int(out)], level)
        self._outputs[int(out)] = level
        if out == Out.SHUNT:
            for channel in self.channels.values():
                channel.shunt_on = level

    def read_output(self, out: int) -> bool:
        return self._outputs.get(int(out), False)

    def nv_read(self) -> bytes:
        return self._nv

    def nv_write(self, data: bytes) -> None:
        self._nv = bytes(data)
        if self.setup.nv_file is not None:
            self.setup.nv_file.write_bytes(self._nv)

    def entropy(self) -> int:
        return self._rng.getrandbits(32)

    def power_lost(self) -> None:
        """Pull-downs hold: every output the board drove is low from this instant."""
        self.drive(high=False, low=False)
        for out, level in list(self._outputs.items()):
            if level:
                self.output(out, level=False)

    def true_state(self) -> Mapping[str, Any]:
        """What really is, for debriefs and tests."""
        line, motor = self.line, self.motor
        return {
            "key_in": line.key_in,
            "stop_in": line.stop_in,
            "joined": line.joined,
            "load": line.load,
            "mounted": self.mounted,
            "shunted": line.shunted,
            "high": line.high_closed,
            "low": line.low_closed,
            "current_a": line.current_a,
            "bridge_open": line.bridge_open,
            "igniter_worked": line.worked,
            "pressure_pa": None if motor is None else motor.pressure_pa,
            "thrust_n": None if motor is None else motor.thrust_n,
            "lit": motor is not None and motor.lit,
            "burned_kg": 0.0 if motor is None else motor.burned_kg,
            "t0_s": self.t0_s,
            "lit_s": self.lit_s,
            "out_s": self.out_s,
        }
