"""The simulated board: does alone everything the real one must do alone. Pure in time.

Every call carries `tick` (board clock, `config.tick_hz`); ticks never go back and may jump forward.
`receive` acts at once, `sample` judges at once, `poll` (every millisecond or oftener) does all that
only time brings about. The board can be switched off and on again in the middle of anything.
"""

from typing import Final

from firmware_protocol.messages import (
    BoardState,
    EventKind,
    Flag,
    Out,
    ProcedureKind,
    Reason,
    ResetCause,
    Status,
    place_value,
)
from firmware_protocol.numbers import HOST_SILENCE_MS
from simulators.board_channels import FAULT, LIT, TRIP, ChannelWatch
from simulators.board_checks import line_faults, load_faults
from simulators.board_commands import handle, identity, stop_now
from simulators.board_core import BoardCore
from simulators.board_hal import DISAGREE_MS, BoardConfig, Hal
from simulators.board_inputs import Persistent

__all__ = ["BoardConfig", "Hal", "VirtualBoard"]

SLOW_SCAN_MS: Final = 10
IDENTITY_MS: Final = 500
SILENT_MS: Final = 20
JUMP_MS: Final = 250
ABORT_SHOWN_MS: Final = 1_000
PUMP_GRIPS: Final = 2  # no single frame starts the pump


