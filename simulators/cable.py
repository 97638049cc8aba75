"""The control cable between host and board, and what can go wrong with it.

Bytes handed in now come out now, later (lag), damaged (noise) or never (unplugged, board silent).
Order is kept. Time is an argument, in stand seconds.
"""

import random
from collections import deque
from typing import Final

BITS: Final = 8


class Cable:
    """Both directions of one cable. `noise` is the chance that a byte has one bit flipped."""

    def __init__(self, seed: int) -> None:
        self.plugged = True
        self.board_silent = False
        self.lag_s = 0.0
        self.noise = 0.0
        self.lost_bytes = 0
        self._rng = random.Random(seed)
        self._down: deque[tuple[float, bytes]] = deque()
        self._up: deque[tuple[float, bytes]] = deque()

    @property
    def well(self) -> bool:
        """Both directions pass everything at once and undamaged."""
        return self.plugged and not (self.board_silent or self.lag_s or self.noise or self._up)

    def unplug(self) -> None:
        """Everything under way is lost with the contact."""
        self.plugged = False
        self.lost_bytes += sum(len(data) for _, data in (*self._down, *self._up))
        self._down.clear()
        self._up.clear()

    def to_board(self, data: bytes, now_s: float) -> bytes:
        """Host bytes in, bytes that reach the board now out."""
        return self._pass(self._down, data, now_s, open_end=self.plugged)

    def to_host(self, data: bytes, now_s: float) -> bytes:
        """Board bytes in, bytes that reach the host now out."""
        return self._pass(self._up, data, now_s, open_end=self.plugged and not self.board_silent)

    def _pass(
        self, queue: deque[tuple[float, bytes]], data: bytes, now_s: float, *, open_end: bool
    ) -> bytes:
        if not open_end:
            self.lost_bytes += len(data)
            return b""
        if self.noise and data:
            data = self._hurt(data)
        if not self.lag_s and not queue:
            return data
        if data:
            queue.append((now_s + self.lag_s, data))
        out = b""
        while queue and queue[0][0] <= now_s:
            out += queue.popleft()[1]
        return out

    def _hurt(self, data: bytes) -> bytes:
        hurt = bytearray(data)
        for at in range(len(hurt)):
            if self._rng.random() < self.noise:
                hurt[at] ^= 1 << self._rng.randrange(BITS)
        return bytes(hurt)
