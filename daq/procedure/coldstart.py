"""What a saved latch fact is worth when a board is heard for the first time, or another board.

The answer is CLOSED unless the record says OPEN and nothing can have been given to an igniter
since. Not proven counts as happened: without a history the longest class runs from now, but for
the first opening, when no igniter was on the line since the last OPEN.
"""

from dataclasses import dataclass
from typing import Any

from daq.procedure.release import BLIND_S, Evidence
from daq.procedure.waits import History, Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """The state a latch goes on from; `started_tick` only if the wait carries on unbroken."""

    word: Word
    history: History
    names: tuple[str, ...] = ()
    started_tick: int | None = None
    running_from: str = "start"


def innermost(
    saved: dict[str, Any] | None, *, journal_empty: bool
) -> tuple[dict[str, Any] | None, bool]:
    """The last fact that a board confirmed. An engine that never heard a board adds nothing to the
    record: its fact only wraps the one before, and an empty journal stays an empty one. If it was
    told of something (smoke, a sound), the record proves nothing any more.
    """
    while saved is not None and not saved.get("settled", False):
        if saved.get("early"):
            return None, False
        journal_empty = bool(saved.get("journal_empty", False))
        inner = saved.get("saved")
        saved = inner if isinstance(inner, dict) else None
    return saved, journal_empty


def settle(
    saved: dict[str, Any] | None,
    evidence: Evidence,
    *,
    journal_empty: bool,
    last_tick: int | None,
) -> Settled | None:
    """Judge the last confirmed fact by what the board measures now; None: not yet, because OPEN is
    on record and the line has not been measured. Until then the latch is CLOSED.
    """
    if saved is None:
        return _unproven(History(igniter=not journal_empty), evidence)
    history = History.from_json(saved.get("history", {}))
    if saved.get("board_uid") != evidence.board_uid:
        return _unproven(history, evidence)
    if saved.get("word") == Word.OPEN.value:
        return _from_open(saved, history, evidence)
    return _from_closed(saved, history, evidence, last_tick)


def _unproven(history: History, evidence: Evidence) -> Settled:
    """The first opening, or the longest class from now."""
    given = history.energy or history.lit or history.unknown or history.unexplained
    igniter = history.igniter or evidence.load == "igniter"
    first = not (igniter or given or evidence.fired_latch)
    settled = History(igniter=igniter, first=first, unknown=not first)
    return Settled(word=Word.CLOSED, history=settled)


def _from_open(saved: dict[str, Any], history: History, evidence: Evidence) -> Settled | None:
    no_igniter = evidence.load in {"open", "dummy"}
    ran_through = saved.get("boot_nonce") == evidence.boot_nonce
    if (no_igniter or ran_through) and not evidence.fired_latch:
        names = tuple(str(name) for name in saved.get("names", ()))
        return Settled(word=Word.OPEN, history=history, names=names)
    if evidence.load == "unknown" and not evidence.fired_latch:
        return None
    return _unproven(history, evidence)


def _from_closed(
    saved: dict[str, Any], history: History, evidence: Evidence, last_tick: int | None
) -> Settled:
    """CLOSED stays CLOSED; its wait carries on only on ticks of the same boot, without a gap."""
    heard = saved.get("tick") if last_tick is None else last_tick
    same = saved.get("boot_nonce") == evidence.boot_nonce
    gap_s = float("inf") if heard is None else (evidence.tick - heard) / evidence.tick_hz
    started: int | None = None
    cause = "start"
    if history.burning or not same or not 0.0 <= gap_s <= BLIND_S:
        history = history.blinded()
    elif saved.get("started_tick") is not None:
        started, cause = int(saved["started_tick"]), str(saved.get("from", "start"))
    if evidence.fired_latch and not history.accounts_for_fired:
        history, started, cause = history.made_unknown(), None, "start"
    return Settled(word=Word.CLOSED, history=history, started_tick=started, running_from=cause)
