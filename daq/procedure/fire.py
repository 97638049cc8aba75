"""The firing procedure as one literal table: (phase, event) -> phase.

Everything is built from it: the state machine, the printed table and the drawing. A pair that maps
to its own phase was accepted and changes nothing here (a SAFE in WAIT still goes to the board).
A pair that is not in the table is refused with a sentence (`REFUSED`); each pair is in one of the
two, and a test walks all of them. What guards an event (conditions, codes, the last ten seconds)
is checked by the engine before it reports the event.

Three rules may be read off the columns: SAFE, ABORT and TRIP are accepted in every phase; LIT is
BURNING from everywhere, because the procedure follows the motor and not the buttons; and only
ASK_ARM, ARMED, RESUME and GO_SENT lead towards the pulse, one step each.
"""

from typing import Final

from daq.procedure.phases import Event, Phase

S, R, C, H, F, B, W, M, A, I = (  # noqa: E741 - ten letters keep the table readable as a table
    Phase.SAFE,
    Phase.ARM,
    Phase.COUNTDOWN,
    Phase.HOLD,
    Phase.FIRE,
    Phase.BURNING,
    Phase.WAIT,
    Phase.MISFIRE,
    Phase.ABORT,
    Phase.INSPECT,
)
E = Event

# fmt: off
STEPS: Final[dict[tuple[Phase, Event], Phase]] = {
    # towards the pulse, one step each
    (S, E.ASK_ARM): R, (R, E.ARMED): C, (H, E.RESUME): C, (C, E.GO_SENT): F,
    # the offer ends without an arming
    (R, E.OFFER_GONE): S,
    # a hold stops the clock; without an arming to keep it drops the offer; in the pulse it is a mark
    (S, E.HOLD_CALLED): S, (R, E.HOLD_CALLED): S, (C, E.HOLD_CALLED): H, (H, E.HOLD_CALLED): H,
    (F, E.HOLD_CALLED): F, (B, E.HOLD_CALLED): B, (W, E.HOLD_CALLED): W, (M, E.HOLD_CALLED): M,
    (A, E.HOLD_CALLED): A, (I, E.HOLD_CALLED): I,
    # recycle and scrub disarm; in the count they need a hold first
    (S, E.RECYCLE): S, (R, E.RECYCLE): S, (H, E.RECYCLE): S,
    (S, E.SCRUB): S, (R, E.SCRUB): S, (H, E.SCRUB): S,
    (W, E.SCRUB): W, (M, E.SCRUB): M, (A, E.SCRUB): A, (I, E.SCRUB): I,
    # SAFE: in the pulse energy may have gone in, so it is a misfire and not SAFE
    (S, E.SAFE_CALLED): S, (R, E.SAFE_CALLED): S, (C, E.SAFE_CALLED): S, (H, E.SAFE_CALLED): S,
    (F, E.SAFE_CALLED): M, (B, E.SAFE_CALLED): B, (W, E.SAFE_CALLED): W, (M, E.SAFE_CALLED): M,
    (A, E.SAFE_CALLED): A, (I, E.SAFE_CALLED): I,
    # ABORT and TRIP: from everywhere, in one step
    (S, E.ABORT_CALLED): A, (R, E.ABORT_CALLED): A, (C, E.ABORT_CALLED): A, (H, E.ABORT_CALLED): A,
    (F, E.ABORT_CALLED): A, (B, E.ABORT_CALLED): A, (W, E.ABORT_CALLED): A, (M, E.ABORT_CALLED): A,
    (A, E.ABORT_CALLED): A, (I, E.ABORT_CALLED): A,
    (S, E.TRIP): A, (R, E.TRIP): A, (C, E.TRIP): A, (H, E.TRIP): A, (F, E.TRIP): A,
    (B, E.TRIP): A, (W, E.TRIP): A, (M, E.TRIP): A, (A, E.TRIP): A, (I, E.TRIP): A,
    # the motor rules: a new voted rise is BURNING, whatever was commanded
    (S, E.LIT): B, (R, E.LIT): B, (C, E.LIT): B, (H, E.LIT): B, (F, E.LIT): B,
    (B, E.LIT): B, (W, E.LIT): B, (M, E.LIT): B, (A, E.LIT): B, (I, E.LIT): B,
    # the end of a pulse without a light, and of a burn (inside ABORT the burn logic runs on)
    (F, E.NOT_ACCEPTED): M, (F, E.NOT_LIT): M, (B, E.BURN_OUT): W, (A, E.BURN_OUT): A,
    # the fire control: released before GO it is a hold, in the pulse a misfire, once lit nothing
    (S, E.LET_GO): S, (R, E.LET_GO): R, (C, E.LET_GO): H, (H, E.LET_GO): H, (F, E.LET_GO): M,
    (B, E.LET_GO): B, (W, E.LET_GO): W, (M, E.LET_GO): M, (A, E.LET_GO): A, (I, E.LET_GO): I,
    # link lost in the pulse: outcome unknown, WAIT with the longest class until data show a burn
    (S, E.LINK_LOST): S, (R, E.LINK_LOST): S, (C, E.LINK_LOST): S, (H, E.LINK_LOST): S,
    (F, E.LINK_LOST): W, (B, E.LINK_LOST): B, (W, E.LINK_LOST): W, (M, E.LINK_LOST): M,
    (A, E.LINK_LOST): A, (I, E.LINK_LOST): I,
    # console lost (500 ms), then gone (5 s): in the pulse the same as letting go
    (S, E.CONSOLE_LOST): S, (R, E.CONSOLE_LOST): R, (C, E.CONSOLE_LOST): H,
    (H, E.CONSOLE_LOST): H, (F, E.CONSOLE_LOST): M, (B, E.CONSOLE_LOST): B,
    (W, E.CONSOLE_LOST): W, (M, E.CONSOLE_LOST): M, (A, E.CONSOLE_LOST): A,
    (I, E.CONSOLE_LOST): I,
    (S, E.CONSOLE_GONE): S, (R, E.CONSOLE_GONE): S, (C, E.CONSOLE_GONE): S,
    (H, E.CONSOLE_GONE): S, (F, E.CONSOLE_GONE): M, (B, E.CONSOLE_GONE): B,
    (W, E.CONSOLE_GONE): W, (M, E.CONSOLE_GONE): M, (A, E.CONSOLE_GONE): A,
    (I, E.CONSOLE_GONE): I,
    # the board is armed no more; reset in the pulse leaves a blind gap, as a lost link does
    (S, E.BOARD_FELL): S, (R, E.BOARD_FELL): S, (C, E.BOARD_FELL): S, (H, E.BOARD_FELL): S,
    (F, E.BOARD_FELL): W, (B, E.BOARD_FELL): B, (W, E.BOARD_FELL): W, (M, E.BOARD_FELL): M,
    (A, E.BOARD_FELL): A, (I, E.BOARD_FELL): I,
    # key out and stop in: the same effect, both cut the line by wire
    (S, E.KEY_OUT): S, (R, E.KEY_OUT): S, (C, E.KEY_OUT): S, (H, E.KEY_OUT): S,
    (F, E.KEY_OUT): M, (B, E.KEY_OUT): B, (W, E.KEY_OUT): W, (M, E.KEY_OUT): M,
    (A, E.KEY_OUT): A, (I, E.KEY_OUT): I,
    (S, E.STOP_IN): S, (R, E.STOP_IN): S, (C, E.STOP_IN): S, (H, E.STOP_IN): S,
    (F, E.STOP_IN): M, (B, E.STOP_IN): B, (W, E.STOP_IN): W, (M, E.STOP_IN): M,
    (A, E.STOP_IN): A, (I, E.STOP_IN): I,
    # the latch was opened; before any attempt (first opening, scrub) the phase stays SAFE
    (S, E.RELEASED): S, (W, E.RELEASED): I, (M, E.RELEASED): I, (A, E.RELEASED): I,
    (I, E.RELEASED): I,
    (I, E.INSPECTED): S,
}
# fmt: on

