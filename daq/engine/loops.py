"""The safety thread and what runs beside it. Nothing here decides; `core.Engine.step` does.

Thread A (`SafetyLoop.run`): read -> step -> hand over. It never writes to the port, a file or a
socket: the sender, the writer and the talk thread do. Housekeeping (power, free space, copies of
the run) has a thread of its own, because a disk may take seconds.
"""

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from daq.engine.actions import Send
from daq.engine.core import Engine
from daq.engine.perform import House, Performer, StepTime, see_house, see_recorder
from daq.engine.talk import Talk
from daq.errors import DeviceFault, LinkError, StandError
from daq.journal.format import RecordType
from daq.journal.retention import Tidy
from daq.journal.writer import JournalWriter
from daq.stand.clock import HostClock, SleepWatch, boot_ns
from daq.stand.port import Port
from daq.stand.power import read_power
from daq.stand.tx import Sender, TxSlots

READ_S: Final = 0.005
REOPEN_NS: Final = 250_000_000
UTC_EVERY_NS: Final = 200_000_000
HOUSE_S: Final = 1.0
SEAL_S: Final = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Folders of the site, and the second medium if one is set."""

    journal: Path
    runs: Path
    second: Path | None = None


class SafetyLoop:
    """Thread A. `open_port` gives the port or raises LinkError; it is tried again while it fails."""

    def __init__(
        self,
        engine: Engine,
        *,
        open_port: Callable[[], Port],
        clock: HostClock,
        writer: JournalWriter,
        talk: Talk,
        config: Callable[[dict[str, Any]], bytes],
        step_time: StepTime | None = None,
    ) -> None:
        self.engine = engine
        self.fault: StandError | None = None
        self.house = House()
        self._open_port, self._clock, self._writer, self._talk = open_port, clock, writer, talk
        self._slots = TxSlots()
        self._port: Port | None = None
        self._lost: list[str] = []
        self._trouble = ""
        self._opened_ns = -(1 << 62)
        self._utc_ns = -(1 << 62)
        self._sleep = SleepWatch()
        self._stop = threading.Event()
        self._sender = Sender(self._slots, self._write, self._lost.append)
        self._performer = Performer(
            engine,
            writer=writer,
            clock=clock,
            house=self.house,
            config=config,
            step_time=step_time,
            send=self._send,
            publish=talk.publish,
            reply=talk.reply,
        )

    def stop(self) -> None:
        self._stop.set()

    def run(self) -> None:
        """Until `stop`, the end wish, or the wrong board."""
        self._sender.start()
        try:
            while not (self._stop.is_set() or self.engine.state.ending):
                self._turn()
        except DeviceFault as fault:
            self.fault = fault
        finally:
            self._sender.stop()
            if self._port is not None:
                self._port.close()

    # ---- one turn ------------------------------------------------------------------------------

    def _turn(self) -> None:
        chunk = self._read()
        wishes, gone = self._talk.inbox.drain()
        now_ns = self._clock.now_ns()
        self._look_around(now_ns)
        host_ns = time.perf_counter_ns()
        self._performer.do(self.engine.step(chunk, wishes, now_ns, gone), host_ns)
        if chunk:
            self._writer.put(RecordType.RX, chunk, host_ns)

    def _read(self) -> bytes:
        """Bytes that came, b"" if none did; reopens a port that is gone."""
        if self._lost:
            why, self._lost[:] = self._lost[0], []
            self._drop_port(why)
        if self._port is None and not self._reopen():
            time.sleep(READ_S)
            return b""
        assert self._port is not None
        try:
            return self._port.read_some(READ_S)
        except LinkError as fault:
            self._drop_port(str(fault))
            return b""

    def _reopen(self) -> bool:
        now_ns = time.perf_counter_ns()
        if now_ns - self._opened_ns < REOPEN_NS:
            return False
        self._opened_ns = now_ns
        try:
            self._port = self._open_port()
        except LinkError as fault:
            self._port_trouble(str(fault))
            return False
        self._slots.forget()
        return True

    def _port_trouble(self, text: str) -> None:
        """Tell once why the port does not open."""
        if text == self._trouble:
            return
        self._trouble = text
        actions = self.engine.port_trouble(text, self._clock.now_ns())
        self._performer.do(actions, time.perf_counter_ns())

    def _drop_port(self, why: str) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
        self._slots.forget()
        now_ns = self._clock.now_ns()
        self._performer.do(self.engine.port_lost(why, now_ns), time.perf_counter_ns())

    def _send(self, send: Send) -> None:
        if send.lane == "urgent":
            self._slots.put_urgent(send.data)
        elif send.lane == "periodic":
            self._slots.put_periodic(send.key, send.data)
        else:
            self._slots.put(send.data)

    def _write(self, data: bytes) -> None:
        """Called by the sender's thread."""
        port = self._port
        if port is None:
            raise LinkError("no port is open")
        port.write(data)
        self._writer.put(RecordType.TX, data, time.perf_counter_ns())

    # ---- surroundings --------------------------------------------------------------------------

    def _look_around(self, now_ns: int) -> None:
        """Refresh what the core may know of recorder, power and label time; never blocks."""
        host_ns = time.perf_counter_ns()
        see_recorder(self.engine.state, self._writer, host_ns)
        if host_ns - self._utc_ns >= UTC_EVERY_NS:
            self._utc_ns = host_ns
            see_house(self.engine.state, self.house)
            blind_s = self._sleep.blind_s(time.monotonic_ns(), boot_ns())
            if blind_s > 0.0:  # the machine slept: the engine's clock stood still meanwhile
                self._performer.do(self.engine.slept(blind_s, now_ns), host_ns)


