"""What the screen says, cell by cell: plain words and the names of colours, no Qt.

The fold makes one `View` per paint; the window and the terminal draw it, tests read it. `fill` is ""
for a plain cell, a colour token, or `stale` (hatched edge).
"""

from dataclasses import dataclass, field
from typing import Literal

Pairs = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """The top line: mode, what is on the stand, UTC. `pattern`: solid, hatch or dots."""

    mode: str
    pattern: Literal["solid", "hatch", "dots"]
    note: str
    fields: Pairs
    setup: str
    utc: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmLine:
    """The one alarm shown; rank "" means none. `framed`: Enter answers it now."""

    rank: str
    what: str
    do: str
    note: str
    flash: bool
    framed: bool

    @property
    def fill(self) -> str:
        return {"URGENT": "red", "HIGH": "yellow"}.get(self.rank, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseCell:
    """`fill` also knows `red edge`: an abort that has been answered."""

    word: str
    fill: str
    rows: Pairs
    full: Pairs = ()
    """The engine's whole sentences, for whoever has the room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockCell:
    """Digits are never bare: the caption says what is counted. Hollow digits stand still."""

    caption: str
    note: str
    sign: str
    digits: str
    unit: str
    corner: str
    hollow: bool
    dim: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitCell:
    """`contacts`: key, high, low as sensed; None is drawn as a question mark."""

    word: str
    fill: str
    note: str
    contacts: tuple[tuple[str, bool | None], ...]
    foot: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ApproachCell:
    """`look`: closed, open, rehearsal (open, never green) or unknown."""

    word: str
    look: Literal["closed", "open", "rehearsal", "unknown"]
    note: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One line of the ladder; `heavy` is the trip, `beyond` stands above the scale."""

    text: str
    si: float
    heavy: bool = False
    beyond: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelCell:
    """A big number, its verdict, two small lines, and its bar on the chart's scale (SI)."""

    name: str
    note: str
    digits: str
    unit: str
    hollow: bool
    dim: bool
    mark: str
    mark_fill: str
    triangle: bool
    small: tuple[str, ...]
    si: float | None
    top_si: float
    trip_si: float | None
    rungs: tuple[Rung, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthRow:
    label: str
    value: str
    below: str = ""
    fill: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthCell:
    board: str
    engine: str
    differ: bool
    rows: tuple[HealthRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Title:
    left: str
    right: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Letters:
    """The checklist's sections: (letter, signed | current | open)."""

    marks: Pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    left: str
    right: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a list: ticked or open, with a signature or value at the right."""

    text: str
    right: str
    done: bool
    fill: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """The one blue frame: `live` is false while the alarm line has it."""

    head: str
    lines: tuple[str, ...]
    boxes: str | None = None
    entry: str = ""
    live: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """A label with a value; `big` 24 px, `huge` also tells a second line below."""

    label: str
    value: str
    below: str = ""
    big: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A result with its definition id."""

    definition: str
    name: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    text: str
    bold: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    pass


Block = Title | Letters | Tally | Line | Frame | Pair | Figure | Say | Rule


@dataclass(frozen=True, slots=True, kw_only=True)
class Cap:
    """A key: `look` off (grey), ready (outlined) or act (blue); `foot` while it is down."""

    label: tuple[str, str]
    look: Literal["off", "ready", "act"]
    foot: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class KeysCell:
    fire_f: Cap
    fire_j: Cap
    hold: Cap
    enter: Cap
    space: str
    space_note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartsCell:
    """How both charts are framed: seconds around T-0 or the last 30 s, and what is printed in."""

    frame: Literal["strip", "burn"]
    burn_s: float
    stamp: str
    stale: str
    band: bool
    near: bool
    over: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Everything the screen says at one moment; `n` is the status it came from (-1: none yet)."""

    n: int
    age_s: float
    stale: bool
    phase_name: str
    mode: str
    band: Band
    alarm: AlarmLine
    phase: PhaseCell
    clock: ClockCell
    circuit: CircuitCell
    approach: ApproachCell
    pressure: ChannelCell
    thrust: ChannelCell
    health: HealthCell
    people: tuple[Block, ...]
    refusal: tuple[str, str]
    events: Pairs
    keys: KeysCell
    charts: ChartsCell
    causes: tuple[str, ...] = field(default=())
