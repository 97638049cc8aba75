"""Small blocking client of the stand's control socket, for crews, trials and tests."""

import json
import socket
from typing import Any, Self


class StandControl:
    """One connection. Every method sends one order and waits for its answer (default 5 s)."""

    def __init__(self, address: str, timeout_s: float = 5.0) -> None:
        host, _, port = address.rpartition(":")
        if port.isdigit() and host and "/" not in host:
            self._socket = socket.create_connection((host, int(port)), timeout=timeout_s)
        else:
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            self._socket.settimeout(timeout_s)
            self._socket.connect(address)
        self._rest = b""

    def ask(self, do: str, **args: Any) -> dict[str, Any]:
        """Send an order; its answer; ValueError when the stand refuses, ConnectionError when gone."""
        self._socket.sendall(json.dumps({"do": do, **args}).encode() + b"\n")
        while b"\n" not in self._rest:
            data = self._socket.recv(65536)
            if not data:
                raise ConnectionError("the simulated stand closed its control socket")
            self._rest += data
        line, _, self._rest = self._rest.partition(b"\n")
        answer: dict[str, Any] = json.loads(line)
        if not answer.get("ok"):
            raise ValueError(str(answer.get("text", "refused")))
        return answer

    def key(self, *, is_in: bool) -> None:
        self.ask("key", **{"in": is_in})

    def stop(self, *, is_in: bool) -> None:
        self.ask("stop", **{"in": is_in})

    def line(self, *, joined: bool, load: str | None = None) -> None:
        self.ask("line", joined=joined, **({} if load is None else {"load": load}))

    def cable(self, *, is_in: bool) -> None:
        self.ask("cable", **{"in": is_in})

    def step(self, seconds: float) -> float:
        """Rehearsal step; returns the seconds granted (0 = not now)."""
        return float(self.ask("step", seconds=seconds)["granted_s"])

    def state(self) -> dict[str, Any]:
        """What really is; never shown to the controller."""
        return self.ask("state")

    def end(self) -> None:
        """Ask the stand to write its truth and go."""
        self.ask("end")

    def close(self) -> None:
        self._socket.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
