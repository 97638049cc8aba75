"""What each kind of fault does to the stand: one small function a kind, one table.

A fault with `for_s` is undone after that time. The table and `faults.KINDS` name the same kinds
(a test compares them). Nothing here reaches into the board: a fault is something of the world.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final, Protocol

from firmware_protocol.numbers import ResetCause
from simulators.cable import Cable
from simulators.faults import FaultPlan, Later
from simulators.plant import Plant
from simulators.sensors import Channel


class World(Protocol):
    """What a fault may touch; `Rig` is one."""

    plant: Plant
    cable: Cable
    plan: FaultPlan

    @property
    def now_s(self) -> float: ...
    def power_off(self, for_s: float) -> None: ...
    def reset(self, cause: ResetCause) -> None: ...


Args = Mapping[str, Any]
Act = Callable[[World, Args], Later | None]


def act(world: World, do: str, args: Args) -> None:
    """Do it; plan its end when it has one."""
    undo = ACTS[do](world, args)
    if undo is not None and "for_s" in args:
        world.plan.add(world.now_s + float(args["for_s"]), undo)


def _channel(world: World, args: Args) -> Channel:
    return world.plant.channels[args["channel"]]


def _put(thing: object, name: str, value: object) -> Later:
    """Set an attribute; the returned function puts the old value back."""
    before = getattr(thing, name)
    setattr(thing, name, value)
    return lambda: setattr(thing, name, before)


def _sensor(name: str, value: Callable[[Channel, Args], object]) -> Act:
    """A fault that is one attribute of one channel."""

    def change(world: World, args: Args) -> Later:
        channel = _channel(world, args)
        return _put(channel, name, value(channel, args))

    return change


def _slow(world: World, args: Args) -> None:
    _channel(world, args).slow_line(float(args["tau_s"]))


def _spike(world: World, args: Args) -> None:
    channel = _channel(world, args)
    counts = float(args["si"]) * channel.spec.counts_per_si

    def once() -> None:
        channel.spike_counts = counts

    for k in range(int(args.get("times", 1))):
        world.plan.add(world.now_s + k * float(args.get("every_s", 0.05)), once)


def _pickup(world: World, args: Args) -> None:
    channel = _channel(world, args)
    counts = float(args["si"]) * channel.spec.counts_per_si
    channel.pick_up(counts, float(args.get("tau_s", 0.001)))


def _brownout(world: World, args: Args) -> None:
    world.power_off(float(args["for_s"]))


def _reset(world: World, args: Args) -> None:
    world.reset(ResetCause[str(args.get("cause", "watchdog")).upper()])


def _cable_out(world: World, _args: Args) -> Later:
    undo = _put(world.cable, "plugged", True)
    world.cable.unplug()
    return undo


def _cable_in(world: World, _args: Args) -> None:
    world.cable.plugged = True


def _line(name: str, value: object) -> Act:
    return lambda world, _args: _put(world.plant.line, name, value)


def _weld(world: World, args: Args) -> Later:
    return _put(world.plant.line, f"{args['switch']}_welded", True)


def _extra_ohm(world: World, args: Args) -> Later:
    return _put(world.plant.line, "extra_ohm", float(args["ohm"]))


def _supply(world: World, args: Args) -> Later:
    return _put(world.plant.line, "supply_mv", float(args["mv"]))


def _hang_fire(world: World, args: Args) -> None:
    world.plant.hang_s = float(args["delay_s"])
    motor = world.plant.motor
    if motor is not None and motor.light_in_s is not None:
        motor.light_in_s = world.plant.hang_s


def _over_pressure(world: World, args: Args) -> None:
    over_s = float(args.get("over_s", 0.05))
    for name in ("throat_factor", "surface_factor"):
        if name in args:
            world.plant.ramp(name, float(args[name]), over_s)


def _leak(world: World, args: Args) -> None:
    world.plant.ramp("leak", float(args["share"]), float(args.get("over_s", 0.2)))


def _burst(world: World, _args: Args) -> None:
    if world.plant.motor is not None:
        world.plant.motor.break_case()


def _light(world: World, _args: Args) -> None:
    if world.plant.motor is not None:
        world.plant.motor.ignite(0.0)


def _chuff(world: World, args: Args) -> None:
    """The flame dies and comes back: off_s dark, on_s burning, `times` over."""
    motor = world.plant.motor
    if motor is None:
        return
    off_s, on_s = float(args["off_s"]), float(args.get("on_s", 0.3))

    def relight() -> None:
        motor.ignite(0.0)

    for k in range(int(args.get("times", 1))):
        start = world.now_s + k * (off_s + on_s)
        world.plan.add(start, motor.quench)
        world.plan.add(start + off_s, relight)


ACTS: Final[dict[str, Act]] = {
    "sensor_stuck": _sensor("broken", lambda _c, _a: "stuck"),
    "sensor_rail": _sensor("broken", lambda _c, a: f"rail_{a.get('side', 'high')}"),
    "sensor_open": _sensor("broken", lambda _c, _a: "open"),
    "sensor_offset": _sensor("offset_counts", lambda c, a: float(a["si"]) * c.spec.counts_per_si),
    "sensor_gain": _sensor("gain", lambda _c, a: float(a["factor"])),
    "sensor_drift": _sensor(
        "drift_counts_per_s", lambda c, a: float(a["si_per_s"]) * c.spec.counts_per_si
    ),
    "sensor_noise": _sensor("noise_factor", lambda _c, a: float(a["factor"])),
    "sensor_plug": _sensor("plugged", lambda _c, _a: True),
    "sensor_slow": _slow,
    "sensor_spike": _spike,
    "sensor_pickup": _pickup,
    "brownout": _brownout,
    "board_reset": _reset,
    "board_silent": lambda world, _args: _put(world.cable, "board_silent", True),
    "cable_out": _cable_out,
    "cable_in": _cable_in,
    "link_lag": lambda world, args: _put(world.cable, "lag_s", float(args["lag_s"])),
    "link_noise": lambda world, args: _put(world.cable, "noise", float(args["share"])),
    "key_out": _line("key_in", value=False),
    "key_in": _line("key_in", value=True),
    "key_welded": _line("key_contact_welded", value=True),
    "key_contact_dead": _line("key_contact_dead", value=True),
    "stop_in": _line("stop_in", value=True),
    "stop_out": _line("stop_in", value=False),
    "switch_welded": _weld,
    "line_open": _line("joined", value=False),
    "line_ohm": _extra_ohm,
    "supply": _supply,
    "igniter_open": _line("bridge_open", value=True),
    "igniter_dud": _line("dud", value=True),
    "igniter_stays": _line("stays", value=True),
    "hang_fire": _hang_fire,
    "light_motor": _light,
    "over_pressure": _over_pressure,
    "leak": _leak,
    "burst": _burst,
    "chuff": _chuff,
}
