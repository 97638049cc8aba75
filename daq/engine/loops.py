"""The safety thread and what runs beside it. Nothing here decides; `core.Engine.step` does.

Thread A (`SafetyLoop.run`): read -> step -> hand over. It never writes to the port, a file or a
socket: the sender, the writer and the talk thread do. Housekeeping (power, free space, copies of
the run) has a thread of its own, because a disk may take seconds.
"""

import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from daq.engine.actions import Action, Ask, Publish, Record, Reply, Send
from daq.engine.core import Engine
from daq.engine.talk import Talk
from daq.errors import DeviceFault, LinkError, StandError
from daq.journal.format import RecordType
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

StepTime = Callable[[float], tuple[float, int]]
"""Asks the simulated stand to jump: seconds wished -> (seconds granted, board tick after)."""


@dataclass(slots=True)
class House:
    """What the housekeeping thread knows and has to do."""

    power_text: str = "not known"
    power_ok: bool = True
    jobs: list[tuple[str, str]] = field(default_factory=list)
    copied: bool | None = None
    trouble: str = ""


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
        self._config, self._step_time = config, step_time
        self._slots = TxSlots()
        self._port: Port | None = None
        self._lost: list[str] = []
        self._opened_ns = -(1 << 62)
        self._utc_ns = -(1 << 62)
        self._sleep = SleepWatch()
        self._stop = threading.Event()
        self._sender = Sender(self._slots, self._write, self._lost.append)

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
        self._perform(self.engine.step(chunk, wishes, now_ns, gone), host_ns)
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
            self.engine.state.around.port_text = str(fault)
            return False
        self._slots.forget()
        return True

    def _drop_port(self, why: str) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
        self._slots.forget()
        now_ns = self._clock.now_ns()
        self._perform(self.engine.port_lost(why, now_ns), time.perf_counter_ns())

    def _write(self, data: bytes) -> None:
        """Called by the sender's thread."""
        port = self._port
        if port is None:
            raise LinkError("no port is open")
        port.write(data)
        self._writer.put(RecordType.TX, data, time.perf_counter_ns())

    # ---- actions -------------------------------------------------------------------------------

    def _perform(self, actions: list[Action], host_ns: int) -> None:
        for action in actions:
            match action:
                case Send():
                    self._send(action)
                case Record():
                    self._writer.put(action.kind, action.body, host_ns)
                case Publish():
                    self._talk.publish(action.line)
                case Reply():
                    self._talk.reply(action.client, action.ok, action.text)
                case Ask():
                    self._ask(action, host_ns)

    def _send(self, send: Send) -> None:
        if send.lane == "urgent":
            self._slots.put_urgent(send.data)
        elif send.lane == "periodic":
            self._slots.put_periodic(send.key, send.data)
        else:
            self._slots.put(send.data)

    def _ask(self, ask: Ask, host_ns: int) -> None:
        match ask.what:
            case "sync":
                self._writer.set_sync_period(ask.value)
            case "rotate":
                self._writer.set_may_rotate(bool(ask.value))
            case "config":
                self._writer.set_config(self._config(self.engine.state.latch.to_json()))
            case "step":
                self._step(ask.value, host_ns)
            case "copy" | "run over":
                self.house.copied = None
                self.house.jobs.append((ask.what, self.engine.state.run_id))
            case "end":
                self.stop()

    def _step(self, seconds: float, host_ns: int) -> None:
        """Jump engine clock and board ticks together, as far as the stand grants it."""
        if self._step_time is None:
            return
        status = self.engine.state.board.status
        before = status.tick if status is not None else 0
        granted, after = self._step_time(seconds)
        if granted > 0.0:
            self._clock.step(granted)
            now_ns = self._clock.now_ns()
            self._perform(self.engine.stepped(granted, (before, after), now_ns), host_ns)

    # ---- surroundings --------------------------------------------------------------------------

    def _look_around(self, now_ns: int) -> None:
        """Refresh what the core may know of recorder, power and label time; never blocks."""
        state, writer = self.engine.state, self._writer
        recorder, host_ns = state.recorder, time.perf_counter_ns()
        recorder.word = writer.state
        recorder.synced_ms_ago = writer.synced_ns_ago(host_ns) / 1e6
        recorder.queue_s = writer.queued_s
        recorder.disk_min = writer.free_min
        recorder.folder = str(writer.folder)
        recorder.segment, recorder.offset = writer.segment_name, writer.written_offset
        recorder.seq = writer.next_seq
        recorder.trouble = writer.trouble[-1] if writer.trouble else ""
        if host_ns - self._utc_ns >= UTC_EVERY_NS:
            self._utc_ns = host_ns
            state.around.utc = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            state.around.power_text = self.house.power_text
            state.around.power_ok = self.house.power_ok
            state.copied = self.house.copied
            self._watch_sleep(now_ns, host_ns)

    def _watch_sleep(self, now_ns: int, host_ns: int) -> None:
        """This machine slept: the engine's clock stood still meanwhile (a clock break)."""
        blind_s = self._sleep.blind_s(time.monotonic_ns(), boot_ns())
        if blind_s > 0.0:
            self._perform(self.engine.slept(blind_s, now_ns), host_ns)


class Housekeeping(threading.Thread):
    """Power and copies of the run, away from the safety thread."""

    def __init__(self, house: House, places: Places) -> None:
        super().__init__(name="housekeeping", daemon=True)
        self._house, self._places = house, places
        self._stop_asked = threading.Event()

    def run(self) -> None:
        while not self._stop_asked.wait(HOUSE_S / 4):
            power = read_power()
            self._house.power_text, self._house.power_ok = power.text, power.is_enough
            self.do_jobs()

    def do_jobs(self) -> None:
        """Copy runs that are waiting to be copied."""
        while self._house.jobs:
            _, run_id = self._house.jobs.pop(0)
            fault = seal_apart(self._places, run_id)
            self._house.copied, self._house.trouble = not fault, fault

    def stop(self) -> None:
        self._stop_asked.set()


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
