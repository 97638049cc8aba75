"""The clocks that are counted down: the planned clock in SAFE, the count when armed.

One object, one meaning: `left_s` is what remains to T-0. The planned clock runs from T-10 min to
T-60 s and stands there; the count runs from T-60 s, stands in HOLD and goes on from where it stood.
"""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["none", "planned", "count"]


@dataclass(slots=True)
class CountClock:
    """Seconds to T-0; `running` says whether they pass."""

    kind: Kind = "none"
    running: bool = False
    floor_s: float = 0.0
    _zero_ns: int = 0
    _stood_s: float = 0.0

    def start(self, kind: Kind, seconds: float, now_ns: int, floor_s: float = 0.0) -> None:
        self.kind, self.running, self.floor_s = kind, True, floor_s
        self._zero_ns = now_ns + round(seconds * 1e9)

    def left_s(self, now_ns: int) -> float:
        """Seconds to T-0, never under the mark where this clock stands still."""
        if self.kind == "none":
            return 0.0
        if not self.running:
            return self._stood_s
        return max(self.floor_s, (self._zero_ns - now_ns) / 1e9)

    def since_s(self, now_ns: int) -> float:
        """Seconds since T-0 (negative before)."""
        return (now_ns - self._zero_ns) / 1e9

    def stand(self, now_ns: int) -> None:
        """Stop the clock where it is."""
        self._stood_s, self.running = self.left_s(now_ns), False

    def go_on(self, now_ns: int) -> None:
        """Run on from where it stood."""
        self.start(self.kind, self._stood_s, now_ns, self.floor_s)

    def clear(self) -> None:
        self.kind, self.running, self._stood_s = "none", False, 0.0