class Housekeeping(threading.Thread):
    """Power and copies of the run, away from the safety thread."""

    def __init__(
        self,
        house: House,
        places: Places,
        *,
        recorder: Callable[[], str] = lambda: "running",
        idle: Callable[[], bool] = lambda: False,
    ) -> None:
        super().__init__(name="housekeeping", daemon=True)
        self._house, self._places = house, places
        self._recorder, self._idle = recorder, idle
        self._tidy = Tidy(places.journal)
        self._stop_asked = threading.Event()

    def run(self) -> None:
        while not self._stop_asked.wait(HOUSE_S / 4):
            power = read_power()
            self._house.power_text, self._house.power_ok = power.text, power.is_enough
            self.do_jobs()
            self._tidy.turn(time.monotonic(), recorder=self._recorder(), idle=self._idle())

    def do_jobs(self) -> None:
        """Copy runs and work out figures that are waiting for it."""
        while self._house.jobs:
            what, run_id = self._house.jobs.pop(0)
            if what == "figures":
                self._house.results = figures_apart(self._places, run_id)
                continue
            fault = seal_apart(self._places, run_id)
            self._house.copied, self._house.trouble = not fault, fault

    def stop(self) -> None:
        self._stop_asked.set()


def figures_apart(places: Places, run_id: str) -> dict[str, Any] | None:
    """The quick look of a run, worked out in a process of its own; None if there is none."""
    command = [sys.executable, "-m", "daq.runs.quicklook", str(places.journal), run_id]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=SEAL_S, check=True)
        found = json.loads(done.stdout)
    except (OSError, ValueError, subprocess.SubprocessError):
        return None
    return found if isinstance(found, dict) else None


def seal_apart(places: Places, run_id: str) -> str:
    """Copy a run in a process of its own (it is heavy, and the safety thread must not wait).

    Returns "" when every copy was read back equal, else the sentence of what went wrong.
    """
    command = [sys.executable, "-m", "daq.runs.seal", str(places.journal), str(places.runs), run_id]
    if places.second is not None:
        command.append(str(places.second))
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=SEAL_S, check=False)
    except (OSError, subprocess.TimeoutExpired) as fault:
        return f"the copy of {run_id} did not end: {fault}"
    return "" if done.returncode == 0 else done.stderr.strip() or f"the copy of {run_id} failed"
