"""The inputs of one fold: the newest status, its age since it was received, the keys on this desk."""

from dataclasses import dataclass, field
from typing import Final

from daq.console.readings import Status
from daq.console.wording import age

GREY_S: Final = 0.25
"""Older than this (since received): numbers grey, their age shown."""
STALE_S: Final = 0.50
"""Older than this (since received): STALE."""
QUIET: Final = frozenset({"COUNTDOWN", "HOLD", "FIRE", "BURNING"})
"""No alarm can be answered from the count to burn-out."""
WAITS: Final = frozenset({"WAIT", "MISFIRE", "ABORT"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Local:
    """What this desk knows by itself: keys held, digits being typed, where the frame stands."""

    f_down: bool = False
    j_down: bool = False
    gripped: bool = False
    prompt: str = ""
    shown: str = ""
    digits: str = ""
    line: str | None = None
    on_alarm: bool = False
    notice: str = ""
    crew: tuple[str, ...] = ()
    size_ok: bool = True
    watching: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One status at one time. `seen` is false until the first status came."""

    status: Status
    age_s: float
    seen: bool = True
    local: Local = field(default_factory=Local)

    @property
    def stale(self) -> bool:
        return not self.seen or self.age_s > STALE_S

    @property
    def dim(self) -> bool:
        return self.age_s > GREY_S

    @property
    def blind(self) -> bool:
        """What the board measures is not known now: no status, or the engine lost its link."""
        return self.stale or self.status.text("link", "word") == "lost"

    @property
    def link_age(self) -> str:
        """How long the engine has heard nothing of the board."""
        old = self.status.number("link", "age_ms")
        return "" if old is None else age(old / 1e3 + self.age_s)

    @property
    def age_text(self) -> str:
        return age(self.age_s) if self.seen else "never"

    @property
    def phase(self) -> str:
        return self.status.text("phase")

    @property
    def mode(self) -> str:
        return self.status.text("mode") or "NO ENGINE"

    @property
    def in_rehearsal(self) -> bool:
        return self.mode == "REHEARSAL"