class VirtualBoard:
    """`power_on` first; before it and after `power_off` the board is dead and hears nothing."""

    def __init__(self, hal: Hal, config: BoardConfig) -> None:
        self.hal = hal
        self.config = config
        self.core: BoardCore | None = None
        self._slow_due = self._identity_due = self._last_poll = 0
        self._unfit = Persistent(config.ticks(DISAGREE_MS))

    def power_on(self, tick: int, cause: ResetCause = ResetCause.POWER) -> None:
        """Start (or start again): SAFE, nothing remembered but the non-volatile memory."""
        self.core = BoardCore(self.hal, self.config, tick, cause)
        self._slow_due = self._identity_due = self._last_poll = tick
        self._unfit = Persistent(self.config.ticks(DISAGREE_MS))
        self.core.read_line(tick)

    def power_off(self) -> None:
        """Supply gone: the pull-downs hold every output low."""
        self.core = None
        self.hal.drive(False, False)
        for out in Out:
            self.hal.output(out, False)

    @property
    def state(self) -> BoardState:
        """DISARMED while there is no power."""
        return self.core.state if self.core else BoardState.DISARMED

    def step(self, tick: int) -> None:
        """The rehearsal clock steps to `tick`: silence is not charged for the jump, all else is."""
        if self.core is not None:
            self.core.heard += tick - self._last_poll
            self.core.grace_from = tick

    def receive(self, tick: int, data: bytes) -> None:
        """Bytes from the host, any bytes. SAFE and ABORT act before anything else of the same read;
        each frame is judged under the session that the one before it left.
        """
        core = self.core
        if core is None:
            return
        for stop in core.link.stops(data):
            stop_now(core, tick, stop)
        *frames, rest = data.split(b"\0")
        for piece in (*(frame + b"\0" for frame in frames), rest):
            for event in core.link.receive(piece):
                handle(core, tick, event)

    def sample(self, tick: int, group: int, counts: tuple[int, ...]) -> None:
        """One conversion of a whole group; the votes act here, not at the next poll."""
        core = self.core
        if core is None:
            return
        done = core.makers[group].add(tick, counts)
        if done:
            for block in done:
                core.ship(core.rings[group], block)
        watches = core.by_group[group]
        test = core.selftest
        if test is not None and test.shunt_window:
            test.note(watches[0].channel, counts)
            return
        for watch, count in zip(watches, counts, strict=True):
            edges = watch.push(count)
            if edges:
                self._act(core, tick, watch, count, edges)

    def take_tx(self, limit: int = 1 << 20) -> bytes:
        """Bytes for the host, at most `limit`."""
        return self.core.tx.take(limit) if self.core else b""

    def _act(self, core: BoardCore, tick: int, watch: ChannelWatch, count: int, edges: int) -> None:
        if edges & LIT:
            core.light(tick, watch, count)
        if edges & TRIP:
            core.trip(tick, watch, count)
        if edges & FAULT:
            kind = EventKind.CHANNEL_FAULT if watch.fault else EventKind.CHANNEL_WELL
            core.event(tick, kind, place_value(watch.channel, watch.fault))
            self._blind(core, tick)

    def _blind(self, core: BoardCore, tick: int) -> None:
        if core.line.pulse is not None and core.is_blind():
            core.disarm(tick, Reason.BLIND)

    # ---- everything that time brings about

    def poll(self, tick: int) -> None:
        core = self.core
        if core is None:
            return
        if tick - self._last_poll > JUMP_MS * core.per_ms:
            core.grace_from = tick
        self._last_poll = tick
        self._check_limits(core, tick)
        self._read_contacts(core, tick)
        core.read_line(tick)
        if tick >= self._slow_due:
            self._slow_due = tick + SLOW_SCAN_MS * core.per_ms
            self._slow_scan(core, tick)
        self._watch_arming(core, tick)
        self._run_pump(core, tick)
        self._run_selftest(core, tick)
        core.follow_burn(tick)
        self._stream(core, tick)

    def _check_limits(self, core: BoardCore, tick: int) -> None:
        if not core.limits.is_intact():
            core.disarm(tick, Reason.LIMITS_DAMAGED)
            core.limits.drop()
            core.event(tick, EventKind.LIMITS_DAMAGED)
            core.status_due = tick

    def _read_contacts(self, core: BoardCore, tick: int) -> None:
        if core.key.read(core.hal.key_in(), tick):
            core.event(tick, EventKind.KEY_IN if core.key.level else EventKind.KEY_OUT)
            core.disarm(tick, Reason.KEY_IN if core.key.level else Reason.KEY_OUT)
            core.status_due = tick
        if not core.key.level and core.host_nonce:
            core.key_seen_out = True
        if core.stop_out.read(not core.hal.stop_in(), tick):
            core.event(tick, EventKind.STOP_OUT if core.stop_out.level else EventKind.STOP_IN)
            core.status_due = tick
            if not core.stop_out.level:
                core.disarm(tick, Reason.STOP_IN)
        shown = core.abort_tick is not None and (
            tick - core.abort_tick >= ABORT_SHOWN_MS * core.per_ms
        )
        if shown and not core.key.level:
            core.abort_tick = None
            core.event(tick, EventKind.ABORT_CLEARED)
            core.status_due = tick

    def _slow_scan(self, core: BoardCore, tick: int) -> None:
        core.line.measure()
        active = core.limits.active
        if active and active.igniter_lo_mohm <= core.line.mohm <= active.igniter_hi_mohm:
            core.igniter_seen = True
        for out in core.outputs.scan(tick):
            core.event(tick, EventKind.OUTPUT_DISAGREES, out)
        silent = frozenset(
            group
            for group, maker in enumerate(core.makers)
            if tick - max(maker.last_tick or 0, core.grace_from)
            > max(SILENT_MS * core.per_ms, 5 * maker.step)
        )
        for group in silent ^ core.silent_groups:
            kind = EventKind.CHANNEL_FAULT if group in silent else EventKind.CHANNEL_WELL
            reason = Reason.CHANNEL_SILENT if group in silent else Reason.OK
            core.event(tick, kind, place_value(core.by_group[group][0].channel, reason))
        core.silent_groups = silent
        self._blind(core, tick)

    def _watch_arming(self, core: BoardCore, tick: int) -> None:
        offer, arming, pulse = core.offer, core.arming, core.line.pulse
        if offer is not None and tick >= offer.until:
            core.offer = None
        if arming is None:
            self._unfit.since = None
            return
        if pulse is not None:
            self._watch_pulse(core, tick)
        elif tick >= arming.until:
            core.disarm(tick, Reason.ARMED_EXPIRED)
        elif tick - core.heard > HOST_SILENCE_MS * core.per_ms:
            core.disarm(tick, Reason.HOST_SILENT)
        else:
            active = core.limits.active
            assert active is not None
            faults = [*line_faults(core), *load_faults(core, active)]
            if self._unfit.holds(bool(faults), tick):
                core.disarm(tick, faults[0])

    def _watch_pulse(self, core: BoardCore, tick: int) -> None:
        pulse, arming = core.line.pulse, core.arming
        assert pulse is not None
        assert arming is not None
        if tick >= pulse.until:
            core.disarm(tick, Reason.PULSE_END)
        elif not arming.grip.is_fresh(tick):
            core.disarm(tick, Reason.GRIP_STALE)
        elif core.line.disagrees:
            core.disarm(tick, Reason.SWITCH_DISAGREES)

    def _run_pump(self, core: BoardCore, tick: int) -> None:
        arming = core.arming
        wanted = (
            arming is not None
            and core.procedure == ProcedureKind.PROOF
            and arming.grip.many >= PUMP_GRIPS
            and arming.grip.is_fresh(tick)
        )
        if wanted != core.outputs.levels[Out.PUMP]:
            core.outputs.set(Out.PUMP, wanted)
            core.status_due = tick

    def _run_selftest(self, core: BoardCore, tick: int) -> None:
        if core.selftest is not None:
            result = core.selftest.step(tick)
            if result is not None:
                core.end_selftest(tick, result)

    def _stream(self, core: BoardCore, tick: int) -> None:
        for maker, ring in zip(core.makers, core.rings, strict=True):
            for block in maker.close_old(tick):
                core.ship(ring, block)
        if core.link.session is None:
            if tick >= self._identity_due:
                self._identity_due = tick + IDENTITY_MS * core.per_ms
                core.tx.say(identity(core))
            return
        for event in core.events.due(tick):
            core.tx.say(event)
        if tick >= core.status_due:
            core.status_due = tick + core.status_period
            status = self._status(core, tick)
            core.echo.note(status.number, tick)
            core.tx.say(status)

    def _status(self, core: BoardCore, tick: int) -> Status:
        core.status_number += 1
        line, active, arming = core.line, core.limits.active, core.arming
        kind, seq, result = core.last
        return Status(
            number=core.status_number,
            tick=tick,
            state=core.state,
            key_in=core.key.level,
            stop_in=not core.stop_out.level,
            key_seen_out=core.key_seen_out,
            high_closed=line.high_closed,
            low_closed=line.low_closed,
            line_mv=min(max(line.mv, -0x8000), 0x7FFF),
            line_ma=min(max(line.ma, 0), 0xFFFF),
            continuity_mohm=line.mohm,
            limits_crc=core.limits.crc,
            setup_id=active.setup_id if active else 0,
            armed_left_ms=max(0, arming.until - tick) // core.per_ms if arming else 0,
            grip_n=arming.grip.n if arming else 0,
            last_kind=kind,
            last_seq=seq,
            last_result=result,
            trip_latched=core.trip_latched,
            fired_latched=core.memory.fired,
            supply_mv=min(max(line.supply_mv, 0), 0xFFFF),
            rx_bad=core.rx_bad,
            procedure=core.procedure,
            outputs_commanded=core.outputs.command_bits,
            outputs_read=core.outputs.read_bits,
            flags=self._flags(core, tick),
        )

    def _flags(self, core: BoardCore, tick: int) -> int:
        passed = core.selftest_passed
        words = {
            Flag.LIT: core.lit_tick is not None,
            Flag.ABORT_LATCHED: core.abort_tick is not None,
            Flag.RING_FROZEN: core.rings[0].frozen,
            Flag.SELFTEST_RUNNING: core.selftest is not None,
            Flag.OFFER_OPEN: core.offer is not None,
            Flag.GRIP_FRESH: core.arming is not None and core.arming.grip.is_fresh(tick),
            Flag.LIMITS_ACTIVE: core.limits.active is not None,
            Flag.SELFTEST_FRESH: passed is not None and tick - passed < 600 * self.config.tick_hz,
            Flag.CHANNEL_FAULT: bool(core.silent_groups)
            or any(watch.fault for watch in core.watches),
            Flag.LINE_COMMANDED: core.line.pulse is not None,
            Flag.SAMPLES_DROPPED: core.tx.dropped > 0,
        }
        return sum(flag for flag, holds in words.items() if holds)
