"""Doing what the core asks for: one place for the live loop and for lockstep in virtual time.

Sends come first in every list of actions, so that a slow recorder or socket can delay nothing.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Protocol

from daq.engine.actions import Action, Ask, Publish, Record, Reply, Send
from daq.engine.core import Engine
from daq.engine.state import State
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter
from firmware_protocol.framing import encode_frame

StepTime = Callable[[float], tuple[float, int]]
"""Asks the simulated stand to jump: seconds wished -> (seconds granted, board tick after)."""


class Steppable(Protocol):
    """A clock that a rehearsal may step."""

    def now_ns(self) -> int:
        """Nanoseconds."""

    def step(self, seconds: float) -> None:
        """Jump forward."""


@dataclass(slots=True)
class House:
    """What the housekeeping thread knows and has to do."""

    power_text: str = "not known"
    power_ok: bool = True
    jobs: list[tuple[str, str]] = field(default_factory=list)
    copied: bool | None = None
    results: dict[str, Any] | None = None
    trouble: str = ""


class Performer:
    """Carries out the actions of one engine step, in their order."""

    def __init__(
        self,
        engine: Engine,
        *,
        writer: JournalWriter,
        clock: Steppable,
        house: House,
        config: Callable[[dict[str, Any]], bytes],
        step_time: StepTime | None,
        send: Callable[[Send], None],
        publish: Callable[[bytes], None],
        reply: Callable[[int, bool, str], None],
    ) -> None:
        self._engine, self._writer, self._clock, self._house = engine, writer, clock, house
        self._config, self._step_time = config, step_time
        self._send, self._publish, self._reply = send, publish, reply

    def do(self, actions: Sequence[Action], host_ns: int) -> None:
        """`host_ns` is the recorder's clock, which no rehearsal step jumps."""
        for action in actions:
            match action:
                case Send():
                    self._send(action)
                case Record():
                    self._writer.put(action.kind, action.body, host_ns)
                case Publish():
                    self._publish(action.line)
                case Reply():
                    self._reply(action.client, action.ok, action.text)
                case Ask():
                    self._ask(action, host_ns)

    def _ask(self, ask: Ask, host_ns: int) -> None:
        match ask.what:
            case "sync":
                self._writer.set_sync_period(ask.value)
            case "rotate":
                self._writer.set_may_rotate(bool(ask.value))
            case "config":
                latch = self._engine.state.latch.to_json()
                self._writer.carry(RecordType.CONFIG, self._config(latch))
                self._carry_identity()
            case "step":
                self._step(ask.value, host_ns)
            case "figures":
                self._house.jobs.append((ask.what, self._engine.state.run_id))
            case "copy" | "run over":
                self._house.copied = None
                self._house.jobs.append((ask.what, self._engine.state.run_id))

    def _carry_identity(self) -> None:
        """Each new segment shall be decodable alone: its head names the board and the session."""
        identity = self._engine.state.board.identity
        if identity is not None:
            frame = encode_frame(identity.KIND, 0, identity.pack(), 0)
            self._writer.carry(RecordType.RX, b"\0" + frame)

    def _step(self, seconds: float, host_ns: int) -> None:
        """Jump engine clock and board ticks together, as far as the stand grants it."""
        if self._step_time is None:
            return
        status = self._engine.state.board.status
        before = status.tick if status is not None else 0
        granted, after = self._step_time(seconds)
        if granted > 0.0:
            self._clock.step(granted)
            now_ns = self._clock.now_ns()
            self.do(self._engine.stepped(granted, (before, after), now_ns), host_ns)


def see_recorder(state: State, writer: JournalWriter, host_ns: int) -> None:
    """What the core may know of the recorder; plain attribute reads."""
    recorder = state.recorder
    recorder.word = writer.state
    recorder.synced_ms_ago = writer.synced_ns_ago(host_ns) / 1e6
    recorder.queue_s = writer.queued_s
    recorder.disk_min = writer.free_min
    recorder.folder = str(writer.folder)
    recorder.segment, recorder.offset = writer.segment_name, writer.written_offset
    recorder.seq = writer.next_seq
    recorder.mirror = "none" if writer.mirror is None else writer.mirror.state
    recorder.trouble = writer.trouble[-1] if writer.trouble else ""


def see_house(state: State, house: House) -> None:
    """What the core may know of power, copies and the label clock."""
    state.around.utc = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    state.around.power_text = house.power_text
    state.around.power_ok = house.power_ok
    state.copied = house.copied
    state.results = house.results


def host_now_ns() -> int:
    """The recorder's clock."""
    return time.perf_counter_ns()
