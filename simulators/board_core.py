"""The state of the board and the few acts that change it: disarm, energise, trip, light.

Everything that makes the line go off goes through `disarm`; everything that turns it on goes through
`energise`. Neither knows where the wish came from.
"""

from typing import Final

from firmware_protocol.link import Link
from firmware_protocol.messages import (
    BoardState,
    EventKind,
    Out,
    ProcedureKind,
    Reason,
    ResetCause,
    Samples,
    SelftestResult,
    SelftestWhat,
    place_value,
)
from firmware_protocol.numbers import BLOCK_MS, STATUS_FAST_MS, STATUS_SLOW_MS
from simulators.board_arming import Arming, Challenges, Echo, OpenOffer, SeqWatch
from simulators.board_channels import ChannelWatch
from simulators.board_events import RESEND_MS, EventLog
from simulators.board_hal import BURN_QUIET_MS, BoardConfig, Hal
from simulators.board_inputs import Debounced
from simulators.board_limits import NO_FIRE, Limits
from simulators.board_line import FireLine
from simulators.board_memory import Memory
from simulators.board_outputs import Outputs
from simulators.board_samples import BlockMaker, Ring
from simulators.board_selftest import Selftest  # noqa: TC001
from simulators.board_tx import Transmit

FAST_STATES: Final = frozenset({BoardState.ARMED, BoardState.ENERGISED, BoardState.BURN})


