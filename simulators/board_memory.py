"""Non-volatile memory: boot counter and fired latch, in two copies.

Only the byte 00 in both copies means "not fired"; a copy that does not verify reads as fired. A
memory that was never written (no bytes at all) is a new board: counter 0, not fired.
"""

import struct
from collections.abc import Callable
from typing import Final
from zlib import crc32

_COPY: Final = struct.Struct("<IB3x")
_SIZE: Final = _COPY.size + 4
FIRED: Final = 0xFF


def _copy(counter: int, fired: bool) -> bytes:
    body = _COPY.pack(counter, FIRED if fired else 0)
    return body + crc32(body).to_bytes(4, "little")


class Memory:
    """The latch and the counter; every change is written at once."""

    def __init__(self, read: Callable[[], bytes], write: Callable[[bytes], None]) -> None:
        self._write = write
        data = read()
        self.counter = 0
        self.fired = False
        if data:
            self._load(data)

    def _load(self, data: bytes) -> None:
        copies = [data[:_SIZE], data[_SIZE : 2 * _SIZE]]
        for copy in copies:
            if len(copy) == _SIZE and crc32(copy) == 0x2144DF1C:
                counter, fired = _COPY.unpack(copy[:-4])
                self.counter = max(self.counter, counter)
                self.fired = self.fired or fired != 0
            else:
                self.fired = True

    def _save(self) -> None:
        self._write(2 * _copy(self.counter, self.fired))

    def count_boot(self, entropy: int) -> int:
        """A boot nonce that never comes twice: 20 bits of the counter over 12 random bits."""
        self.counter = self.counter + 1 & 0xFFFFFFFF
        self._save()
        return (self.counter & 0xFFFFF) << 12 | entropy & 0xFFF

    def set_fired(self) -> None:
        """Written before the line goes on, so that a reset in the pulse still finds it."""
        if not self.fired:
            self.fired = True
            self._save()

    def clear_fired(self) -> None:
        self.fired = False
        self._save()
