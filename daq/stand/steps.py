"""The one command by which a rehearsal's clock and the simulated board's ticks jump together.

Talks to the control socket of the simulated stand in its own words (one JSON line an order); it is
never made for a real stand.
"""

import json
import socket
from typing import Any, Final

from daq.errors import LinkError

TIMEOUT_S: Final = 2.0


class StepClient:
    """One connection to the simulated stand's control socket; reconnects when asked anew."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._socket: socket.socket | None = None

    def step(self, seconds: float) -> tuple[float, int]:
        """Seconds granted (0 = not now) and the board's tick after; (0, 0) if nobody answers."""
        try:
            answer = self._ask({"do": "step", "seconds": seconds})
        except (OSError, ValueError, LinkError):
            self._socket = None
            return 0.0, 0
        if not answer.get("ok"):
            return 0.0, 0
        return float(answer.get("granted_s", 0.0)), int(answer.get("tick", 0))

    def _ask(self, order: dict[str, Any]) -> dict[str, Any]:
        if self._socket is None:
            self._socket = self._connect()
        self._socket.sendall(json.dumps(order).encode() + b"\n")
        data = b""
        while b"\n" not in data:
            piece = self._socket.recv(4096)
            if not piece:
                raise LinkError("the simulated stand closed its control socket")
            data += piece
        found = json.loads(data.partition(b"\n")[0])
        return found if isinstance(found, dict) else {}

    def _connect(self) -> socket.socket:
        host, _, port = self._address.rpartition(":")
        if host and port.isdigit() and "/" not in host:
            return socket.create_connection((host, int(port)), timeout=TIMEOUT_S)
        line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        line.settimeout(TIMEOUT_S)
        line.connect(self._address)
        return line
