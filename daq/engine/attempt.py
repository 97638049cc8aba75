"""One attempt: what was given to the line, what the motor did, what tripped. Facts with their ticks.

T-0 is the sensed line current, not the button (practice 6.17); without a sensed current it is GO.
"""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class TripFact:
    """One trip: by whom ("board" or "engine"), when, at what reading; `delay_ms` first over to vote."""

    where: str
    tick: int
    pa: float | None
    counts: int | None
    delay_ms: float | None


@dataclass(slots=True)
class Attempt:
    """Facts of this attempt; a new arming begins a new one, nothing is ever taken back."""

    go_ns: int | None = None
    go_answered: bool = False
    line_on_tick: int | None = None
    line_on_ns: int | None = None
    line_off_tick: int | None = None
    most_ma: int = 0
    line_opened: bool = False
    lit_tick: int | None = None
    lit_ns: int | None = None
    lit_by: str = ""
    pulses: int = 0
    burning: bool = False
    burn_out_tick: int | None = None
    burn_out_ns: int | None = None
    quiet_from_tick: int | None = None
    trips: list[TripFact] = field(default_factory=list)
    unknown: bool = False

    @property
    def t0_ns(self) -> int | None:
        """Engine time of T-0: sensed current, else GO."""
        return self.line_on_ns if self.line_on_ns is not None else self.go_ns

    @property
    def gave_energy(self) -> bool:
        return self.go_ns is not None or self.line_on_tick is not None

    @property
    def was_lit(self) -> bool:
        return self.lit_tick is not None

    def note_line(self, on: bool, ma: int, tick: int, now_ns: int) -> str:
        """Take the sensed line; "on", "opened" (current, then open, switches still closed) or ""."""
        self.most_ma = max(self.most_ma, ma)
        if ma > 0 and self.line_on_tick is None:
            self.line_on_tick, self.line_on_ns = tick, now_ns
            return "on"
        if on and ma == 0 and self.line_on_tick is not None and not self.line_opened:
            self.line_opened = True
            return "opened"
        return ""

    def outcome(self) -> str:
        """One word for the end of the attempt."""
        if self.unknown and not self.was_lit:
            return "unknown"
        if self.was_lit:
            return "aborted" if self.trips else "burnt"
        return "misfire" if self.gave_energy else "not fired"

    def to_json(self) -> dict[str, Any]:
        """The OUTCOME fact."""
        return {
            "outcome": self.outcome(),
            "line_on_tick": self.line_on_tick,
            "line_off_tick": self.line_off_tick,
            "most_ma": self.most_ma,
            "line_opened": self.line_opened,
            "lit_tick": self.lit_tick,
            "lit_by": self.lit_by,
            "pulses": self.pulses,
            "burn_out_tick": self.burn_out_tick,
            "trips": [
                {
                    "where": trip.where,
                    "tick": trip.tick,
                    "pa": trip.pa,
                    "counts": trip.counts,
                    "delay_ms": trip.delay_ms,
                }
                for trip in self.trips
            ],
        }
