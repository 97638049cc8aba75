"""How long nobody goes forward: the range's waits, what happened since the latch closed, the class.

The waits come from the range's own rules; none has a default here. What happened is kept as facts
(`History`), and the class is worked out from the facts each time it is asked for, so that no code
path can forget to lengthen it. Where more than one class applies, the longest one runs.
"""

import math
from dataclasses import asdict, dataclass, fields, replace
from enum import StrEnum
from typing import Any, Final

from daq.errors import ConfigError

MISFIRE_FLOOR_S: Final = 15 * 60.0
"""Shortest misfire wait any settings may ask for (practice section 8, 30 CFR 56.6310)."""


class Word(StrEnum):
    """The only two words of the approach latch."""

    OPEN = "OPEN"
    CLOSED = "CLOSED"


class WaitClass(StrEnum):
    """Which rule the wait follows; NONE, FIRST and DRY have no timed wait."""

    NONE = "none"
    FIRST = "first opening"
    DRY = "dry"
    NORMAL = "normal"
    MISFIRE = "misfire"
    UNPROVEN = "unproven"
    IGNITION_SEEN = "ignition_seen"


TIMED: Final = (
    WaitClass.NORMAL,
    WaitClass.MISFIRE,
    WaitClass.UNPROVEN,
    WaitClass.IGNITION_SEEN,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Waits:
    """The range's four waits in seconds; a value that is not a wait is a `ConfigError`."""

    normal_wait_s: float
    misfire_wait_s: float
    unproven_wait_s: float
    ignition_seen_wait_s: float

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not (math.isfinite(value) and value > 0.0):
                raise ConfigError(f"waits {field.name}: expected seconds above 0, got {value!r}")
        if self.misfire_wait_s < MISFIRE_FLOOR_S:
            raise ConfigError(
                f"waits misfire_wait_s: expected at least {MISFIRE_FLOOR_S:.0f} s (15 min), "
                f"got {self.misfire_wait_s:g} s"
            )

    def of(self, wait: WaitClass) -> float:
        """Seconds of one class, 0 for those without a timed wait."""
        return float(getattr(self, f"{wait.value}_wait_s")) if wait in TIMED else 0.0

    def longest(self, classes: frozenset[WaitClass]) -> WaitClass:
        """The class that runs: the longest; of two equal ones the one named later in `WaitClass`."""
        order = list(WaitClass)
        return max(classes, key=lambda each: (self.of(each), order.index(each)))


class LatchEvent(StrEnum):
    """What the latch must hear of; the text is what the crew reads as the cause of a restart."""

    PEOPLE_CLEAR = "people clear"
    IGNITER_JOINED = "igniter joined to the line"
    KEY_IN = "key in"
    DRY_BEGAN = "dry count armed"
    """The board says ARMED in DRY, with the load inside the dummy's window."""
    GO = "fire order given"
    LINE_ON = "line energised"
    """Current or volts on the line, or a switch closed, whoever caused it."""
    LINE_OFF = "line off"
    """The pulse ended, or an armed board was disarmed without one."""
    LINE_OPENED = "line opened under current"
    """Current, then open: the igniter worked and the motor may still light."""
    LIT = "motor lit"
    UNEXPLAINED_RISE = "unexplained rise"
    PRESSURE_HIDDEN = "pressure not seen in the burn"
    """Thrust without its pressure: plugged or dead pressure line."""
    BURN_OUT = "burn-out"
    ABORTED = "abort"
    """ABORT or trip."""
    OUTCOME_UNKNOWN = "outcome unknown"
    """Link lost or board reset in the pulse."""
    SMOKE_REPORTED = "smoke reported"
    FLAME_REPORTED = "flame reported"
    SOUND_REPORTED = "sound reported"
    CONTINUITY_CHANGED = "continuity change"
    CLOCK_BREAK = "clock break"


REPORTED: Final = frozenset(
    {LatchEvent.SMOKE_REPORTED, LatchEvent.FLAME_REPORTED, LatchEvent.SOUND_REPORTED}
)
NO_RESTART: Final = frozenset(
    {
        LatchEvent.IGNITER_JOINED,
        LatchEvent.DRY_BEGAN,
        LatchEvent.PRESSURE_HIDDEN,
        LatchEvent.CLOCK_BREAK,
    }
)
"""Every other event starts the wait again from zero (CLOCK_BREAK only if the board's ticks do not
carry on)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Facts since the latch last closed (`igniter`: since it was last open). Nothing is undone but
    `burning`, and `unknown` once data show a burn.
    """

    igniter: bool = False
    first: bool = False
    energy: bool = False
    lit: bool = False
    burning: bool = False
    unexplained: bool = False
    hidden: bool = False
    unknown: bool = False
    line_opened: bool = False
    sign_seen: bool = False
    aborted: bool = False
    dry: bool = False
    dry_watch: bool = False

    def after(self, event: LatchEvent) -> "History":
        """The facts with this event added."""
        if event in REPORTED:
            return self._reported()
        if event is LatchEvent.IGNITER_JOINED:
            return self.with_igniter()
        if event is LatchEvent.DRY_BEGAN and self.energy and not self.dry:
            return self
        change = _CHANGES.get(event)
        return self if change is None else replace(self, **change)

    def _reported(self) -> "History":
        """A sign of fire: with energy given it is an ignition seen, without any it is unexplained
        and the outcome is unknown.
        """
        if self.energy or self.lit or self.unexplained:
            return replace(self, sign_seen=True, dry=False)
        return replace(self, sign_seen=True, unknown=True, first=False, dry=False)

    @property
    def accounts_for_fired(self) -> bool:
        """Whether a pulse or a rise is known that explains the board's fired latch."""
        return self.energy or self.lit or self.unexplained or self.unknown

    def made_unknown(self) -> "History":
        """Something may have happened unseen: the longest class, until data show a burn."""
        return replace(self, unknown=True, first=False, dry=False)

    def without_dummy(self) -> "History":
        """The load left the dummy's window before the line was off: no DRY release any more."""
        return replace(self, dry=False, dry_watch=False)

    def with_igniter(self) -> "History":
        """An igniter is on the line: the rule of the first opening holds no more."""
        return replace(self, igniter=True, first=False, unknown=self.unknown or self.first)

    def blinded(self) -> "History":
        """More than 10 s without data: what could have happened unseen counts as happened."""
        if self.burning:
            return replace(self, burning=False, hidden=True)
        if self.lit:
            return self
        if self.dry_watch:
            return replace(self, dry=False, unknown=self.unknown or self.energy)
        return replace(self, unknown=self.unknown or self.igniter)

    def classes(self, *, vented: bool, at_ambient: bool) -> frozenset[WaitClass]:
        """Every wait class that applies. `vented`: proven vented; `at_ambient`: pressure now."""
        if self.unknown:
            return frozenset(TIMED)
        if self.lit or self.unexplained:
            proven = vented and not (self.aborted or self.hidden or self.unexplained)
            return frozenset(
                {WaitClass.NORMAL} if proven else {WaitClass.NORMAL, WaitClass.UNPROVEN}
            )
        if self.dry and not self.dry_watch:
            return frozenset({WaitClass.DRY})
        if self.energy:
            seen = self.line_opened or self.sign_seen
            return frozenset(
                {WaitClass.MISFIRE, WaitClass.IGNITION_SEEN} if seen else {WaitClass.MISFIRE}
            )
        if self.first:
            return frozenset({WaitClass.FIRST})
        return frozenset({WaitClass.NONE if at_ambient else WaitClass.UNPROVEN})

    def to_json(self) -> dict[str, bool]:
        return asdict(self)

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> "History":
        """Facts as stored; a fact that is missing counts as unknown history, never as harmless."""
        known = {field.name for field in fields(cls)}
        if known - set(data):
            return cls(igniter=True, unknown=True)
        return cls(**{name: bool(data[name]) for name in known})


_CHANGES: Final[dict[LatchEvent, dict[str, bool]]] = {
    LatchEvent.GO: {"energy": True, "first": False},
    LatchEvent.LINE_ON: {"energy": True, "first": False},
    LatchEvent.LINE_OFF: {"dry_watch": False},
    LatchEvent.LINE_OPENED: {"energy": True, "line_opened": True, "first": False},
    LatchEvent.LIT: {
        "lit": True,
        "burning": True,
        "unknown": False,
        "first": False,
        "dry": False,
    },
    LatchEvent.UNEXPLAINED_RISE: {"unexplained": True, "first": False, "dry": False},
    LatchEvent.PRESSURE_HIDDEN: {"hidden": True},
    LatchEvent.BURN_OUT: {"burning": False},
    LatchEvent.ABORTED: {"aborted": True},
    LatchEvent.OUTCOME_UNKNOWN: {"energy": True, "unknown": True, "first": False, "dry": False},
    LatchEvent.DRY_BEGAN: {"dry": True, "dry_watch": True},
}
