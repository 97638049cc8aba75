"""Firing line of the simulated stand: supply, key, stop, two switches, line, load.

Key and stop are in the wiring: with the key out or the stop pressed no current flows, whatever the
switches do. Both switches must be closed as well. The load is an igniter (a plain resistance that
may open when it has worked), a dummy, or nothing. No construction detail is modelled or needed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal, Self

Load = Literal["igniter", "dummy", "open"]
NOT_MEASURED_MOHM: Final = 0xFFFF


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterSpec:
    """`all_fire_a` through the bridge for `fire_after_s` works it; `opens` = the bridge breaks."""

    ohm: float
    all_fire_a: float
    fire_after_s: float
    opens: bool = True

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        return cls(
            ohm=float(raw["ohm"]),
            all_fire_a=float(raw["all_fire_a"]),
            fire_after_s=float(raw["fire_after_s"]),
            opens=bool(raw.get("opens", True)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSpec:
    """Supply behind `source_ohm`, firing line of `line_ohm` (out and back), a dummy load."""

    supply_mv: float = 12_600.0
    source_ohm: float = 0.10
    line_ohm: float = 0.60
    dummy_ohm: float = 6.8

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        known = ("supply_mv", "source_ohm", "line_ohm", "dummy_ohm")
        return cls(**{name: float(raw[name]) for name in known if raw.get(name) is not None})


@dataclass(slots=True, kw_only=True)
class FiringLine:
    """Live state of the line; `step(dt)` moves the igniter on and says when it has just worked."""

    spec: LineSpec
    igniter: IgniterSpec
    key_in: bool = False
    key_contact_welded: bool = False
    key_contact_dead: bool = False
    stop_in: bool = False
    joined: bool = False
    load: Load = "igniter"
    shunted: bool = False
    high: bool = False
    low: bool = False
    high_welded: bool = False
    low_welded: bool = False
    bridge_open: bool = False
    dud: bool = False
    stays: bool = False
    extra_ohm: float = 0.0
    supply_mv: float = field(init=False)
    current_a: float = field(init=False, default=0.0)
    worked: bool = field(init=False, default=False)
    _heated_s: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        self.supply_mv = self.spec.supply_mv

    @property
    def high_closed(self) -> bool:
        return self.high or self.high_welded

    @property
    def low_closed(self) -> bool:
        return self.low or self.low_welded

    @property
    def key_sensed(self) -> bool:
        """What the sense contact says; the power contacts follow the key itself."""
        return self.key_in or self.key_contact_welded

    @property
    def powered(self) -> bool:
        made = self.key_in and not self.key_contact_dead and not self.stop_in
        return made and self.high_closed and self.low_closed

    def load_ohm(self) -> float | None:
        """Resistance at the end of the line; None = open."""
        if not self.joined or self.load == "open":
            return None
        if self.shunted:
            return 0.0
        if self.load == "dummy":
            return self.spec.dummy_ohm
        return None if self.bridge_open else self.igniter.ohm

    def loop_ohm(self) -> float | None:
        """Line and load as seen from the box; None = open."""
        load = self.load_ohm()
        return None if load is None else self.spec.line_ohm + self.extra_ohm + load

    def step(self, dt_s: float) -> bool:
        """Current now; True in the one step in which the igniter works."""
        loop = self.loop_ohm() if self.powered else None
        if loop is None:
            self.current_a = 0.0
            self._heated_s = 0.0
            return False
        self.current_a = self.supply_mv / 1000.0 / (self.spec.source_ohm + loop)
        return self._heat(dt_s)

    def _heat(self, dt_s: float) -> bool:
        on_igniter = self.load == "igniter" and not self.shunted
        if self.current_a < self.igniter.all_fire_a or self.worked or not on_igniter:
            self._heated_s = 0.0
            return False
        self._heated_s += dt_s
        if self._heated_s < self.igniter.fire_after_s:
            return False
        self.worked = True
        self.bridge_open = self.igniter.opens and not self.stays
        return not self.dud

    def line_mv(self) -> int:
        """Voltage between the two line poles at the box; 0 unless both switches pass the supply."""
        if not self.powered:
            return 0
        return round(self.supply_mv - 1000.0 * self.current_a * self.spec.source_ohm)

    def line_ma(self) -> int:
        return round(1000.0 * self.current_a)

    def sagged_mv(self) -> int:
        """Supply terminals under the present load."""
        return round(self.supply_mv - 1000.0 * self.current_a * self.spec.source_ohm)

    def continuity_mohm(self) -> int:
        """Loop resistance by the limited continuity current; 0xFFFF = open or line energised."""
        loop = self.loop_ohm()
        if loop is None or self.powered:
            return NOT_MEASURED_MOHM
        return min(NOT_MEASURED_MOHM - 1, round(1000.0 * loop))
