"""The socket to the engine: statuses in, wishes out, never blocking.

A Unix stream socket carries JSON lines. The engine pushes its status 20 times a second and answers
each wish with `{"ok": true}` or `{"ok": false, "text": sentence}`. Used by the window, the terminal
view and the scripted crew. Nothing here waits: a wish that the socket does not take now stays in
front of the queue and goes with the next `poll`; when the engine is gone, `alive` is false, wishes
are dropped (an old wish must not come out of a reopened socket), and `poll` tries again each second.
`safe` and `abort` alone are kept over a broken line and sent first on the next one.
"""

import contextlib
import json
import socket
import time
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

MAX_LINE: Final = 4096
RETRY_NS: Final = 1_000_000_000
MAX_UNREAD: Final = 1 << 20
KEPT: Final = frozenset({"safe", "abort"})

Json = dict[str, Any]


class EngineClient:
    """One connection to a running engine; `control` asks to be the console that counts."""

    def __init__(
        self,
        path: Path | str,
        *,
        who: str = "console",
        control: bool = True,
        clock: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        self.path = str(path)
        self._clock = clock
        self.replies: deque[Json] = deque(maxlen=256)
        self.received_ns: int | None = None
        self.in_control: bool | None = None
        """What the engine answered to our asking for control; None before it did."""
        self._awaits_hello = False
        self._hello: Json = {"wish": "hello", "who": who, "control": control}
        self._socket: socket.socket | None = None
        self._unread = b""
        self._unsent = bytearray()
        self._kept: list[Json] = []
        self._tried_ns: int | None = None
        self._number = -1
        self._connect()

    @property
    def alive(self) -> bool:
        """Whether the socket stands; says nothing about the age of the status."""
        return self._socket is not None

    @property
    def seen(self) -> int:
        """Number of the newest status received, -1 before the first."""
        return self._number

    def poll(self) -> Json | None:
        """Read what is there; the newest status of this call or None. Replies go to `replies`."""
        if self._socket is None:
            self._connect()
        self._flush()
        newest = None
        for line in self._lines():
            if self._awaits_hello and "ok" in line:
                self._awaits_hello = False
                self.in_control = bool(self._hello["control"]) and line["ok"] is True
            elif "ok" in line:
                self.replies.append(line)
            elif "phase" in line or "n" in line:
                newest = line
        if newest is not None:
            self.received_ns = self._clock()
            number = newest.get("n")
            self._number = number if isinstance(number, int) else self._number
        return newest

    def wish(self, wish: Mapping[str, Any]) -> None:
        """Send one wish; adds `seen`, the newest status number, unless the wish names its own."""
        body = {"seen": self._number, **wish}
        if self._socket is None:
            if body.get("wish") in KEPT and len(self._kept) < 4:
                self._kept.append(body)
            return
        self._put(body)
        self._flush()

    def beat(self, grip: bool, painted_n: int) -> None:
        """The 50 ms sign of life: whether both keys are held, which status was painted.

        A beat that cannot go out now is dropped: told late it would be a lie.
        """
        self._flush()
        if self._unsent:
            return
        self.wish({"wish": "beat", "painted_n": painted_n, "grip": grip})

    def close(self) -> None:
        """Let go of the engine; a later `poll` would connect again."""
        if self._socket is not None:
            self._socket.close()
        self._socket = None
        self._unread = b""
        self._unsent.clear()

    def _connect(self) -> None:
        now_ns = self._clock()
        if self._tried_ns is not None and now_ns - self._tried_ns < RETRY_NS:
            return
        self._tried_ns = now_ns
        self._socket = opened(self.path)
        if self._socket is None:
            return
        self._awaits_hello, self.in_control = True, None
        self._put(self._hello)
        for kept in self._kept:
            self._put(kept)
        self._kept.clear()
        self._flush()

    def _put(self, body: Mapping[str, Any]) -> None:
        line = json.dumps(body, separators=(",", ":")).encode()
        if len(line) > MAX_LINE:
            raise ValueError(f"a wish must fit {MAX_LINE} bytes, got {len(line)}")
        self._unsent += line + b"\n"

    def _flush(self) -> None:
        if self._socket is None or not self._unsent:
            return
        with contextlib.suppress(BlockingIOError):
            try:
                sent = self._socket.send(self._unsent)
            except BlockingIOError:
                raise
            except OSError:
                self.close()
                return
            del self._unsent[:sent]
        if len(self._unsent) > MAX_UNREAD:
            self.close()

    def _lines(self) -> list[Json]:
        self._read()
        *whole, self._unread = self._unread.split(b"\n")
        if len(self._unread) > MAX_UNREAD:
            self._unread = b""
        return [found for raw in whole if (found := parsed(raw)) is not None]

    def _read(self) -> None:
        while self._socket is not None:
            try:
                chunk = self._socket.recv(1 << 16)
            except BlockingIOError:
                return
            except OSError:
                chunk = b""
            if not chunk:
                rest = self._unread
                self.close()
                self._unread = rest
                return
            self._unread += chunk


def opened(path: str) -> socket.socket | None:
    """A non-blocking stream to a Unix socket, or to `127.0.0.1:PORT`; None when nobody listens."""
    host, colon, port = path.rpartition(":")
    is_tcp = bool(colon) and port.isdigit() and "/" not in path
    try:
        if is_tcp:
            link = socket.create_connection((host, int(port)), timeout=0.2)
            link.setblocking(False)
            return link
        link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    except OSError:
        return None
    link.setblocking(False)
    try:
        link.connect(path)
    except OSError:
        link.close()
        return None
    return link


def parsed(raw: bytes) -> Json | None:
    """One JSON object, or None for anything else: a broken line is not worth a crash."""
    try:
        found = json.loads(raw)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None
