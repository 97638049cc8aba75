"""What the engine keeps true on the board while it is disarmed: limits loaded and read back, self-test young.

Both are small dialogues with their own patience. They only ask; the board decides. Nothing here
runs with the key in, because the board would refuse it.
"""

from dataclasses import dataclass
from typing import Final

from firmware_protocol.messages import (
    REASON_TEXT,
    BoardState,
    LimitsCommit,
    LimitsEcho,
    LimitsStage,
    Reason,
    Selftest,
    SelftestResult,
    Status,
)

RETRY_NS: Final = 1_000_000_000
SELFTEST_NS: Final = 3 * RETRY_NS
NEVER: Final = -(1 << 62)


def may_keep(status: Status | None) -> bool:
    """Disarmed with the key out: the only state in which limits and self-tests are asked for."""
    return status is not None and not status.key_in and status.state is BoardState.DISARMED


@dataclass(slots=True)
class LimitsKeeper:
    """Loads the wanted limits and compares the board's echo byte for byte."""

    wanted: LimitsStage
    asked_ns: int = NEVER
    echo: bytes = b""
    echo_ns: int = NEVER
    trouble: str = ""

    def want(self, limits: LimitsStage) -> None:
        if limits != self.wanted:
            self.wanted, self.asked_ns, self.echo = limits, NEVER, b""

    def forget(self) -> None:
        """The board started anew: nothing is loaded."""
        self.asked_ns, self.echo = NEVER, b""

    def tick(self, status: Status | None, now_ns: int) -> list[LimitsStage | LimitsCommit]:
        """What to send now, in order."""
        if self.is_equal(status) or not may_keep(status) or now_ns - self.asked_ns < RETRY_NS:
            return []
        self.asked_ns = now_ns
        return [self.wanted, LimitsCommit(staged_crc=self.wanted.crc)]

    def read_back(self) -> list[LimitsStage | LimitsCommit]:
        """Ask for the active limits once more (the same load gives a new echo)."""
        self.asked_ns, self.echo = NEVER, b""
        return []

    def note_echo(self, echo: LimitsEcho, now_ns: int) -> None:
        self.echo, self.echo_ns = echo.body, now_ns
        self.trouble = (
            ""
            if echo.body == self.wanted.pack()
            else "the board's limits are not the computed ones"
        )

    def is_equal(self, status: Status | None) -> bool:
        """The echo equals what was computed and the board still names the same check value."""
        return (
            self.echo == self.wanted.pack()
            and status is not None
            and status.limits_crc == self.wanted.crc
            and status.setup_id == self.wanted.setup_id
        )


@dataclass(slots=True)
class SelftestKeeper:
    """Asks for a self-test and remembers when the board last passed one."""

    asked_ns: int = NEVER
    passed_ns: int = NEVER
    waiting: bool = False
    result: SelftestResult | None = None

    def forget(self) -> None:
        self.asked_ns, self.passed_ns, self.result = NEVER, NEVER, None
        self.waiting = False

    def ask(self, status: Status | None, now_ns: int) -> list[Selftest]:
        if not may_keep(status) or now_ns - self.asked_ns < SELFTEST_NS:
            return []
        self.asked_ns, self.waiting = now_ns, True
        return [Selftest(what=0)]

    def under_way(self, now_ns: int) -> bool:
        """The shunt step of a self-test shows as a load on every channel: it is no motor."""
        return self.waiting and now_ns - self.asked_ns < SELFTEST_NS

    def note(self, result: SelftestResult, now_ns: int) -> None:
        self.result, self.waiting = result, False
        if result.result == Reason.OK:
            self.passed_ns = now_ns

    def age_s(self, now_ns: int) -> float:
        return (now_ns - self.passed_ns) / 1e9 if self.passed_ns != NEVER else float("inf")

    @property
    def text(self) -> str:
        if self.result is None:
            return "no self-test in this session"
        return REASON_TEXT.get(Reason(self.result.result), "unknown result")
