"""What the release of the range rests on: the evidence, and each condition as a sentence.

A condition that does not hold says what is and what to do. The same list is shown while people
wait and decides when they ask, so the screen can promise nothing that the latch then refuses.
"""

import math
from dataclasses import dataclass
from typing import Final

from daq.procedure.waits import WaitClass, Word

BLIND_S: Final = 10.0
"""More than this without data restarts the wait; what went unseen counts as happened."""
VENTED_S: Final = 60.0
"""How long the pressure has to stay within U of ambient before it counts as proven vented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is measured and confirmed at this moment; None and "unknown" mean: not known.

    `data_age_s` is the age of the newest samples or status; `boot_nonce` and `tick` are the
    board's; `load` is "igniter", "dummy", "open" or "unknown" by the continuity windows;
    `ambient_s` is for how long every pressure channel has been within U of ambient;
    `unplugged_by` are the names that confirmed the firing line unplugged and shorted at the
    control point since the key came out; `confirmed_dead_by` stands in record-only for circuit,
    key and stop.
    """

    data_age_s: float = float("inf")
    board_uid: str = ""
    boot_nonce: int | None = None
    tick: int = 0
    tick_hz: float = 1e6
    circuit_dead: bool = False
    key_in: bool | None = None
    stop_in: bool = False
    fired_latch: bool = True
    load: str = "unknown"
    pressure_healthy: bool = False
    rose_and_fell: bool = False
    ambient_s: float = 0.0
    unplugged_by: tuple[str, ...] = ()
    confirmed_dead_by: tuple[str, ...] = ()

    @property
    def vented(self) -> bool:
        """Proven vented: healthy, rose and fell in this burn, at ambient for 60 s."""
        return self.pressure_healthy and self.rose_and_fell and self.ambient_s >= VENTED_S

    @property
    def at_ambient(self) -> bool:
        return self.pressure_healthy and self.ambient_s > 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseItem:
    """One condition of the release: what to bring about, and the sentence while it is missing."""

    text: str
    done: bool
    missing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """The range is released: by whom, after which class, and whether the pressure was proven."""

    names: tuple[str, ...]
    wait: WaitClass
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LatchView:
    """What the screen shows. `left_s` is None without a timed wait; not `running` means that the
    full length stands still until what `note` says.
    """

    word: Word
    reason: str
    wait: WaitClass | None
    left_s: float | None
    running: bool
    note: str
    since: str
    names: tuple[str, ...]
    release: tuple[ReleaseItem, ...]


def _names(names: tuple[str, ...]) -> int:
    return len({name.strip() for name in names if name.strip()})


def key_out(evidence: Evidence) -> ReleaseItem:
    out = evidence.key_in is False
    why = "The key is in: take it out and hand it to the pad lead."
    unknown = "The key is not known to be out: bring the board back."
    return ReleaseItem(
        text="Key out", done=out, missing=why if evidence.key_in else "" if out else unknown
    )


def circuit_dead(evidence: Evidence) -> ReleaseItem:
    return ReleaseItem(
        text="Circuit measured DEAD",
        done=evidence.circuit_dead,
        missing="The circuit is not measured DEAD: key out, and find the volts or the closed switch.",
    )


def stop_in(evidence: Evidence) -> ReleaseItem:
    return ReleaseItem(
        text="Stop button in",
        done=evidence.stop_in,
        missing="The stop button is out: press it in.",
    )


def unplugged(evidence: Evidence) -> ReleaseItem:
    told = _names(evidence.unplugged_by)
    return ReleaseItem(
        text="Firing line unplugged and shorted, two names",
        done=told >= 2,
        missing="The firing line is not confirmed unplugged and shorted at the control point by "
        f"two names ({told} so far): do it and confirm it on the radio.",
    )


def confirmed_dead(evidence: Evidence) -> ReleaseItem:
    told = _names(evidence.confirmed_dead_by)
    return ReleaseItem(
        text="Circuit dead, key out, stop in: two names",
        done=told >= 2,
        missing="Circuit dead, key out and stop in are not measured here: two of you confirm them "
        f"({told} so far).",
    )


def line_open_or_dummy(evidence: Evidence) -> ReleaseItem:
    return ReleaseItem(
        text="Line measured open or dummy",
        done=evidence.load in {"open", "dummy"},
        missing=f"The line is measured {evidence.load}: it must read open or dummy; "
        "unplug it and measure again.",
    )


def not_fired(evidence: Evidence) -> ReleaseItem:
    return ReleaseItem(
        text="Board's fired latch clear",
        done=not evidence.fired_latch,
        missing="The board remembers a pulse or a rise that nobody released: "
        "the longest wait of the range runs first.",
    )


def heard(evidence: Evidence, *, blind: bool, settled: bool) -> ReleaseItem:
    age_s = min(evidence.data_age_s, 999.0)
    silent = blind or age_s > BLIND_S
    return ReleaseItem(
        text="Board heard",
        done=settled and not silent,
        missing=f"No data for {age_s:.0f} s: bring the board back; the wait starts when data come."
        if silent
        else "The line has not been measured since the start: have the board measure it.",
    )


def two_names(names: tuple[str, ...], rso: str) -> ReleaseItem:
    """Only the range safety officer opens the range, and never alone (practice 1)."""
    has_rso = bool(rso.strip()) and rso in names
    missing = (
        "Two names release the range, and two different ones: have the second person sign."
        if has_rso or not names
        else "Only the range safety officer opens the range: have that person sign too."
    )
    return ReleaseItem(
        text="Range safety officer and one more sign",
        done=has_rso and _names(names) >= 2,
        missing=missing,
    )


def items(wait: WaitClass, evidence: Evidence, *, record_only: bool) -> list[ReleaseItem]:
    """The conditions of one class but for the wait itself, the board's voice and the names."""
    if wait is WaitClass.FIRST:
        return [key_out(evidence), line_open_or_dummy(evidence), not_fired(evidence)]
    if wait is WaitClass.DRY:
        return [key_out(evidence)]
    if record_only:
        return [confirmed_dead(evidence), unplugged(evidence)]
    return [key_out(evidence), circuit_dead(evidence), stop_in(evidence), unplugged(evidence)]


def no_wait(*, burning: bool) -> ReleaseItem:
    return ReleaseItem(
        text="No timed wait", done=not burning, missing="The motor burns: stay behind cover."
    )


def wait_over(wait: WaitClass, left_s: float, *, running: bool, since: str) -> ReleaseItem:
    """The timed wait: over only if it ran, on proven clocks, to its end."""
    name = wait.value.replace("_", " ")
    whole = math.ceil(left_s)
    clock = f"{whole // 60}:{whole % 60:02d} min"
    told = (
        f"has {clock} left, counted from {since}"
        if running
        else f"has not started, starts at {since} and is {clock} long"
    )
    return ReleaseItem(
        text=f"Wait over ({name})",
        done=running and left_s <= 0.0,
        missing=f"The {name} wait {told}: stay behind cover.",
    )
