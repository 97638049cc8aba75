"""Why the board refused or disarmed: number on the wire, sentence for the operator."""

from enum import IntEnum, unique
from typing import Final


@unique
class Reason(IntEnum):
    OK = 0
    KEY_IN = 1
    KEY_OUT = 2
    KEY_NOT_SEEN_OUT = 3
    STOP_IN = 4
    WRONG_STATE = 5
    NO_LIMITS = 6
    LIMITS_CRC = 7
    LIMITS_DAMAGED = 8
    SETUP_ID = 9
    PULSE = 10
    ARMED_TIME = 11
    SELFTEST_OLD = 12
    SELFTEST_FAILED = 13
    SELFTEST_RUNNING = 14
    LINE_NOT_DEAD = 15
    HIGH_SWITCH = 16
    LOW_SWITCH = 17
    CONTINUITY = 18
    NOT_THE_DUMMY = 19
    IGNITER_SEEN = 20
    CHANNEL_SILENT = 21
    CHANNEL_RAIL = 22
    CHANNEL_OPEN = 23
    CHANNEL_STUCK = 24
    ABOVE_TRIP = 25
    NO_TRIP_CHANNEL = 26
    RING_FROZEN = 27
    TRIP_LATCHED = 28
    FIRED_LATCHED = 29
    ABORT_LATCHED = 30
    SUPPLY = 31
    CHALLENGE = 32
    OFFER_GONE = 33
    GRIP_SHORT = 34
    GRIP_STALE = 35
    ECHO_OLD = 36
    GO_USED = 37
    PROOF = 38
    BENCH = 39
    OUTPUT = 40
    NOT_NOW = 41
    UNKNOWN_COMMAND = 42
    REPEATED = 43
    STAGED_CRC = 44
    LIMITS_BAD = 45
    BURNING = 46
    SAFE_COMMAND = 47
    ABORT_COMMAND = 48
    NEW_SESSION = 49
    HOST_SILENT = 50
    ARMED_EXPIRED = 51
    PULSE_END = 52
    MOTOR_LIT = 53
    TRIPPED = 54
    SWITCH_DISAGREES = 55
    READBACK = 56
    BLIND = 57
    NO_GROUP = 58


