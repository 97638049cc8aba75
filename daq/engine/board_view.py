"""The board as this engine knows it: who it is, what it last measured, how old that is.

Pure: feed it decoded messages with the time they came. It answers questions, and it says what is
news (`Started`, `Rebooted`); it decides nothing about the procedure.
"""

from dataclasses import dataclass
from typing import Final

from daq.engine.clockfit import ClockFit
from firmware_protocol.messages import BoardState, Identity, Status

OPEN_LINE: Final = 0xFFFF
DEAD_LINE_MV: Final = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """A board answered our HELLO: a new session begins."""

    identity: Identity


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebooted:
    """The board came up by itself: its outputs are dead, its session is over."""

    identity: Identity


class BoardView:
    """Newest identity and status, session state, clock fit and sent-status bookkeeping."""

    def __init__(self, host_nonce: int) -> None:
        self.host_nonce = host_nonce
        self.identity: Identity | None = None
        self.uid: bytes | None = None
        self.status: Status | None = None
        self.status_ns: int | None = None
        self.heard_ns: int | None = None
        self.fit = ClockFit()
        self.bad_frames = 0
        self.reboots = 0

    def note_identity(self, identity: Identity, now_ns: int) -> Started | Rebooted | None:
        """Take an IDENTITY; one that echoes our nonce opens the session."""
        self.heard_ns = now_ns
        known = self.identity
        if identity.host_nonce == self.host_nonce:
            same = known is not None and known.boot_nonce == identity.boot_nonce
            self.identity, self.uid = identity, identity.uid
            if same and self.status is not None:
                return None
            self.fit = ClockFit(tick_ns=1e9 / identity.tick_hz)
            return Started(identity=identity)
        if known is None or known.boot_nonce == identity.boot_nonce:
            return None
        self.reboots += 1
        self.forget()
        return Rebooted(identity=identity)

    def note_status(self, status: Status, now_ns: int) -> bool:
        """Take a STATUS; True if the clock fit broke."""
        self.status, self.status_ns, self.heard_ns = status, now_ns, now_ns
        return self.fit.note(status.tick, now_ns)

    def forget(self) -> None:
        """The line is gone or the board is another one: nothing known of it holds."""
        self.identity = None
        self.status = None
        self.status_ns = None

    def shift(self, seconds: float) -> None:
        """A rehearsal step: ages are of real traffic, so they move along."""
        step = round(seconds * 1e9)
        if self.status_ns is not None:
            self.status_ns += step
        if self.heard_ns is not None:
            self.heard_ns += step
        self.fit.shift(seconds)

    @property
    def uid_text(self) -> str:
        """The board this engine has known since its start."""
        return "" if self.uid is None else self.uid.hex()

    @property
    def in_session(self) -> bool:
        return self.identity is not None

    def age_s(self, now_ns: int) -> float:
        """Seconds since the newest STATUS, infinite if there is none."""
        return float("inf") if self.status_ns is None else (now_ns - self.status_ns) / 1e9

    def is_fresh(self, now_ns: int, within_s: float) -> bool:
        return self.status is not None and self.age_s(now_ns) <= within_s

    @property
    def state(self) -> BoardState | None:
        return None if self.status is None else BoardState(self.status.state)

    @property
    def is_energised(self) -> bool:
        return self.state is BoardState.ENERGISED

    @property
    def line_is_dead(self) -> bool:
        """As measured: both switches open, no volts, no current."""
        s = self.status
        return (
            s is not None
            and not s.high_closed
            and not s.low_closed
            and abs(s.line_mv) <= DEAD_LINE_MV
            and s.line_ma == 0
        )

    def circuit_word(self, now_ns: int, within_s: float) -> str:
        """DEAD, ARMED, ENERGISED, or UNKNOWN when the board has not been heard for `within_s`."""
        if not self.is_fresh(now_ns, within_s):
            return "UNKNOWN"
        if self.is_energised:
            return "ENERGISED"
        if self.state is BoardState.ARMED:
            return "ARMED"
        return "DEAD" if self.line_is_dead else "UNKNOWN"

    @property
    def continuity_ohm(self) -> float | None:
        """Ohms of the last continuity pulse, None when open or not measured."""
        if self.status is None or self.status.continuity_mohm == OPEN_LINE:
            return None
        return self.status.continuity_mohm / 1000.0