class BoardCore:
    """All that is lost when the power goes, and the non-volatile memory beside it."""

    def __init__(self, hal: Hal, config: BoardConfig, tick: int, cause: ResetCause) -> None:
        self.line = FireLine(hal, config.ticks(1))  # first act after any reset: both switches off
        self.hal, self.config, self.cause = hal, config, cause
        self.per_ms = per_ms = config.ticks(1)
        self.outputs = Outputs(hal, per_ms)
        self.memory = Memory(hal.nv_read, hal.nv_write)
        self.boot_nonce = self.memory.count_boot(hal.entropy())
        self.host_nonce = 0
        self.link = Link("board")
        self.tx = Transmit(self.link)
        self.events = EventLog(RESEND_MS * per_ms)
        self.limits = Limits(config)
        self.key = Debounced(
            hal.key_in(), config.ticks(config.key_on_ms), config.ticks(config.key_off_ms)
        )
        self.stop_out = Debounced(
            not hal.stop_in(), config.ticks(config.key_on_ms), config.ticks(config.key_off_ms)
        )
        self.key_seen_out = False
        self._make_channels()
        self.echo = Echo(per_ms)
        self.challenges = Challenges(hal.entropy())
        self.seqs = SeqWatch()
        self.offer: OpenOffer | None = None
        self.arming: Arming | None = None
        self.trip_latched = False
        self.abort_tick: int | None = None
        self.lit_tick: int | None = None
        self.last_above = 0
        self.first_lit = 0  # tick of the first voted rise since the last release
        self.freeze_at: int | None = None
        self.selftest: Selftest | None = None  # running
        self.selftest_passed: int | None = None
        self.selftest_failed = False
        self.switches_proved = False
        self.igniter_seen = False
        self.silent_groups: frozenset[int] = frozenset()
        self.heard = self.grace_from = tick
        self.ignored = 0  # old session, repeated
        self.last = (0, 0, 0)  # kind, seq, result
        self.status_number = 0
        self.status_due = 0
        self.event(tick, EventKind.BOOT, cause)

    def _make_channels(self) -> None:
        config = self.config
        self.makers = [
            BlockMaker(at, spec, config.ticks(BLOCK_MS)) for at, spec in enumerate(config.groups)
        ]
        rates = [spec.channels * spec.rate_mhz for spec in config.groups]
        self.rings = [
            Ring(at, spec, config.ring_bytes * rates[at] // sum(rates))
            for at, spec in enumerate(config.groups)
        ]
        self.watches: list[ChannelWatch] = []
        self.by_group: list[list[ChannelWatch]] = []
        for spec in config.groups:
            first = len(self.watches)
            mine = [
                ChannelWatch(first + at, spec.full_lo, spec.full_hi) for at in range(spec.channels)
            ]
            self.by_group.append(mine)
            self.watches += mine

    # ---- what is the case

    @property
    def state(self) -> BoardState:
        if self.trip_latched or self.abort_tick is not None:
            return BoardState.TRIPPED
        if self.line.pulse is not None:
            return BoardState.ENERGISED
        if self.lit_tick is not None:
            return BoardState.BURN
        return BoardState.ARMED if self.arming else BoardState.DISARMED

    @property
    def procedure(self) -> ProcedureKind:
        return self.limits.procedure

    @property
    def status_period(self) -> int:
        fast = self.state in FAST_STATES or self.lit_tick is not None
        return (STATUS_FAST_MS if fast else STATUS_SLOW_MS) * self.per_ms

    @property
    def rx_bad(self) -> int:
        return (self.link.bad_frames + self.ignored) & 0xFFFF

    def is_blind(self) -> bool:
        """No pressure channel can be believed; without any declared nothing guards either."""
        return not any(
            watch.trips and watch.fault == Reason.OK and group not in self.silent_groups
            for group, watches in enumerate(self.by_group)
            for watch in watches
        )

    # ---- what is done

    def event(self, tick: int, kind: EventKind, value: int = 0) -> None:
        event = self.events.add(tick, kind, value)
        if self.link.session is not None:
            self.tx.say(event)

    def read_line(self, tick: int) -> None:
        for kind, value in self.line.scan(tick):
            self.event(tick, kind, value)

    def disarm(self, tick: int, reason: Reason) -> None:
        """Line off, pump off, offer and arming gone; at any time, any number of times."""
        self.line.off()
        if self.outputs.levels[Out.PUMP]:
            self.outputs.set(Out.PUMP, False)
        self.offer = None
        if self.selftest is not None:
            self.end_selftest(tick, self.selftest.fail(reason, tick))
        if self.arming is not None:
            self.arming = None
            self.event(tick, EventKind.DISARMED, reason)
            self.status_due = tick

    def energise(self, tick: int, pulse_ms: int) -> Reason:
        """Line on for the pulse; the fired latch is written first."""
        self.memory.set_fired()
        reason = self.line.on(tick, pulse_ms)
        if reason != Reason.OK:
            self.disarm(tick, reason)
            return reason
        self.event(tick, EventKind.GO, pulse_ms)
        self.status_due = tick
        return Reason.OK

    def trip(self, tick: int, watch: ChannelWatch, count: int) -> None:
        """The vote says over: line off, outputs to their abort levels. It stops no burn."""
        self.disarm(tick, Reason.TRIPPED)
        self.outputs.abort()
        self.trip_latched = True
        self.event(tick, EventKind.TRIP, place_value(watch.channel, count))
        self.status_due = tick

    def light(self, tick: int, watch: ChannelWatch, count: int) -> None:
        """A voted rise is a burn, whatever was commanded; not in BENCH and PROOF without igniter."""
        locked = self.limits.active is not None and self.procedure in NO_FIRE
        if locked and not self.igniter_seen:
            return
        self.last_above = tick
        if self.lit_tick is not None:
            return
        self.disarm(tick, Reason.MOTOR_LIT)
        self.lit_tick = tick
        self.memory.set_fired()
        if self.freeze_at is None and self.limits.active is not None:
            self.first_lit = tick
            self.freeze_at = tick + self.limits.active.ring_post_s * self.config.tick_hz
        self.event(tick, EventKind.LIT, place_value(watch.channel, count))
        self.status_due = tick

    def follow_burn(self, tick: int) -> None:
        """Burn-out one second after the last vote above the lit threshold; then freeze the ring."""
        if self.lit_tick is not None:
            if any(watch.is_above and watch.fault == Reason.OK for watch in self.watches):
                self.last_above = tick
            elif tick - self.last_above >= BURN_QUIET_MS * self.per_ms:
                self.event(tick, EventKind.BURN_OUT, (tick - self.lit_tick) // self.per_ms)
                self.lit_tick = None
                self.status_due = tick
        if self.freeze_at is not None and tick >= self.freeze_at and not self.rings[0].frozen:
            for maker, ring in zip(self.makers, self.rings, strict=True):
                for block in maker.close():
                    self.ship(ring, block)
                ring.frozen = True
            self.event(tick, EventKind.RING_FROZEN, (tick - self.first_lit) // self.per_ms)

    def ship(self, ring: Ring, block: Samples) -> None:
        """A block that is complete: into the ring, and to the host if one listens."""
        ring.keep(block)
        if self.link.session is not None:
            self.tx.stream(block)

    def abort(self, tick: int, reason: int) -> None:
        self.disarm(tick, Reason.ABORT_COMMAND)
        self.outputs.abort()
        if self.abort_tick is None:
            self.event(tick, EventKind.ABORT, reason)
            self.status_due = tick
        self.abort_tick = tick

    def end_selftest(self, tick: int, result: SelftestResult) -> None:
        """Note what it proved, tell the host, start the votes anew."""
        test, self.selftest = self.selftest, None
        assert test is not None
        self.line.moving = False
        for watch in self.watches:
            watch.forget()
        if result.result != Reason.OK:
            self.selftest_passed, self.selftest_failed = None, True
        elif test.what == SelftestWhat.ALL:
            self.selftest_passed, self.selftest_failed = tick, False
            self.switches_proved = not test.switches_locked
        self.event(tick, EventKind.SELFTEST, result.result)
        if self.link.session is not None:
            self.tx.say(result)
        self.status_due = tick
