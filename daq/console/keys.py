"""Keys by position, and the rule of the two hands. Pure: scan codes in, no Qt.

A key is where it sits, not what is printed on it: fire control stays under the two ridges on any
layout. Linux reports evdev codes (plus 8 under X11 and Wayland), Windows the scan codes of set 1,
which are the same numbers for every key used here except the grey arrows and the keypad's Enter;
macOS its own virtual key codes. An event without a position (remote desktop, synthetic input) falls
back to the meaning of the key, because Space must always work.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

X11_OFFSET: Final = 8
TOGETHER_NS: Final = 500_000_000
"""F and J must go down within this of each other (idea of two-hand controls; we claim nothing)."""


class Key(StrEnum):
    """The keys that do anything at all."""

    SPACE = "Space"
    F = "F"
    J = "J"
    P = "P"
    ENTER = "Enter"
    UP = "Up"
    DOWN = "Down"
    RIGHT = "Right"
    BACK = "Back"
    POINT = "."
    MINUS = "-"
    D0 = "0"
    D1 = "1"
    D2 = "2"
    D3 = "3"
    D4 = "4"
    D5 = "5"
    D6 = "6"
    D7 = "7"
    D8 = "8"
    D9 = "9"


DIGITS: Final = frozenset(Key(str(digit)) for digit in range(10))

_ROW: Final = {11: Key.D0, **{n + 1: Key(str(n)) for n in range(1, 10)}}
_PAD: Final = dict(
    zip((82, 79, 80, 81, 75, 76, 77, 71, 72, 73), (Key(str(n)) for n in range(10)), strict=True)
)
_SHARED: Final = {
    57: Key.SPACE,
    33: Key.F,
    36: Key.J,
    25: Key.P,
    28: Key.ENTER,
    14: Key.BACK,
    12: Key.MINUS,
    52: Key.POINT,
    83: Key.POINT,
    **_ROW,
    **_PAD,
}
EVDEV: Final = {
    **_SHARED,
    96: Key.ENTER,
    103: Key.UP,
    108: Key.DOWN,
    106: Key.RIGHT,
}
WINDOWS: Final = {
    **_SHARED,
    0x11C: Key.ENTER,
    0x148: Key.UP,
    0x150: Key.DOWN,
    0x14D: Key.RIGHT,
}
_MAC_DIGITS: Final = (29, 18, 19, 20, 21, 23, 22, 26, 28, 25)
MAC: Final = {
    49: Key.SPACE,
    3: Key.F,
    38: Key.J,
    35: Key.P,
    36: Key.ENTER,
    76: Key.ENTER,
    126: Key.UP,
    125: Key.DOWN,
    124: Key.RIGHT,
    51: Key.BACK,
    47: Key.POINT,
    27: Key.MINUS,
    **{code: Key(str(n)) for n, code in enumerate(_MAC_DIGITS)},
}


def key_at(code: int, platform: str) -> Key | None:
    """The key at a native code (`platform` as in sys.platform); None for every other key."""
    if platform == "win32":
        return WINDOWS.get(code)
    if platform == "darwin":
        return MAC.get(code)
    return EVDEV.get(code - X11_OFFSET)


class HeldKeys:
    """Which keys are down, and which releases are not believed yet. Stamps: milliseconds of the event.

    A press of a key that is down is a repeat; a release is real unless a press of the same key
    comes with the very same stamp before it settles.
    """

    def __init__(self) -> None:
        self.down: set[Key] = set()
        self._pending: dict[Key, int] = {}

    def press(self, key: Key, stamp: int) -> bool:
        """Whether this press is a new one."""
        if key in self._pending and self._pending[key] == stamp:
            del self._pending[key]
            return False
        is_new = key not in self.down
        self.down.add(key)
        return is_new

    def release(self, key: Key, stamp: int) -> None:
        self._pending[key] = stamp

    def overtaken(self, key: Key, stamp: int) -> bool:
        """Whether a press with this stamp shows that the release before it was real."""
        waiting = self._pending.get(key)
        return waiting is not None and waiting != stamp and self.settle(key, waiting)

    def settle(self, key: Key, stamp: int) -> bool:
        """Whether the release with this stamp was a real one; it counts from now."""
        if self._pending.get(key) != stamp:
            return False
        del self._pending[key]
        self.down.discard(key)
        return True

    def clear(self) -> None:
        self.down.clear()
        self._pending.clear()


@dataclass(slots=True)
class TwoHands:
    """F and J: gripped when both went down within 0.5 s; either release ends it.

    After a grip, or after two presses too far apart, both must be up before a new start.
    """

    f_ns: int | None = None
    j_ns: int | None = None
    gripped: bool = False
    spent: bool = False

    def press(self, key: Key, now_ns: int) -> None:
        """F or J went down (auto-repeat never comes here)."""
        if key is Key.F and self.f_ns is None:
            self.f_ns = now_ns
        elif key is Key.J and self.j_ns is None:
            self.j_ns = now_ns
        else:
            return
        if self.f_ns is None or self.j_ns is None or self.spent:
            return
        if abs(self.f_ns - self.j_ns) <= TOGETHER_NS:
            self.gripped = True
        else:
            self.spent = True

    def release(self, key: Key) -> None:
        """F or J went up."""
        if key is Key.F:
            self.f_ns = None
        elif key is Key.J:
            self.j_ns = None
        self.spent = self.spent or self.gripped
        self.gripped = False
        if self.f_ns is None and self.j_ns is None:
            self.spent = False

    def let_go(self) -> None:
        """Focus lost, window hidden, screen locked: whatever was held counts as released.

        The keys may still be down, so they must be pressed anew.
        """
        self.f_ns = self.j_ns = None
        self.gripped = self.spent = False