_WHY: Final[dict[Event, str]] = {
    E.ASK_ARM: "A new arming cannot start",
    E.ARMED: "The board's word ARMED starts no count here",
    E.OFFER_GONE: "There is no arming offer to lose",
    E.RESUME: "There is no hold to leave",
    E.RECYCLE: "The clock cannot go back now",
    E.SCRUB: "The day cannot be scrubbed now",
    E.GO_SENT: "GO is not sent",
    E.NOT_ACCEPTED: "No GO is waiting for its answer",
    E.NOT_LIT: "No pulse is waiting for a light",
    E.BURN_OUT: "No burn is known that could end",
    E.RELEASED: "The range cannot be released now",
    E.INSPECTED: "There is no inspection to close",
}

_SO: Final[dict[Phase, str]] = {
    S: "the phase is SAFE: go on with the checklist; its last line asks the board to arm",
    R: "arming is under way: type the eight digits, or press Space for SAFE",
    C: "the count runs: press P for HOLD or Space for SAFE first",
    H: "the count is in HOLD: resume with two names, recycle, or press Space for SAFE",
    F: "the firing pulse runs: keep F and J down, or let go to cut the line",
    B: "the motor burns: stay behind cover until the wait is over",
    W: "the wait runs: key out, stop in, then the release steps",
    M: "it is a misfire: key out, stop in, the full wait, then the release steps",
    A: "the attempt was aborted: key out, stop in, then the release steps",
    I: "inspection is open: sign its lines, then a new attempt starts from the checklist",
}

REFUSED: Final[dict[tuple[Phase, Event], str]] = {
    (phase, event): f"{_WHY[event]}; {_SO[phase]}."
    for event in Event
    for phase in Phase
    if (phase, event) not in STEPS
}
"""Every pair that is not in `STEPS`, with a sentence an operator can act on."""
