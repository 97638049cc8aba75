"""The words of the firing procedure: phases, events, and what each phase tells the crew.

A phase names what the procedure is doing. It says nothing about whether anybody may go forward:
that is the approach latch alone (`approach.py`), and never the phase SAFE.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Phase(StrEnum):
    """Where the procedure stands; MISFIRE is a wait with its own length."""

    SAFE = "SAFE"
    ARM = "ARM"
    COUNTDOWN = "COUNTDOWN"
    HOLD = "HOLD"
    FIRE = "FIRE"
    BURNING = "BURNING"
    WAIT = "WAIT"
    MISFIRE = "MISFIRE"
    ABORT = "ABORT"
    INSPECT = "INSPECT"


class Event(StrEnum):
    """What happened, as the engine reports it; one event per step, in the order it was seen."""

    ASK_ARM = "ASK_ARM"
    """Enter on the last checklist line, every condition true: ARM_ASK goes out."""
    ARMED = "ARMED"
    """The board's STATUS says ARMED after ARM_TAKE."""
    OFFER_GONE = "OFFER_GONE"
    """The offer ran out, was refused, or ARM_TAKE was not accepted."""
    HOLD_CALLED = "HOLD_CALLED"
    """Anyone called HOLD, or a condition of the count broke."""
    RESUME = "RESUME"
    """Two names left a hold, range clear renewed."""
    RECYCLE = "RECYCLE"
    """Back to an earlier mark, disarmed."""
    SCRUB = "SCRUB"
    """No more attempts today."""
    SAFE_CALLED = "SAFE_CALLED"
    ABORT_CALLED = "ABORT_CALLED"
    GO_SENT = "GO_SENT"
    """T-0 with the fire control held: GO went out, once."""
    NOT_ACCEPTED = "NOT_ACCEPTED"
    """GO was not seen accepted within 200 ms; SAFE was sent, no retry."""
    LET_GO = "LET_GO"
    """The fire control was released, or its grip lapsed."""
    LIT = "LIT"
    """A new voted rise of thrust or pressure (a motor that is known to burn gives no second one)."""
    NOT_LIT = "NOT_LIT"
    """No voted rise within `lit_within_s`."""
    BURN_OUT = "BURN_OUT"
    TRIP = "TRIP"
    """The board's or the engine's vote says over the trip pressure."""
    LINK_LOST = "LINK_LOST"
    CONSOLE_LOST = "CONSOLE_LOST"
    """No console beat for 500 ms."""
    CONSOLE_GONE = "CONSOLE_GONE"
    """No console beat for 5 s."""
    BOARD_FELL = "BOARD_FELL"
    """The board is armed no more, without a command of ours: its time ran out, or it was reset
    (a pulse that simply ends is none of these)."""
    RELEASED = "RELEASED"
    """The approach latch was opened by the release procedure."""
    INSPECTED = "INSPECTED"
    """The inspection lines are signed."""
    KEY_OUT = "KEY_OUT"
    STOP_IN = "STOP_IN"
    """The stop button is pressed in."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """An answer, not a fault: why not, and what to do. `missing` lists each reason on its own."""

    text: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseWords:
    """Three sentences of the phase cell: what is, what may come, what may not yet be done."""

    now: str
    next: str
    not_yet: str


BOARD_AGREES: Final[dict[Phase, frozenset[str]]] = {
    Phase.SAFE: frozenset({"DISARMED"}),
    Phase.ARM: frozenset({"DISARMED", "ARMED"}),
    Phase.COUNTDOWN: frozenset({"ARMED"}),
    Phase.HOLD: frozenset({"ARMED"}),
    Phase.FIRE: frozenset({"ENERGISED", "DISARMED"}),
    Phase.BURNING: frozenset({"BURN", "ENERGISED"}),
    Phase.WAIT: frozenset({"DISARMED", "BURN"}),
    Phase.MISFIRE: frozenset({"DISARMED"}),
    Phase.ABORT: frozenset({"TRIPPED", "DISARMED"}),
    Phase.INSPECT: frozenset({"DISARMED"}),
}
"""Which board state agrees with which phase; anything else for 200 ms is an alarm.
FIRE agrees with DISARMED because the pulse may be over before the motor is seen lit; ABORT with
DISARMED because the board's trip latch goes with the key; WAIT with BURN because the board may
see the end of the burn a moment later."""

WORDS: Final[dict[Phase, PhaseWords]] = {
    Phase.SAFE: PhaseWords(
        now="Disarmed. The checklist leads.",
        next="Arm, after the last checklist line.",
        not_yet="SAFE is no leave to go forward: read APPROACH.",
    ),
    Phase.ARM: PhaseWords(
        now="Arming: read the board's echo aloud, both of you.",
        next="Four digits each, then Enter: the count runs.",
        not_yet="Nothing is armed before the board says ARMED.",
    ),
    Phase.COUNTDOWN: PhaseWords(
        now="Counting. P holds, Space goes to SAFE.",
        next="Hold F and J from T−3 s.",
        not_yet="Earlier than T−3 s F and J make it a HOLD.",
    ),
    Phase.HOLD: PhaseWords(
        now="The clock stands. The arming runs on.",
        next="Resume with two names, or recycle, or scrub.",
        not_yet="The fire control is dead in HOLD.",
    ),
    Phase.FIRE: PhaseWords(
        now="Firing pulse. Keep F and J down.",
        next="Lit, or MISFIRE.",
        not_yet="Letting go earlier cuts the line.",
    ),
    Phase.BURNING: PhaseWords(
        now="The motor burns and cannot be stopped.",
        next="Burn-out, then the wait.",
        not_yet="Stay behind cover; you may let go.",
    ),
    Phase.WAIT: PhaseWords(
        now="Wait. Key out, stop in, stay behind cover.",
        next="Release by two, when the wait is over.",
        not_yet="Nobody goes forward.",
    ),
    Phase.MISFIRE: PhaseWords(
        now="No light seen. It may still light.",
        next="Key out; the full wait; release by two.",
        not_yet="Nobody goes forward. No second pulse.",
    ),
    Phase.ABORT: PhaseWords(
        now="Line opened. A lit motor burns on.",
        next="Key out; the wait; release by two.",
        not_yet="Nobody goes forward.",
    ),
    Phase.INSPECT: PhaseWords(
        now="Released. Two go forward, from the side.",
        next="Inspection signed: SAFE again.",
        not_yet="No arming before the inspection is signed.",
    ),
}
