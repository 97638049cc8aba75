"""The whole simulated stand in virtual time: plant, board, cable, faults. No clock, no port.

`advance_ms()` moves on by one millisecond; the process (stand.py) paces it to the wall clock, tests
and searches drive it as fast as they like. Given the same bytes at the same milliseconds and the
same seed, everything that comes out is the same.

Time: `now_s` is stand time since start; the board counts its own ticks from its own boot, as the
real one does, so a brownout starts them again.
"""

from pathlib import Path
from typing import Any, Final

from firmware_protocol.numbers import BoardState, ResetCause
from simulators.acts import act
from simulators.board import VirtualBoard
from simulators.cable import Cable
from simulators.faults import Fault, FaultPlan, Later
from simulators.pins import PinLog
from simulators.plant import Plant
from simulators.setup import StandSetup
from simulators.virtual import board_config

TICK_HZ: Final = 1_000_000
TICKS_PER_MS: Final = 1_000
STATE_WORDS: Final = {state: state.name.lower() for state in BoardState}


class Rig:
    """One stand. `folder` receives pins.csv as it happens; None keeps everything in memory."""

    def __init__(self, setup: StandSetup, folder: Path | None = None) -> None:
        self.setup = setup
        self.pins = PinLog(folder)
        self.plant = Plant(setup, self.pins)
        self.cable = Cable(setup.seed ^ 0xCAB1E)
        self.plan = FaultPlan(setup.faults)
        self.plant.on_moment = self._moment
        self.ticks = 0
        self.boots: list[dict[str, Any]] = []
        self.events: list[dict[str, Any]] = []
        self.stepped_s = 0.0
        self._board: VirtualBoard | None = None
        self._boot_ticks = 0
        self._dark_until: int | None = None
        self._state = BoardState.DISARMED
        self._fast_ticks = TICK_HZ // setup.fast_hz
        self._next_fast = self._fast_ticks
        self._every = [setup.fast_hz // group.rate_hz for group in setup.groups]
        self._count = 0
        self._room = 0.0
        self.power_on(ResetCause.POWER)

    # time ------------------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        return self.ticks / TICK_HZ

    @property
    def board_tick(self) -> int:
        return self.ticks - self._boot_ticks

    @property
    def board(self) -> VirtualBoard | None:
        """The running board; None while it has no power."""
        return self._board

    def advance_ms(self, data: bytes = b"") -> bytes:
        """One millisecond: host bytes in at its start, bytes for the host out at its end."""
        for fault in self.plan.due(self.now_s):
            self._act(fault)
        if self._dark_until is not None and self.ticks >= self._dark_until:
            self._dark_until = None
            self.power_on(ResetCause.BROWN_OUT)
        heard = self.cable.to_board(data, self.now_s)
        if self._board is not None and heard:
            self._board.receive(self.board_tick, heard)
        self._run_samples(self.ticks + TICKS_PER_MS)
        if self._board is None:
            return self.cable.to_host(b"", self.now_s)
        self._board.poll(self.board_tick)
        self._watch_state()
        return self.cable.to_host(self._paced(), self.now_s)

    def _run_samples(self, end: int) -> None:
        plant = self.plant
        board = self._board
        step_s = self._fast_ticks / TICK_HZ
        while self._next_fast <= end:
            tick = self._next_fast - self._boot_ticks
            plant.board_tick = tick
            plant.step(step_s)
            self._count += 1
            for group, every in enumerate(self._every):
                if self._count % every == 0:
                    counts = plant.rows(group)
                    if board is not None:
                        board.sample(tick, group, counts)
            self._next_fast += self._fast_ticks
        self.ticks = end
        plant.board_tick = end - self._boot_ticks

    def _paced(self) -> bytes:
        """What the board's transmitter gets out in this millisecond at the configured baud."""
        assert self._board is not None
        per_ms = self.setup.baud / 10_000.0
        self._room = min(self._room + per_ms, 2.0 * per_ms)
        out = self._board.take_tx(int(self._room))
        self._room -= len(out)
        return out

    def step(self, seconds: float) -> float:
        """Rehearsal step: jump by at most `seconds`; returns what was granted, 0 when it must not.

        Never while current flows, a motor burns or is under pressure, the board drives the line or
        follows a burn, or it is armed and the cable is in trouble (a step would hide the silence);
        never past the next fault or a flame that is on its way.
        """
        live = self._state in (BoardState.ENERGISED, BoardState.BURN)
        deaf = self._state == BoardState.ARMED and not self.cable.well
        if seconds <= 0.0 or self.plant.busy or live or deaf:
            return 0.0
        limits = [seconds]
        if self.plan.next_s is not None:
            limits.append(self.plan.next_s - self.now_s - 0.002)
        if self.plant.lights_in_s is not None:
            limits.append(self.plant.lights_in_s - 0.002)
        if self._dark_until is not None:
            limits.append((self._dark_until - self.ticks) / TICK_HZ)
        whole_ms = int(min(limits) * 1000.0)
        if whole_ms < 1:
            return 0.0
        jump = whole_ms * TICKS_PER_MS
        self.ticks += jump
        self._next_fast += jump
        self.plant.skip(whole_ms / 1000.0)
        self.plant.board_tick = self.board_tick
        if self._board is not None:
            self._board.step(self.board_tick)
        self.stepped_s += whole_ms / 1000.0
        return whole_ms / 1000.0

    # power and state --------------------------------------------------------------------------

    def power_on(self, cause: ResetCause) -> None:
        """A board comes up with empty memory; only its non-volatile bytes are the old ones."""
        self._boot_ticks = self.ticks
        self.plant.board_tick = 0
        self.boots.append({"time_s": self.now_s, "cause": cause.name})
        self._state = BoardState.DISARMED
        self._room = 0.0
        self._board = VirtualBoard(self.plant, board_config(self.setup))
        self._board.power_on(0, cause)
        if len(self.boots) > 1:
            self._moment("reset")

    def power_off(self, for_s: float) -> None:
        """The board loses its supply: outputs fall, memory is gone, it answers nothing."""
        self._board = None
        self._state = BoardState.DISARMED
        self.plant.power_lost()
        self._dark_until = self.ticks + round(for_s * TICK_HZ)

    def reset(self, cause: ResetCause) -> None:
        """Reset without loss of power: outputs low at once, then a fresh start."""
        self.plant.power_lost()
        self.power_on(cause)

    def _watch_state(self) -> None:
        assert self._board is not None
        state = self._board.state
        if state != self._state:
            self._state = state
            self._moment(STATE_WORDS[state])

    def _moment(self, word: str) -> None:
        self.events.append(
            {"time_s": self.plant.now_s, "tick": self.plant.board_tick, "what": word}
        )
        self.plan.note(word, self.plant.now_s)

    def _act(self, fault: Fault | Later) -> None:
        if not isinstance(fault, Fault):
            fault()
            return
        self.events.append(
            {"time_s": self.now_s, "tick": self.board_tick, "what": fault.do, **fault.args}
        )
        act(self, fault.do, fault.args)

    def true_state(self) -> dict[str, Any]:
        """What really is: for debriefs and tests, never for the controller."""
        board = self._board
        return {
            "time_s": self.now_s,
            "tick": self.board_tick,
            "stepped_s": self.stepped_s,
            "powered": board is not None,
            "board_state": None if board is None else self._state.name,
            "cable": self.cable.plugged,
            "boots": len(self.boots),
            "faults_left": self.plan.waiting + (self.plan.next_s is not None),
            "pins": dict(self.pins.levels),
            **self.plant.true_state(),
        }

    def close(self) -> None:
        self.pins.close()
