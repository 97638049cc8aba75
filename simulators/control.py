"""Hands on the simulated stand: what people would do there, as one JSON line an order.

The server listens on a Unix stream socket (loopback TCP where there is none), takes many clients,
answers each line with one line, and never blocks the rig. `obey` is the list of orders; it does to
the stand what a person could do, and nothing that only the board can.
"""

import json
import os
import shutil
import socket
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, Protocol

from simulators.cable import Cable
from simulators.plant import Plant

MAX_LINE: Final = 4096
Order = Mapping[str, Any]
Answer = dict[str, Any]


class Stand(Protocol):
    """What an order may touch; `Rig` is one."""

    plant: Plant
    cable: Cable

    @property
    def board_tick(self) -> int: ...
    def step(self, seconds: float) -> float: ...
    def true_state(self) -> dict[str, Any]: ...


def _key(stand: Stand, order: Order) -> None:
    stand.plant.line.key_in = bool(order["in"])


def _stop(stand: Stand, order: Order) -> None:
    stand.plant.line.stop_in = bool(order["in"])


def _line(stand: Stand, order: Order) -> None:
    line = stand.plant.line
    if "load" in order:
        if order["load"] not in ("igniter", "dummy", "open"):
            raise ValueError(f"load: expected igniter, dummy or open, got {order['load']!r}")
        line.load = order["load"]
    if "joined" in order:
        line.joined = bool(order["joined"])


def _shunt(stand: Stand, order: Order) -> None:
    stand.plant.line.shunted = bool(order["on"])


def _cable(stand: Stand, order: Order) -> None:
    if order["in"]:
        stand.cable.plugged = True
    else:
        stand.cable.unplug()


def _press(stand: Stand, order: Order) -> None:
    stand.plant.puff(float(order["pa"]), float(order.get("s", 1.0)))


def _weight(stand: Stand, order: Order) -> None:
    stand.plant.weight_n = float(order["n"])


def _shake(stand: Stand, order: Order) -> None:
    stand.plant.shake(float(order.get("n", 50.0)), float(order.get("s", 1.0)))


def _motor(stand: Stand, order: Order) -> None:
    stand.plant.mounted = bool(order["mounted"])


def _step(stand: Stand, order: Order) -> Answer:
    granted = stand.step(float(order["seconds"]))
    return {"granted_s": granted, "tick": stand.board_tick}


def _state(stand: Stand, _order: Order) -> Answer:
    return stand.true_state()


ORDERS: Final[dict[str, Callable[[Stand, Order], Answer | None]]] = {
    "key": _key,
    "stop": _stop,
    "line": _line,
    "shunt": _shunt,
    "cable": _cable,
    "press": _press,
    "weight": _weight,
    "shake": _shake,
    "motor": _motor,
    "step": _step,
    "state": _state,
}


def obey(stand: Stand, order: Order) -> Answer:
    """Do one order; {"ok": true, ...} or {"ok": false, "text": why}."""
    do = order.get("do")
    if do not in ORDERS:
        return {"ok": False, "text": f"unknown order {do!r}; known are {', '.join(ORDERS)}, end"}
    try:
        return {"ok": True, **(ORDERS[do](stand, order) or {})}
    except (KeyError, TypeError, ValueError) as wrong:
        return {"ok": False, "text": f"order {do}: {wrong}"}


class ControlServer:
    """Listens and answers; `poll` is called every slice and never waits."""

    def __init__(self, answer: Callable[[Order], Answer]) -> None:
        self._answer = answer
        self._folder: Path | None = None
        self._clients: dict[socket.socket, bytes] = {}
        if hasattr(socket, "AF_UNIX"):
            self._folder = Path(tempfile.mkdtemp(prefix="berm-"))
            path = self._folder / "control"
            self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self._listener.bind(str(path))
            self._listener.listen(8)
            self.address = str(path)
        else:
            self._listener = socket.create_server(("127.0.0.1", 0), backlog=8)
            self.address = f"127.0.0.1:{self._listener.getsockname()[1]}"
        self._listener.setblocking(False)

    def poll(self) -> None:
        try:
            client, _ = self._listener.accept()
            client.setblocking(False)
            self._clients[client] = b""
        except OSError:
            pass
        for client in list(self._clients):
            self._serve(client)

    def _serve(self, client: socket.socket) -> None:
        try:
            data = client.recv(65536)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._drop(client)
            return
        *lines, rest = (self._clients[client] + data).split(b"\n")
        self._clients[client] = rest[-MAX_LINE:]
        for line in lines:
            if line.strip():
                self._reply(client, line)

    def _reply(self, client: socket.socket, line: bytes) -> None:
        try:
            order = json.loads(line)
        except ValueError as wrong:
            order = wrong
        if isinstance(order, dict):
            answer = self._answer(order)
        else:
            answer = {"ok": False, "text": f"an order is one JSON object a line, got {order}"}
        try:
            client.sendall(json.dumps(answer).encode() + b"\n")
        except OSError:
            self._drop(client)

    def _drop(self, client: socket.socket) -> None:
        self._clients.pop(client, None)
        client.close()

    def close(self) -> None:
        for client in list(self._clients):
            self._drop(client)
        self._listener.close()
        if self._folder is not None and os.path.isdir(self._folder):  # noqa: PTH112
            shutil.rmtree(self._folder, ignore_errors=True)
