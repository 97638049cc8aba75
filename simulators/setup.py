"""The start message of the stand process: one JSON object of plain numbers and words, checked.

Shape (all SI; optional keys in brackets):

    {"stand": {"groups": [{"rate_hz": 4000, "channels": ["p1", "thrust"]}],
               ["baud", "uid" (16 hex digits), "ambient_pa", "line": {supply_mv, source_ohm,
               line_ohm, dummy_ohm}, "key_in", "stop_in", "joined", "load", "shunted", "nv_hex",
               "nv_file", "test_load_a", "ring_bytes"]},
     "channels": [{name, kind, counts_at_zero, counts_per_si, counts_lo, counts_hi, ...}],
     "motor": {...} or null, "igniter": {ohm, all_fire_a, fire_after_s, [opens]},
     "faults": [{"at": ..., "do": ..., ...}], "seed": 1, "out_dir": path or null,
     "port": "pty" or "socket"}

An igniter inside the motor's object is taken as well. ValueError says what is wrong, in a sentence.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self, cast

from simulators.circuit import IgniterSpec, LineSpec, Load
from simulators.faults import Fault
from simulators.motor import STANDARD_PA, MotorSpec
from simulators.sensors import ChannelSpec

DEFAULT_BAUD: Final = 1_000_000
LOADS: Final = ("igniter", "dummy", "open")
PORTS: Final = ("pty", "socket")


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Channels converted together at one rate."""

    rate_hz: int
    channels: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandSetup:
    """Everything a simulated stand is made of."""

    groups: tuple[Group, ...]
    channels: tuple[ChannelSpec, ...]
    motor: MotorSpec | None
    igniter: IgniterSpec
    line: LineSpec
    faults: tuple[Fault, ...]
    seed: int
    out_dir: Path | None
    port: str
    baud: int
    uid: bytes
    ambient_pa: float
    key_in: bool
    stop_in: bool
    joined: bool
    load: Load
    shunted: bool
    nv: bytes
    nv_file: Path | None
    test_load_a: float
    ring_bytes: int

    def rate_of(self, channel: str) -> int:
        """Rate of the group that holds a channel, Hz."""
        return next(group.rate_hz for group in self.groups if channel in group.channels)

    @property
    def fast_hz(self) -> int:
        return max(group.rate_hz for group in self.groups)

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        """Checked; a missing key is named with the object it is missing from."""
        try:
            return cls(**_read(raw))
        except KeyError as missing:
            raise ValueError(f"start message: {missing} is missing") from None


def _read(raw: Mapping[str, Any]) -> dict[str, Any]:
    stand = raw["stand"]
    channels = tuple(ChannelSpec.from_json(one) for one in raw["channels"])
    motor = raw.get("motor")
    igniter = raw.get("igniter") or (motor or {}).get("igniter")
    if igniter is None:
        raise ValueError("start message: no igniter is given, neither beside nor in the motor")
    nv_file = stand.get("nv_file")
    nv = bytes.fromhex(stand.get("nv_hex", ""))
    if nv_file is not None and Path(nv_file).exists():
        nv = Path(nv_file).read_bytes()
    seed = int(raw.get("seed", 1))
    out_dir = raw.get("out_dir")
    return {
        "groups": _groups(stand["groups"], {spec.name for spec in channels}),
        "channels": channels,
        "motor": None if motor is None else MotorSpec.from_json(motor),
        "igniter": IgniterSpec.from_json(igniter),
        "line": LineSpec.from_json(stand.get("line", {})),
        "faults": _faults(raw.get("faults", ()), {spec.name for spec in channels}),
        "seed": seed,
        "out_dir": None if out_dir is None else Path(out_dir),
        "port": _word(raw.get("port", "pty"), PORTS, "port"),
        "baud": int(stand.get("baud", DEFAULT_BAUD)),
        "uid": bytes.fromhex(stand.get("uid", f"5a{seed & 0xFFFFFFFFFFFFFF:014x}")),
        "ambient_pa": float(stand.get("ambient_pa", STANDARD_PA)),
        "key_in": bool(stand.get("key_in", False)),
        "stop_in": bool(stand.get("stop_in", False)),
        "joined": bool(stand.get("joined", False)),
        "load": cast("Load", _word(stand.get("load", "igniter"), LOADS, "load")),
        "shunted": bool(stand.get("shunted", False)),
        "nv": nv,
        "nv_file": None if nv_file is None else Path(nv_file),
        "test_load_a": float(stand.get("test_load_a", 2.0)),
        "ring_bytes": int(stand.get("ring_bytes", 512 * 1024)),
    }


def _word(word: Any, known: tuple[str, ...], name: str) -> str:
    if word not in known:
        raise ValueError(f"start message {name}: expected one of {', '.join(known)}, got {word!r}")
    return str(word)


def _faults(raw: Iterable[Mapping[str, Any]], channels: set[str]) -> tuple[Fault, ...]:
    faults = tuple(Fault.from_json(one) for one in raw)
    for fault in faults:
        name = fault.args.get("channel")
        if name is not None and name not in channels:
            raise ValueError(
                f"fault {fault.do}: channel {name!r} is none of {', '.join(sorted(channels))}"
            )
    return faults


def _groups(raw: list[Mapping[str, Any]], known: set[str]) -> tuple[Group, ...]:
    groups = tuple(
        Group(rate_hz=int(one["rate_hz"]), channels=tuple(one["channels"])) for one in raw
    )
    fast = max((group.rate_hz for group in groups), default=0)
    for group in groups:
        if group.rate_hz <= 0 or fast % group.rate_hz or 1_000_000 % group.rate_hz:
            raise ValueError(
                f"start message groups: rate_hz {group.rate_hz} must divide the fastest rate "
                f"{fast} and 1000000"
            )
        for name in group.channels:
            if name not in known:
                raise ValueError(f"start message groups: channel {name!r} is not described")
    known_groups = {name for group in groups for name in group.channels}
    if known_groups != known:
        raise ValueError(f"start message groups: {sorted(known - known_groups)} are in no group")
    if not groups:
        raise ValueError("start message groups: at least one group is needed")
    return groups
