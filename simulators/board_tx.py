"""The board's transmit side: answers and status before samples, samples before back-fill.

Numbers and session are given when a frame is taken, so the order on the wire is the order of the
numbers. Room is bounded: samples that find none are dropped and counted (the ring still has them).
"""

from collections import deque
from collections.abc import Iterable
from typing import Final

from firmware_protocol.fixed import Message
from firmware_protocol.link import Link

SAMPLE_FRAMES: Final = 512  # about 3 s at 4 kS/s
URGENT_FRAMES: Final = 256


class Transmit:
    """Queues of messages; `take` turns them into bytes."""

    def __init__(self, link: Link) -> None:
        self._link = link
        self._urgent: deque[Message] = deque(maxlen=URGENT_FRAMES)
        self._samples: deque[Message] = deque()
        self._low: deque[Message] = deque()
        self._rest = b""
        self.dropped = 0

    def say(self, message: Message) -> None:
        self._urgent.append(message)

    def stream(self, block: Message) -> None:
        if len(self._samples) >= SAMPLE_FRAMES:
            self.dropped += 1
        else:
            self._samples.append(block)

    def later(self, blocks: Iterable[Message]) -> None:
        self._low.extend(blocks)

    @property
    def backlog(self) -> int:
        """Back-fill frames that wait."""
        return len(self._low)

    def forget(self) -> None:
        """A session ends: nothing that was meant for it is sent any more."""
        self._urgent.clear()
        self._samples.clear()
        self._low.clear()
        self.dropped = 0

    def take(self, limit: int) -> bytes:
        """Up to `limit` bytes; a frame that is cut continues in the next call."""
        out = bytearray(self._rest)
        while len(out) < limit:
            queue = self._urgent or self._samples or self._low
            if not queue:
                break
            out += self._link.send(queue.popleft())
        self._rest = bytes(out[limit:])
        return bytes(out[:limit])
