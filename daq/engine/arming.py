"""From the last checklist line to ARMED: ask, offer, eight typed digits, take.

The set-up number shown while arming is the one the **board** echoed in its offer, never the one
the engine computed; the conductor types the first four digits, the range safety officer the
second four. Nothing here can energise anything: the board checks its own list at ask and at take.
"""

from dataclasses import dataclass
from typing import Final, Literal

from firmware_protocol.messages import ArmAsk, ArmTake, Offer

State = Literal["none", "asked", "offered", "typing", "typed", "taking", "armed"]
ANSWER_NS: Final = 1_000_000_000


@dataclass(slots=True)
class Arming:
    """One arming dialogue; `conductor` and `officer` are the two people who type."""

    conductor: str
    officer: str
    setup_id: int
    limits_crc: int
    state: State = "none"
    offer: Offer | None = None
    typed: str = ""
    since_ns: int = 0

    def ask(self, now_ns: int) -> ArmAsk:
        self.state, self.offer, self.typed, self.since_ns = "asked", None, "", now_ns
        return ArmAsk(limits_crc=self.limits_crc, setup_id=self.setup_id)

    def drop(self) -> None:
        self.state, self.offer, self.typed = "none", None, ""

    def note_offer(self, offer: Offer, now_ns: int) -> str:
        """Take the board's offer; a sentence if it names another set-up than ours."""
        if self.state != "asked":
            return "the board offered an arming nobody asked for"
        if offer.setup_id != self.setup_id or offer.limits_crc != self.limits_crc:
            return "the board offers another set-up than the one computed: load it again and read it back"
        self.offer, self.state, self.since_ns = offer, "offered", now_ns
        return ""

    @property
    def echoed(self) -> str | None:
        """The eight digits the board echoed."""
        return None if self.offer is None else f"{self.offer.setup_id:08d}"

    @property
    def typist(self) -> str:
        """Who types now."""
        return self.conductor if len(self.typed) < 4 else self.officer

    def left_s(self, now_ns: int) -> float | None:
        if self.offer is None or self.state == "armed":
            return None
        return max(0.0, self.offer.expires_ms / 1000 - (now_ns - self.since_ns) / 1e9)

    def type_digits(self, digits: str, by: str) -> str:
        """Take typed digits; "" if they were right so far, else why they are not taken."""
        if self.state not in ("offered", "typing"):
            return "no offer is open: the set-up number is typed only after the board's echo"
        if not digits.isdigit() or len(self.typed) + len(digits) > 8:
            return "the set-up number has eight digits"
        if by != self.typist:
            return f"{self.typist} types these four digits"
        if len(self.typed) < 4 < len(self.typed) + len(digits):
            return f"the first four digits are {self.conductor}'s, the second four {self.officer}'s"
        return self._take_digits(digits)

    def _take_digits(self, digits: str) -> str:
        wanted = (self.echoed or "")[len(self.typed) :][: len(digits)]
        if digits != wanted:
            self.typed = self.typed[:4] if len(self.typed) >= 4 else ""
            self.state = "typing"
            return "these are not the digits the board echoed: read them aloud again"
        self.typed += digits
        self.state = "typed" if len(self.typed) == 8 else "typing"
        return ""

    def take(self, now_ns: int) -> ArmTake | None:
        """The ARM_TAKE to send, None unless all eight digits stand."""
        if self.state != "typed" or self.offer is None:
            return None
        self.state, self.since_ns = "taking", now_ns
        return ArmTake(challenge=self.offer.challenge, limits_crc=self.limits_crc)

    def is_overdue(self, now_ns: int) -> bool:
        """The board did not answer the ask or the take, or the offer ran out."""
        if self.state in ("asked", "taking"):
            return now_ns - self.since_ns > ANSWER_NS
        left = self.left_s(now_ns)
        return left is not None and left <= 0.0
