"""The firing line: two switches, what is commanded and what is measured.

The only place that closes both switches. The key is read again after switching on: a key pulled
between the check and the switch must not leave the line live.
"""

from firmware_protocol.messages import EventKind, Reason
from firmware_protocol.numbers import CONTINUITY_OPEN
from simulators.board_arming import Pulse
from simulators.board_hal import DEAD_MA, DEAD_MV, DISAGREE_MS, LINE_SENSED_MA, Hal
from simulators.board_inputs import Persistent


class FireLine:
    """`scan` every poll, `measure` every 10 ms; `on` and `off` act at once."""

    def __init__(self, hal: Hal, ticks_per_ms: int) -> None:
        self._hal = hal
        self._per_ms = ticks_per_ms
        self.pulse: Pulse | None = None
        self.high_closed = self.low_closed = False
        self.mv = self.ma = self.supply_mv = 0
        self.mohm = CONTINUITY_OPEN
        self.moving = False  # the self-test moves the switches one by one
        self._flowing_since: int | None = None
        self._differ = Persistent(DISAGREE_MS * ticks_per_ms)
        self._live = Persistent(DISAGREE_MS * ticks_per_ms)
        self.disagrees = False
        self.live_while_off = False
        self.off()

    def on(self, tick: int, pulse_ms: int) -> Reason:
        """Close both switches for `pulse_ms`; the reason if the key or the stop forbids it."""
        if (reason := self._forbidden()) != Reason.OK:
            return reason
        self._hal.drive(True, True)
        if (reason := self._forbidden()) != Reason.OK:
            self._hal.drive(False, False)
            return reason
        self.pulse = Pulse(start=tick, until=tick + pulse_ms * self._per_ms)
        return Reason.OK

    def _forbidden(self) -> Reason:
        if not self._hal.key_in():
            return Reason.KEY_OUT
        return Reason.STOP_IN if self._hal.stop_in() else Reason.OK

    def off(self) -> None:
        self.pulse = None
        self._hal.drive(False, False)

    @property
    def is_dead(self) -> bool:
        return abs(self.mv) <= DEAD_MV and self.ma <= DEAD_MA

    def scan(self, tick: int) -> list[tuple[EventKind, int]]:
        """Measure voltage, current, switches and supply; what happened since the last time."""
        hal = self._hal
        self.high_closed, self.low_closed = hal.high_closed(), hal.low_closed()
        self.mv, self.ma, self.supply_mv = hal.line_mv(), hal.line_ma(), hal.supply_mv()
        return [*self._current(tick), *self._switches(tick), *self._dead(tick)]

    def _current(self, tick: int) -> list[tuple[EventKind, int]]:
        flows = self.ma >= LINE_SENSED_MA
        if flows and self._flowing_since is None:
            self._flowing_since = tick
            return [(EventKind.LINE_ON, self.ma)]
        if not flows and self._flowing_since is not None:
            lasted = (tick - self._flowing_since) // self._per_ms
            self._flowing_since = None
            return [(EventKind.LINE_OFF, lasted)]
        return []

    def _switches(self, tick: int) -> list[tuple[EventKind, int]]:
        commanded = self.pulse is not None
        differ = (self.high_closed != commanded) or (self.low_closed != commanded)
        was = self.disagrees
        self.disagrees = self._differ.holds(differ and not self.moving, tick)
        if self.disagrees and not was:
            return [(EventKind.SWITCH_DISAGREES, self.high_closed | self.low_closed << 1)]
        return []

    def _dead(self, tick: int) -> list[tuple[EventKind, int]]:
        was = self.live_while_off
        self.live_while_off = self._live.holds(self.pulse is None and not self.is_dead, tick)
        if self.live_while_off and not was:
            return [(EventKind.LINE_NOT_DEAD, self.mv)]
        return []

    def measure(self) -> None:
        """One continuity pulse, only while the line is off and both switches are open."""
        if self.pulse is None and not (self.high_closed or self.low_closed):
            self.mohm = min(max(self._hal.continuity_mohm(), 0), CONTINUITY_OPEN)
        else:
            self.mohm = CONTINUITY_OPEN
