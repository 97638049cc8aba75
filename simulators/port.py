"""Where the host finds the simulated board: a pseudo-terminal, or a loopback socket without one.

Pseudo-terminal: raw mode is set before any host opens it and our own handle on the host's end stays
open, so a host may close and come back. Speed settings mean nothing there; the byte pace comes
from the rig. A platform without pseudo-terminals gets `socket://127.0.0.1:PORT`, which pyserial
opens by `serial_for_url`; it has no modem lines and no exclusive opening, and says so by its name.
Bytes that a host does not fetch are lost once the system's buffer is full, as on a real line.
"""

import os
import socket
import sys
from contextlib import suppress
from typing import Protocol


class BoardPort(Protocol):
    """The board's end: never blocks."""

    name: str
    lost: int

    def fileno(self) -> int: ...
    def read(self) -> bytes: ...
    def write(self, data: bytes) -> None: ...
    def close(self) -> None: ...


class PtyPort:
    """Our end of a pseudo-terminal; `name` is the path the host opens."""

    def __init__(self) -> None:
        import pty
        import tty

        self._ours, self._theirs = pty.openpty()
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.name = os.ttyname(self._theirs)
        self.lost = 0

    def fileno(self) -> int:
        return self._ours

    def read(self) -> bytes:
        try:
            return os.read(self._ours, 65536)
        except (BlockingIOError, OSError):
            return b""

    def write(self, data: bytes) -> None:
        try:
            done = os.write(self._ours, data)
        except (BlockingIOError, OSError):
            done = 0
        self.lost += len(data) - done

    def close(self) -> None:
        for handle in (self._ours, self._theirs):
            with suppress(OSError):
                os.close(handle)


class SocketPort:
    """Loopback TCP with one client at a time; a new client replaces a closed one."""

    def __init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=1)
        self._listener.setblocking(False)
        self._client: socket.socket | None = None
        self.name = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"
        self.lost = 0

    def fileno(self) -> int:
        return (self._client or self._listener).fileno()

    def read(self) -> bytes:
        self._accept()
        if self._client is None:
            return b""
        try:
            data = self._client.recv(65536)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._drop()
        return data

    def write(self, data: bytes) -> None:
        self._accept()
        done = 0
        if self._client is not None:
            try:
                done = self._client.send(data)
            except BlockingIOError:
                done = 0
            except OSError:
                self._drop()
        self.lost += len(data) - done

    def close(self) -> None:
        self._drop()
        self._listener.close()

    def _accept(self) -> None:
        if self._client is not None:
            return
        with suppress(OSError):
            self._client, _ = self._listener.accept()
            self._client.setblocking(False)
            self._client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None


def open_port(kind: str) -> BoardPort:
    """A pseudo-terminal where "pty" is asked and there are any, else the loopback socket."""
    if kind == "pty" and sys.platform != "win32":
        return PtyPort()
    return SocketPort()
