"""Every enumeration and every fixed limit of the wire, with its number. PROTOCOL.md is normative.

Numbers are never reused and never change their meaning; new ones are added at the end.
"""

from enum import IntEnum, IntFlag
from typing import Final

PROTOCOL_VERSION: Final = 1
UID_BYTES: Final = 8
HASH_BYTES: Final = 8
MAX_GROUPS: Final = 4
MAX_CHANNELS: Final = 12
MAX_GROUP_CHANNELS: Final = 8
CONTINUITY_OPEN: Final = 0xFFFF
COUNT_OVER: Final = 0x7FFFFF  # also stands for "could not be converted": that reads as over
COUNT_MIN: Final = -0x800000
LIT_UNUSED: Final = 0x7FFFFFFF  # a lit threshold that is never exceeded
TICK_HZ: Final = 1_000_000

PULSE_CEILING_MS: Final = 3_000
ARMED_CEILING_S: Final = 300
ARMED_CEILING_PROOF_S: Final = 3_600
OFFER_MS: Final = 60_000
GRIP_SILENCE_MS: Final = 200
ECHO_AGE_MS: Final = 250
GRIP_RUN_MS: Final = 1_000
HOST_SILENCE_MS: Final = 500
KEY_OFF_MS: Final = 5
KEY_ON_MS: Final = 50
SELFTEST_AGE_S: Final = 600
STATUS_SLOW_MS: Final = 50
STATUS_FAST_MS: Final = 20
BLOCK_MS: Final = 10
EVENTS_KEPT: Final = 32


class Kind(IntEnum):
    """What a board says it is; eight bits apart."""

    REAL = 0xA5
    SIMULATED = 0x5A


class BoardState(IntEnum):
    DISARMED = 0
    ARMED = 1
    ENERGISED = 2
    BURN = 3
    TRIPPED = 4


class ProcedureKind(IntEnum):
    BENCH = 0
    DRY = 1
    PROOF = 2
    FIRE = 3


class Role(IntEnum):
    """What a channel is to the board."""

    RECORD = 0
    PRESSURE_TRIP = 1
    THRUST = 2


class ResetCause(IntEnum):
    UNKNOWN = 0
    POWER = 1
    BROWN_OUT = 2
    WATCHDOG = 3
    EXTERNAL = 4
    SOFTWARE = 5


class Out(IntEnum):
    """Auxiliary outputs = bit numbers of STATUS. OUTPUT may name SIREN, LAMP_HORN and DUMP only.

    Level 1 = powered. The dump valve opens when it is not powered. PUMP is hold-to-run by GRIP in
    PROOF; SHUNT and TEST_LOAD belong to the self-test. The fire line is not in this enumeration.
    """

    SIREN = 0
    LAMP_HORN = 1
    DUMP = 2
    PUMP = 3
    SHUNT = 4
    TEST_LOAD = 5


HOST_OUTPUTS: Final = frozenset({Out.SIREN, Out.LAMP_HORN, Out.DUMP})
ABORT_LEVELS: Final[dict[Out, bool]] = {
    Out.SIREN: True,
    Out.LAMP_HORN: True,
    Out.DUMP: False,
    Out.PUMP: False,
    Out.SHUNT: False,
    Out.TEST_LOAD: False,
}


class SelftestWhat(IntEnum):
    ALL = 0
    SWITCHES = 1
    OUTPUTS = 2
    SHUNT = 3
    SUPPLY = 4


class EventKind(IntEnum):
    """EVENT kind; what `value` means is said beside each."""

    BOOT = 1  # ResetCause
    HELLO = 2  # host_nonce, as i32
    KEY_IN = 3  # 0
    KEY_OUT = 4  # 0
    STOP_IN = 5  # 0
    STOP_OUT = 6  # 0
    ARMED = 7  # armed time, s
    DISARMED = 8  # Reason
    GO = 9  # pulse, ms
    LINE_ON = 10  # sensed line current, mA
    LINE_OFF = 11  # time the current flowed, ms
    LIT = 12  # channel and count
    BURN_OUT = 13  # ms since LIT
    TRIP = 14  # channel and count
    ABORT = 15  # reason byte of the frame
    CHANNEL_FAULT = 16  # channel and Reason
    CHANNEL_WELL = 17  # channel, 0
    SWITCH_DISAGREES = 18  # bit 0 high, bit 1 low, as sensed
    LIMITS_DAMAGED = 19  # 0
    LIMITS_ACTIVE = 20  # limits_id, as i32
    SELFTEST = 21  # Reason
    RING_FROZEN = 22  # ms since the first LIT
    RELEASED = 23  # run, as i32
    ABORT_CLEARED = 24  # 0
    LINE_NOT_DEAD = 25  # mV
    OUTPUT_DISAGREES = 26  # Out


class Flag(IntFlag):
    """Bits of STATUS flags."""

    LIT = 1  # a burn is being followed, also inside TRIPPED
    ABORT_LATCHED = 2
    RING_FROZEN = 4
    SELFTEST_RUNNING = 8
    OFFER_OPEN = 16
    GRIP_FRESH = 32
    LIMITS_ACTIVE = 64
    SELFTEST_FRESH = 128
    CHANNEL_FAULT = 256
    LINE_COMMANDED = 512
    SAMPLES_DROPPED = 1024  # SAMPLES frames found no room since the session began


def place_value(channel: int, number: int) -> int:
    """EVENT value of "channel and count / Reason": channel in the top byte, number in the low 24."""
    return channel << 24 | number & 0xFFFFFF


def split_value(value: int) -> tuple[int, int]:
    """(channel, signed 24-bit number) of an EVENT value made by `place_value`."""
    number = value & 0xFFFFFF
    return value >> 24 & 0xFF, number - 0x1000000 if number & 0x800000 else number
