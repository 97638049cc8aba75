"""The three processes of a rehearsal: stand, engine, crew. Started here, ended here, never left over.

Each is started the same way: a Python module, one JSON object on its input, one JSON line back.
"""

import contextlib
import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from daq.errors import StandError

START_S: Final = 20.0
END_S: Final = 15.0


class Helper:
    """One process that speaks JSON lines."""

    def __init__(
        self, module: str, order: Mapping[str, Any], log: Path, *, own_session: bool = False
    ) -> None:
        self.module = module
        self._log = log.open("ab")
        self._process = subprocess.Popen(
            [sys.executable, "-m", module],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._log,
            start_new_session=own_session,
        )
        self._rest = b""
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(order).encode() + b"\n")
        self._process.stdin.flush()

    @property
    def pid(self) -> int:
        return self._process.pid

    @property
    def is_running(self) -> bool:
        return self._process.poll() is None

    def line(self, within_s: float = START_S) -> dict[str, Any]:
        """The next JSON line; {} when it ended or said nothing in time."""
        until = time.monotonic() + within_s
        assert self._process.stdout is not None
        fd = self._process.stdout.fileno()
        while b"\n" not in self._rest:
            left = until - time.monotonic()
            if left <= 0.0:
                return {}
            if select.select([fd], [], [], left)[0]:
                data = os.read(fd, 65_536)
                if not data:
                    return {}
                self._rest += data
        first, _, self._rest = self._rest.partition(b"\n")
        found = json.loads(first)
        return found if isinstance(found, dict) else {}

    def answer(self) -> dict[str, Any]:
        """The first line; StandError with its sentence if the process refused to start."""
        first = self.line()
        if "error" in first:
            raise Refused(str(first["error"]), int(first.get("code", 1)))
        if not first:
            raise StandError(
                f"{self.module}: expected it to start, got no answer (see {self._log.name})"
            )
        return first

    def end(self, within_s: float = END_S) -> int:
        """Wait for the end; kill it when it does not come. Returns the exit code."""
        try:
            code = self._process.wait(within_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            code = self._process.wait()
        self._close()
        return code

    def kill(self) -> None:
        """End it at once."""
        with contextlib.suppress(OSError):
            self._process.kill()
        self._process.wait()
        self._close()

    def _close(self) -> None:
        for stream in (self._process.stdin, self._process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()
        self._log.close()


class Refused(StandError):  # noqa: N818 - a refusal is an answer
    """A process said why it does not start."""

    def __init__(self, text: str, code: int) -> None:
        super().__init__(text)
        self.exit_code = code
