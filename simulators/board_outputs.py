"""Auxiliary outputs: what was commanded, what reads back, and which of them disagree."""

from firmware_protocol.messages import Out
from firmware_protocol.numbers import ABORT_LEVELS
from simulators.board_hal import DISAGREE_MS, Hal
from simulators.board_inputs import Persistent


class Outputs:
    """All off after power-on: the dump valve stands open, the pump is off."""

    def __init__(self, hal: Hal, ticks_per_ms: int) -> None:
        self._hal = hal
        self.levels = dict.fromkeys(Out, False)
        self._differ = {out: Persistent(DISAGREE_MS * ticks_per_ms) for out in Out}
        self.disagree: frozenset[Out] = frozenset()
        self.read_bits = 0
        for out in Out:
            hal.output(out, False)

    def set(self, out: Out, level: bool) -> None:
        self.levels[out] = level
        self._hal.output(out, level)

    def abort(self) -> None:
        for out, level in ABORT_LEVELS.items():
            self.set(out, level)

    def reads(self, out: Out) -> bool:
        return self._hal.read_output(out)

    @property
    def command_bits(self) -> int:
        return sum(level << out for out, level in self.levels.items())

    def scan(self, tick: int) -> list[Out]:
        """Read all back; outputs that have just begun to disagree for longer than 50 ms."""
        self.read_bits = sum(self._hal.read_output(out) << out for out in Out)
        now = frozenset(
            out
            for out, level in self.levels.items()
            if self._differ[out].holds(bool(self.read_bits >> out & 1) != level, tick)
        )
        new = sorted(now - self.disagree)
        self.disagree = now
        return new
