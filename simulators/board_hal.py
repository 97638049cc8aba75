"""What the simulated board is built of: its terminals and what is fixed when it is made.

The plant implements `Hal`; the board only reads and drives terminals and knows no motor.
"""

from dataclasses import dataclass
from typing import Final, Protocol

from firmware_protocol.messages import Group, Kind, Out
from firmware_protocol.numbers import (
    ARMED_CEILING_PROOF_S,
    ARMED_CEILING_S,
    KEY_OFF_MS,
    KEY_ON_MS,
    PULSE_CEILING_MS,
    TICK_HZ,
)

DEAD_MV: Final = 500  # a dead line shows less; supply 12 V, decay within LINE_SETTLE_MS
DEAD_MA: Final = 10
LINE_SENSED_MA: Final = 100  # current that counts as "the line carries current"
DISAGREE_MS: Final = 50  # practice 3.3: disagreement of command and sense longer than this
BURN_QUIET_MS: Final = 1_000


class Hal(Protocol):
    """Terminals of one board. All reads are instantaneous; mV, mA, mΩ as integers."""

    def key_in(self) -> bool: ...
    def stop_in(self) -> bool: ...  # pressed
    def high_closed(self) -> bool: ...  # as sensed
    def low_closed(self) -> bool: ...
    def line_mv(self) -> int: ...
    def line_ma(self) -> int: ...
    def continuity_mohm(self) -> int: ...  # one limited test pulse; 65535 = open
    def supply_mv(self) -> int: ...
    def drive(self, high: bool, low: bool) -> None: ...
    def output(self, out: Out, level: bool) -> None: ...
    def read_output(self, out: Out) -> bool: ...
    def nv_read(self) -> bytes: ...  # b"" = never written
    def nv_write(self, data: bytes) -> None: ...
    def entropy(self) -> int: ...  # 32 random bits


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardConfig:
    """What is compiled into the board. Times in ms and s as named; `groups` in channel order."""

    uid: bytes
    groups: tuple[Group, ...]
    kind: Kind = Kind.SIMULATED
    firmware_hash: bytes = b"pyboard1"
    tick_hz: int = TICK_HZ
    ring_bytes: int = 288_000
    pulse_ceiling_ms: int = PULSE_CEILING_MS
    armed_ceiling_s: int = ARMED_CEILING_S
    armed_ceiling_proof_s: int = ARMED_CEILING_PROOF_S
    key_off_ms: int = KEY_OFF_MS
    key_on_ms: int = KEY_ON_MS

    @property
    def channels(self) -> int:
        return sum(group.channels for group in self.groups)

    def ticks(self, ms: float) -> int:
        return int(ms * self.tick_hz) // 1000