REASON_TEXT: Final[dict[Reason, str]] = {
    Reason.OK: "Done as asked.",
    Reason.KEY_IN: "The key is in: take it out first, this is only done with the key out.",
    Reason.KEY_OUT: "The key is out: put it in when the checklist says so.",
    Reason.KEY_NOT_SEEN_OUT: "The board has not seen the key OUT since this session began: take it out, wait, put it in again. If it still refuses, the key contact is welded: stop the test.",
    Reason.STOP_IN: "The stop button is pressed: find out why, then pull it out.",
    Reason.WRONG_STATE: "The board is in another state: send SAFE and start from the first step.",
    Reason.NO_LIMITS: "No limits are active on the board: load the set-up and read it back.",
    Reason.LIMITS_CRC: "The limits named are not the ones active on the board: load the set-up again and read it back.",
    Reason.LIMITS_DAMAGED: "The limits in the board's memory have changed by themselves: line is off. Load the set-up again; if it happens twice, change the board.",
    Reason.SETUP_ID: "The set-up number is not the one on the board: load this set-up and read it back.",
    Reason.PULSE: "The firing pulse asked for is zero or longer than allowed: correct the pulse in the set-up.",
    Reason.ARMED_TIME: "The armed time asked for is zero or above the board's ceiling: correct it in the set-up.",
    Reason.SELFTEST_OLD: "The last self-test is older than ten minutes or was never done: key out, run the self-test.",
    Reason.SELFTEST_FAILED: "The last self-test failed: read which part, mend it, run it again.",
    Reason.SELFTEST_RUNNING: "A self-test is running: wait for its result.",
    Reason.LINE_NOT_DEAD: "The firing line shows voltage or current although both switches are off: keep away, supply off at its own switch, find the cause.",
    Reason.HIGH_SWITCH: "The high-side switch is sensed closed: it may be welded. Firing supply off, change the firing box.",
    Reason.LOW_SWITCH: "The low-side switch is sensed closed: it may be welded. Firing supply off, change the firing box.",
    Reason.CONTINUITY: "The resistance of the firing line is outside its window: check plug, shunt and igniter under the approach rules.",
    Reason.NOT_THE_DUMMY: "A dry run needs the dummy load on the line, and the resistance is not the dummy's: plug in the dummy.",
    Reason.IGNITER_SEEN: "An igniter is connected and this procedure forbids one: unplug it under the approach rules.",
    Reason.CHANNEL_SILENT: "A pressure channel gives no samples: check the converter and its cable.",
    Reason.CHANNEL_RAIL: "A pressure channel sits at the upper end of its range: check sensor and cable.",
    Reason.CHANNEL_OPEN: "A pressure channel has lost its live zero: check sensor, cable and plug.",
    Reason.CHANNEL_STUCK: "A pressure channel repeats one value: check sensor and converter.",
    Reason.ABOVE_TRIP: "A pressure channel reads above the trip: treat the motor as pressurised, stay away.",
    Reason.NO_TRIP_CHANNEL: "No channel guards the pressure in this set-up: declare one before arming.",
    Reason.RING_FROZEN: "The board's memory still holds a burn: fetch it, then release the stand.",
    Reason.TRIP_LATCHED: "The pressure trip is latched: finish the release procedure first.",
    Reason.FIRED_LATCHED: "The board remembers a firing that was not released: finish the release procedure first.",
    Reason.ABORT_LATCHED: "An abort is latched: take the key out to clear it.",
    Reason.SUPPLY: "The firing supply is outside its window, at rest or under the test load: change or charge the battery.",
    Reason.CHALLENGE: "The answer does not fit the board's offer: ask for arming again.",
    Reason.OFFER_GONE: "The board's offer has lapsed or was used: ask for arming again.",
    Reason.GRIP_SHORT: "The fire control was not held for one whole second without a break: hold it from T−3 s.",
    Reason.GRIP_STALE: "The fire control was let go, or its signal came too late.",
    Reason.ECHO_OLD: "The command answers a status that is older than 250 ms: the link lags, check it.",
    Reason.GO_USED: "This arming has already had its one GO: start again from the first step.",
    Reason.PROOF: "The board is set for a proof test: it never fires.",
    Reason.BENCH: "The board is set for bench work: it never arms.",
    Reason.OUTPUT: "This output cannot be set from here, or not now.",
    Reason.NOT_NOW: "Not while armed, in the pulse or in a burn: ask again afterwards.",
    Reason.UNKNOWN_COMMAND: "The board does not know this command: versions differ.",
    Reason.REPEATED: "The board has seen this command or a later one before: it was repeated or overtaken, and is not acted on.",
    Reason.STAGED_CRC: "What the board received is not what was sent: load the set-up again.",
    Reason.LIMITS_BAD: "The limits contradict each other or do not fit this board's channels: correct the set-up.",
    Reason.BURNING: "The board follows a burn: wait until it is over.",
    Reason.SAFE_COMMAND: "Disarmed on command.",
    Reason.ABORT_COMMAND: "Aborted on command: the line is off.",
    Reason.NEW_SESSION: "A new session began: everything starts from the first step.",
    Reason.HOST_SILENT: "Nothing was heard from the host for half a second.",
    Reason.ARMED_EXPIRED: "The armed time has run out.",
    Reason.PULSE_END: "The firing pulse has ended as planned.",
    Reason.MOTOR_LIT: "Pressure or thrust rose: the board follows the motor and the line is off.",
    Reason.TRIPPED: "The pressure trip has acted: the line is off, the motor may still burn.",
    Reason.SWITCH_DISAGREES: "A firing switch is not where it was told to be.",
    Reason.READBACK: "An output does not read back as it was set: check its wiring and fuse.",
    Reason.BLIND: "No pressure channel can be believed any more: the line is off.",
    Reason.NO_GROUP: "This board has no such group of channels.",
}
