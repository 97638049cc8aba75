"""The local socket: wishes in, newest status out. One thread; it never holds the safety loop.

A Unix stream socket in a private run-time folder (mode 0700; the peer's user is checked where the
platform tells it), because paths over 107 bytes are refused and a site folder may be deep. A
client that does not read gets no queue: it gets the newest status when it can take it, and is
dropped when it cannot take a reply.
"""

import contextlib
import json
import os
import selectors
import socket
import struct
import tempfile
import threading
import uuid
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from daq.engine.wishes import MOST_BYTES, BadWish, Wish, read_wish
from daq.errors import LinkError

MOST_PATH: Final = 100
MOST_CLIENTS: Final = 16
MOST_UNSENT: Final = 256 * 1024


def private_folder() -> Path:
    """A folder only this user can enter, with a short path."""
    base = os.environ.get("XDG_RUNTIME_DIR") or tempfile.gettempdir()
    user = os.getuid() if hasattr(os, "getuid") else 0
    folder = Path(base) / f"berm-{user}"
    folder.mkdir(mode=0o700, exist_ok=True)
    if hasattr(os, "getuid") and (folder.stat().st_uid != user or folder.stat().st_mode & 0o077):
        raise LinkError(f"run-time folder {folder}: expected one that only this user can enter")
    return folder


def new_socket_path() -> Path:
    """A free name for one engine's socket."""
    path = private_folder() / f"{uuid.uuid4().hex[:12]}.sock"
    if len(str(path)) > MOST_PATH:
        raise LinkError(f"socket path {path}: expected at most {MOST_PATH} bytes")
    return path


@dataclass(slots=True)
class Client:
    """One connected console or crew member."""

    number: int
    line: socket.socket
    inbox: bytes = b""
    outbox: bytes = b""
    status_due: bool = False


@dataclass(slots=True)
class Inbox:
    """Wishes on their way to the safety loop; appended by the talk thread, drained by the loop."""

    wishes: deque[Wish] = field(default_factory=deque)
    gone: deque[int] = field(default_factory=deque)

    def drain(self) -> tuple[list[Wish], list[int]]:
        wishes = [self.wishes.popleft() for _ in range(len(self.wishes))]
        gone = [self.gone.popleft() for _ in range(len(self.gone))]
        return wishes, gone


class Talk(threading.Thread):
    """Serves the socket until `stop()`."""

    def __init__(self, path: Path) -> None:
        super().__init__(name="talk", daemon=True)
        self.path = path
        self.inbox = Inbox()
        self._replies: deque[tuple[int, dict[str, Any]]] = deque()
        self._status: bytes = b""
        self._clients: dict[int, Client] = {}
        self._next = 1
        self._stop_asked = False
        self._select = selectors.DefaultSelector()
        self._server = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._server.bind(str(path))
        path.chmod(0o600)
        self._server.listen(MOST_CLIENTS)
        self._server.setblocking(False)
        self._wake_in, self._wake_out = socket.socketpair()
        for end in (self._wake_in, self._wake_out):
            end.setblocking(False)
        self._select.register(self._server, selectors.EVENT_READ, "server")
        self._select.register(self._wake_in, selectors.EVENT_READ, "wake")

    # called from the safety loop: never blocks
    def publish(self, status: bytes) -> None:
        """Replace the newest status (one JSON line, with its newline)."""
        self._status = status
        self._wake()

    def reply(self, client: int, ok: bool, text: str) -> None:
        self._replies.append((client, {"ok": ok, "text": text}))
        self._wake()

    def stop(self) -> None:
        self._stop_asked = True
        self._wake()

    def _wake(self) -> None:
        with contextlib.suppress(OSError):
            self._wake_out.send(b"x")

    def run(self) -> None:
        published = b""
        while not self._stop_asked:
            for key, mask in self._select.select(0.2):
                self._serve(key.data, mask)
            self._hand_out_replies()
            if self._status is not published:
                published = self._status
                for client in list(self._clients.values()):
                    client.status_due = True
                    self._push(client)
        self._close()

    def _serve(self, what: Any, mask: int) -> None:
        if what == "server":
            self._accept()
        elif what == "wake":
            with contextlib.suppress(OSError):
                self._wake_in.recv(4096)
        else:
            if mask & selectors.EVENT_READ:
                self._read(what)
            if mask & selectors.EVENT_WRITE and what.number in self._clients:
                self._push(what)

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            line, _ = self._server.accept()
            if not is_same_user(line) or len(self._clients) >= MOST_CLIENTS:
                line.close()
                return
            line.setblocking(False)
            client = Client(self._next, line)
            self._next += 1
            self._clients[client.number] = client
            self._select.register(line, selectors.EVENT_READ, client)

    def _read(self, client: Client) -> None:
        try:
            data = client.line.recv(65_536)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._drop(client)
            return
        *lines, client.inbox = (client.inbox + data).split(b"\n")
        if len(client.inbox) > MOST_BYTES:
            self._answer(client, {"ok": False, "text": f"wish: longer than {MOST_BYTES} bytes"})
            client.inbox = b""
        for line in lines:
            if line.strip():
                self._take(client, line)

    def _take(self, client: Client, line: bytes) -> None:
        wish = read_wish(line, client.number)
        if isinstance(wish, BadWish):
            self._answer(client, {"ok": False, "text": wish.text})
        else:
            self.inbox.wishes.append(wish)

    def _hand_out_replies(self) -> None:
        while self._replies:
            number, reply = self._replies.popleft()
            client = self._clients.get(number)
            if client is not None:
                self._answer(client, reply)

    def _answer(self, client: Client, reply: dict[str, Any]) -> None:
        client.outbox += json.dumps(reply, separators=(",", ":")).encode() + b"\n"
        self._push(client)

    def _push(self, client: Client) -> None:
        if client.status_due and not client.outbox:
            client.outbox, client.status_due = self._status, False
        try:
            sent = client.line.send(client.outbox) if client.outbox else 0
        except BlockingIOError:
            sent = 0
        except OSError:
            self._drop(client)
            return
        client.outbox = client.outbox[sent:]
        if len(client.outbox) > MOST_UNSENT:
            self._drop(client)
            return
        events = selectors.EVENT_READ
        if client.outbox:
            events |= selectors.EVENT_WRITE
        self._select.modify(client.line, events, client)

    def _drop(self, client: Client) -> None:
        if self._clients.pop(client.number, None) is None:
            return
        with contextlib.suppress(KeyError, ValueError):
            self._select.unregister(client.line)
        client.line.close()
        self.inbox.gone.append(client.number)

    def _close(self) -> None:
        for client in list(self._clients.values()):
            self._drop(client)
        self._select.close()
        for end in (self._server, self._wake_in, self._wake_out):
            end.close()
        with contextlib.suppress(OSError):
            self.path.unlink()


def is_same_user(line: socket.socket) -> bool:
    """Whether the peer runs as this user; True where the platform does not tell (mode 0600 holds)."""
    if not hasattr(socket, "SO_PEERCRED"):
        return True
    raw = line.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
    _, user, _ = struct.unpack("3i", raw)
    return bool(user in (os.getuid(), 0))
