"""Ports to the board: three methods, `read_some(timeout_s)`, `write(bytes)`, `close()`.

Real boards and the simulated stand are opened the same way, by pyserial, by name. Where the
platform has no pseudo-terminals the stand offers a loopback address, which pyserial opens as
`socket://host:port`. A port that is gone raises LinkError; silence is an empty read.
"""

import os
import select
from contextlib import suppress
from typing import Protocol

import serial

from daq.errors import LinkError

READ_MOST = 65_536


class Port(Protocol):
    """What the safety loop needs of a line to the board."""

    def read_some(self, timeout_s: float) -> bytes:
        """Bytes that are there, or b"" after `timeout_s`; LinkError when the port is gone."""

    def write(self, data: bytes) -> None:
        """Hand all bytes to the line; LinkError when the port is gone."""

    def close(self) -> None:
        """Let go of the port; any number of times."""


class SerialPort:
    """A pyserial port, read as POSIX file descriptor where there is one (one wake, all bytes)."""

    def __init__(self, name: str, baud: int = 500_000) -> None:
        self.name = name
        try:
            self._serial = serial.serial_for_url(
                name, baudrate=baud, timeout=0, write_timeout=0.5, do_not_open=True
            )
            self._open_line()
        except (OSError, ValueError) as fault:
            raise LinkError(
                f"port {name}: expected a serial line that opens, got {fault}"
            ) from fault
        self._fd = self._descriptor()

    def _open_line(self) -> None:
        """Open without moving DTR or RTS (a board must not be reset by us) and drop old bytes."""
        if "://" not in self.name:
            self._serial.exclusive = True if os.name == "posix" else None
            self._serial.dtr = False
            self._serial.rts = False
        self._serial.open()
        with suppress(OSError, serial.SerialException):
            self._serial.reset_input_buffer()

    def _descriptor(self) -> int | None:
        if os.name != "posix" or "://" in self.name:
            return None
        return int(self._serial.fileno())

    def read_some(self, timeout_s: float) -> bytes:
        try:
            return self._read_posix(timeout_s) if self._fd is not None else self._read(timeout_s)
        except (OSError, TypeError, ValueError) as fault:
            raise LinkError(f"port {self.name}: gone while reading ({fault})") from fault

    def _read_posix(self, timeout_s: float) -> bytes:
        assert self._fd is not None
        ready, _, _ = select.select([self._fd], [], [], timeout_s)
        if not ready:
            return b""
        data = os.read(self._fd, READ_MOST)
        if not data:
            raise OSError("the other end closed")
        return data

    def _read(self, timeout_s: float) -> bytes:
        self._serial.timeout = timeout_s
        return bytes(self._serial.read(self._serial.in_waiting or 1))

    def write(self, data: bytes) -> None:
        try:
            self._serial.write(data)
        except (OSError, TypeError, ValueError) as fault:
            raise LinkError(f"port {self.name}: gone while writing ({fault})") from fault

    def close(self) -> None:
        with suppress(OSError, serial.SerialException):
            self._serial.close()
