"""Faults as data: when (a trigger), what (a kind from one table), with which numbers.

The stand knows these moments only: seconds since its start, T-0 (line current above all-fire), the
motor really lit or out, and the board's state words. A countdown mark is not among them: what must
happen at T-3 s belongs into the crew script of a scenario.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Self

MOMENTS: Final = frozenset(
    {"t0", "lit", "out", "armed", "disarmed", "energised", "burn", "tripped", "reset"}
)

# kind -> (required names, optional names); `at` and `for_s` are always understood where useful
KINDS: Final[dict[str, tuple[frozenset[str], frozenset[str]]]] = {
    "sensor_stuck": (frozenset({"channel"}), frozenset({"for_s"})),
    "sensor_rail": (frozenset({"channel"}), frozenset({"side", "for_s"})),
    "sensor_open": (frozenset({"channel"}), frozenset({"for_s"})),
    "sensor_offset": (frozenset({"channel", "si"}), frozenset({"for_s"})),
    "sensor_gain": (frozenset({"channel", "factor"}), frozenset({"for_s"})),
    "sensor_drift": (frozenset({"channel", "si_per_s"}), frozenset({"for_s"})),
    "sensor_noise": (frozenset({"channel", "factor"}), frozenset({"for_s"})),
    "sensor_plug": (frozenset({"channel"}), frozenset({"for_s"})),
    "sensor_slow": (frozenset({"channel", "tau_s"}), frozenset()),
    "sensor_spike": (frozenset({"channel", "si"}), frozenset({"times", "every_s"})),
    "sensor_pickup": (frozenset({"channel", "si"}), frozenset({"tau_s"})),
    "brownout": (frozenset({"for_s"}), frozenset()),
    "board_reset": (frozenset(), frozenset({"cause"})),
    "board_silent": (frozenset(), frozenset({"for_s"})),
    "cable_out": (frozenset(), frozenset({"for_s"})),
    "cable_in": (frozenset(), frozenset()),
    "link_lag": (frozenset({"lag_s"}), frozenset({"for_s"})),
    "link_noise": (frozenset({"share"}), frozenset({"for_s"})),
    "key_out": (frozenset(), frozenset({"for_s"})),
    "key_in": (frozenset(), frozenset()),
    "key_welded": (frozenset(), frozenset()),
    "key_contact_dead": (frozenset(), frozenset()),
    "stop_in": (frozenset(), frozenset({"for_s"})),
    "stop_out": (frozenset(), frozenset()),
    "switch_welded": (frozenset({"switch"}), frozenset({"for_s"})),
    "line_open": (frozenset(), frozenset({"for_s"})),
    "line_ohm": (frozenset({"ohm"}), frozenset({"for_s"})),
    "supply": (frozenset({"mv"}), frozenset({"for_s"})),
    "igniter_open": (frozenset(), frozenset()),
    "igniter_dud": (frozenset(), frozenset()),
    "igniter_stays": (frozenset(), frozenset()),
    "hang_fire": (frozenset({"delay_s"}), frozenset()),
    "light_motor": (frozenset(), frozenset()),
    "over_pressure": (frozenset(), frozenset({"throat_factor", "surface_factor", "over_s"})),
    "leak": (frozenset({"share"}), frozenset({"over_s"})),
    "burst": (frozenset(), frozenset()),
    "chuff": (frozenset({"off_s"}), frozenset({"times", "on_s"})),
}
SWITCHES: Final = ("high", "low")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trigger:
    """`moment` "" means seconds since the start of the stand; else seconds after that moment."""

    moment: str
    plus_s: float

    @classmethod
    def parse(cls, text: str | float) -> Self:
        """12.5, "12.5", "t0", "t0+0.05", "armed+20"; ValueError tells what is possible."""
        if not isinstance(text, str):
            return cls(moment="", plus_s=float(text))
        word, _, plus = text.partition("+")
        word = word.strip()
        try:
            if word in MOMENTS:
                return cls(moment=word, plus_s=float(plus) if plus else 0.0)
            return cls(moment="", plus_s=float(text))
        except ValueError:
            known = ", ".join(sorted(MOMENTS))
            raise ValueError(
                f"fault at: expected seconds or one of {known} with an optional '+seconds', "
                f"got {text!r}"
            ) from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault: acts once, at its trigger's first time."""

    at: Trigger
    do: str
    args: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def from_json(cls, raw: Mapping[str, Any]) -> Self:
        """Checked against KINDS; the sentence names the fault, the word and what was expected."""
        do = str(raw.get("do", ""))
        if do not in KINDS:
            raise ValueError(f"fault do: unknown {do!r}, known are {', '.join(sorted(KINDS))}")
        if "at" not in raw:
            raise ValueError(f"fault {do}: says no 'at'")
        must, may = KINDS[do]
        args = {name: value for name, value in raw.items() if name not in ("at", "do")}
        for name in must - args.keys():
            raise ValueError(f"fault {do}: needs {name!r}")
        for name in args.keys() - must - may:
            raise ValueError(f"fault {do}: does not know {name!r}")
        if do == "switch_welded" and args["switch"] not in SWITCHES:
            raise ValueError(f"fault {do} switch: expected high or low, got {args['switch']!r}")
        if do == "sensor_rail" and args.get("side", "high") not in ("high", "low"):
            raise ValueError(f"fault {do} side: expected high or low, got {args['side']!r}")
        return cls(at=Trigger.parse(raw["at"]), do=do, args=args)


Later = Callable[[], None]


class FaultPlan:
    """Which faults are due. Moments are noted once each: the first T-0, the first ARMED, ..."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self._waiting = list(faults)
        self._dated: list[tuple[float, int, Fault | Later]] = []
        self._count = 0
        self.note("", 0.0)

    def note(self, moment: str, now_s: float) -> None:
        """The moment has come at `now_s`; faults that wait for it get a date."""
        ready = [fault for fault in self._waiting if fault.at.moment == moment]
        if not ready:
            return
        self._waiting = [fault for fault in self._waiting if fault.at.moment != moment]
        for fault in ready:
            self.add(now_s + fault.at.plus_s, fault)

    def add(self, when_s: float, what: Fault | Later) -> None:
        """Put a fault, or the end of one, at a date."""
        self._count += 1
        self._dated.append((when_s, self._count, what))
        self._dated.sort(key=lambda entry: entry[:2])

    def due(self, now_s: float) -> list[Fault | Later]:
        """Take out what is due, in order."""
        if not self._dated or self._dated[0][0] > now_s:
            return []
        out = []
        while self._dated and self._dated[0][0] <= now_s:
            out.append(self._dated.pop(0)[2])
        return out

    @property
    def next_s(self) -> float | None:
        """Date of the next dated fault."""
        return self._dated[0][0] if self._dated else None

    @property
    def waiting(self) -> int:
        """Faults without a date yet."""
        return len(self._waiting)
