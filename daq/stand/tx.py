"""The sender: one thread, one slot for urgent bytes, one for each kind of periodic frame.

A stalled line never blocks the safety thread: it only leaves frames here. Urgent bytes (SAFE,
ABORT) go first and are never dropped; a periodic frame that was not sent in time is replaced by
the newest of its kind; everything else waits in order, and is forgotten when an urgent frame
comes (an order that was overtaken by SAFE must not be sent after it).
"""

import threading
from collections import deque
from collections.abc import Callable

from daq.errors import LinkError


class TxSlots:
    """What waits to be sent. Thread-safe; `take` blocks up to `timeout_s`."""

    def __init__(self) -> None:
        self._urgent: bytes = b""
        self._ordered: deque[bytes] = deque()
        self._periodic: dict[str, bytes] = {}
        self._ready = threading.Condition()

    def put_urgent(self, data: bytes) -> None:
        with self._ready:
            self._urgent = data
            self._ordered.clear()
            self._periodic.clear()
            self._ready.notify()

    def put(self, data: bytes) -> None:
        with self._ready:
            self._ordered.append(data)
            self._ready.notify()

    def put_periodic(self, kind: str, data: bytes) -> None:
        with self._ready:
            self._periodic[kind] = data
            self._ready.notify()

    def take(self, timeout_s: float) -> bytes:
        """Everything to be sent next in one write, b"" if nothing came in time."""
        with self._ready:
            if not (self._urgent or self._ordered or self._periodic):
                self._ready.wait(timeout_s)
            data = self._urgent or b"".join([*self._ordered, *self._periodic.values()])
            if self._urgent:
                self._urgent = b""
            else:
                self._ordered.clear()
                self._periodic.clear()
            return data

    def forget(self) -> None:
        """Drop what waits (the line is gone; nothing old may reach the next one)."""
        with self._ready:
            self._urgent = b""
            self._ordered.clear()
            self._periodic.clear()


class Sender(threading.Thread):
    """Writes what stands in the slots; reports a dead line through `on_lost`, and never raises."""

    def __init__(
        self, slots: TxSlots, write: Callable[[bytes], None], on_lost: Callable[[str], None]
    ) -> None:
        super().__init__(name="tx", daemon=True)
        self._slots, self._write, self._on_lost = slots, write, on_lost
        self._stop_asked = threading.Event()

    def run(self) -> None:
        while not self._stop_asked.is_set():
            data = self._slots.take(0.1)
            if not data:
                continue
            try:
                self._write(data)
            except LinkError as fault:
                self._slots.forget()
                self._on_lost(str(fault))

    def stop(self) -> None:
        self._stop_asked.set()
