"""The self-test: each switch moved alone with the key out, outputs read back, shunt, supply dip.

A list of timed steps run from the board's poll. Nothing here can put current on the line: the key
is out (the plug power is broken by it) and never more than one switch is closed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from firmware_protocol.messages import LimitsStage, Out, Reason, SelftestResult, SelftestWhat
from simulators.board_hal import DEAD_MA, DEAD_MV, Hal
from simulators.board_outputs import Outputs

SWITCH_MS: Final = 20
OUTPUT_MS: Final = 50
SHUNT_SETTLE_MS: Final = 100
SHUNT_READ_MS: Final = 100
LOAD_MS: Final = 50
MOVED_OUTPUTS: Final = (Out.SIREN, Out.LAMP_HORN)


@dataclass(slots=True)
class Mean:
    total: int = 0
    many: int = 0

    def add(self, count: int) -> None:
        self.total += count
        self.many += 1

    @property
    def value(self) -> float:
        return self.total / self.many if self.many else 0.0


class Selftest:
    """`step(tick)` until it returns a result; `stop()` at any time leaves everything off."""

    def __init__(
        self,
        what: int,
        hal: Hal,
        outputs: Outputs,
        limits: LimitsStage | None,
        *,
        switches_locked: bool,
        channels: int,
        tick: int,
        ticks_per_ms: int,
    ) -> None:
        self.what = SelftestWhat(what)
        self.hal = hal
        self.outputs = outputs
        self.limits = limits
        self.switches_locked = switches_locked
        self.shunt_window = False
        self.result = Reason.OK
        self._per_ms = ticks_per_ms
        self._without = [Mean() for _ in range(channels)]
        self._with = [Mean() for _ in range(channels)]
        self._reading: list[Mean] | None = None
        self._supply = (0, 0)
        self._moving: Out | None = None
        self._steps = self._run()
        self._until = tick

    def note(self, first_channel: int, counts: Sequence[int]) -> None:
        """Counts that arrive while the shunt is being judged."""
        if self._reading is not None:
            for at, count in enumerate(counts, first_channel):
                self._reading[at].add(count)

    def step(self, tick: int) -> SelftestResult | None:
        if tick < self._until:
            return None
        wait = next(self._steps, None)
        if wait is None or self.result != Reason.OK:
            self.stop()
            return self.report(tick)
        self._until = tick + wait * self._per_ms
        return None

    def fail(self, reason: Reason, tick: int) -> SelftestResult:
        """Something ended it early: everything off, and why."""
        self.stop()
        self.result = reason
        return self.report(tick)

    def stop(self) -> None:
        self.hal.drive(False, False)
        self.outputs.set(Out.SHUNT, False)
        self.outputs.set(Out.TEST_LOAD, False)
        if (
            self._moving is not None
        ):  # broken off in the middle of a move: off, the host orders anew
            self.outputs.set(self._moving, False)
            self._moving = None
        self.shunt_window = False
        self._reading = None

    def report(self, tick: int) -> SelftestResult:
        steps = [w.value - wo.value for w, wo in zip(self._with, self._without, strict=True)]
        return SelftestResult(
            what=self.what,
            result=self.result,
            tick=tick,
            supply_rest_mv=self._supply[0],
            supply_loaded_mv=self._supply[1],
            continuity_mohm=min(max(self.hal.continuity_mohm(), 0), 0xFFFF),
            shunt_steps=tuple(round(step) for step in steps),
        )

    def _wants(self, part: SelftestWhat) -> bool:
        return self.what in (SelftestWhat.ALL, part)

    def _fail(self, reason: Reason) -> None:
        if self.result == Reason.OK:
            self.result = reason

    def _run(self) -> Iterator[int]:
        if self._wants(SelftestWhat.SWITCHES):
            yield from self._switches()
        if self._wants(SelftestWhat.OUTPUTS):
            yield from self._outputs()
        if self._wants(SelftestWhat.SUPPLY):
            yield from self._dip()
        if self._wants(SelftestWhat.SHUNT):
            yield from self._shunt()

    def _switches(self) -> Iterator[int]:
        self._expect(False, False)
        if self.switches_locked:
            return
        for high, low in ((True, False), (False, False), (False, True), (False, False)):
            if self.result != Reason.OK:
                return
            self.hal.drive(high, low)
            yield SWITCH_MS
            self._expect(high, low)

    def _expect(self, high: bool, low: bool) -> None:
        if self.hal.high_closed() != high:
            self._fail(Reason.HIGH_SWITCH)
        if self.hal.low_closed() != low:
            self._fail(Reason.LOW_SWITCH)
        if abs(self.hal.line_mv()) > DEAD_MV or self.hal.line_ma() > DEAD_MA:
            self._fail(Reason.LINE_NOT_DEAD)

    def _outputs(self) -> Iterator[int]:
        if self.outputs.reads(Out.PUMP):
            self._fail(Reason.READBACK)
        for out in MOVED_OUTPUTS:
            before = self.outputs.levels[out]
            self._moving = out
            for level in (not before, before):
                self.outputs.set(out, level)
                yield OUTPUT_MS
                if self.outputs.reads(out) != level:
                    self._fail(Reason.READBACK)
                    self.outputs.set(out, False)
            self._moving = None

    def _dip(self) -> Iterator[int]:
        rest = self.hal.supply_mv()
        self.outputs.set(Out.TEST_LOAD, True)
        yield LOAD_MS
        loaded = self.hal.supply_mv()
        self.outputs.set(Out.TEST_LOAD, False)
        self._supply = (rest, loaded)
        if self.limits and not self.limits.supply_lo_mv <= loaded <= self.limits.supply_hi_mv:
            self._fail(Reason.SUPPLY)

    def _shunt(self) -> Iterator[int]:
        self.shunt_window = True
        self._reading = self._without
        yield SHUNT_READ_MS
        self._reading = None
        self.outputs.set(Out.SHUNT, True)
        yield SHUNT_SETTLE_MS
        self._reading = self._with
        yield SHUNT_READ_MS
        self._reading = None
        self.outputs.set(Out.SHUNT, False)
        yield SHUNT_SETTLE_MS
