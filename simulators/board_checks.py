"""What must be true before the board arms, and what must stay true until GO. Order = PROTOCOL.md."""

from collections.abc import Iterator

from firmware_protocol.messages import LimitsStage, Out, ProcedureKind, Reason
from firmware_protocol.numbers import CONTINUITY_OPEN, SELFTEST_AGE_S
from simulators.board_core import BoardCore


def first_missing(core: BoardCore, tick: int, *, arming: bool) -> Reason:
    """The first thing that stands in the way; OK if nothing does.

    `arming` also judges the age of the self-test, which ARM_ASK and ARM_TAKE need and GO does not:
    the test must be younger than the arming (practice 3.4), not than the pulse.
    """
    return next(missing(core, tick, arming=arming), Reason.OK)


def missing(core: BoardCore, tick: int, *, arming: bool) -> Iterator[Reason]:
    """Everything that stands in the way, worst first."""
    yield from _latches(core)
    active = core.limits.active
    if active is None:
        yield Reason.NO_LIMITS
        return
    if not core.limits.is_intact():
        yield Reason.LIMITS_DAMAGED
    if core.procedure == ProcedureKind.BENCH:
        yield Reason.BENCH
    if active.pulse_ms > core.config.pulse_ceiling_ms:
        yield Reason.PULSE
    yield from _contacts(core)
    yield from _selftest(core, tick, arming=arming)
    yield from line_faults(core)
    yield from load_faults(core, active)
    yield from _channels(core)
    if any(ring.frozen for ring in core.rings):
        yield Reason.RING_FROZEN


def _latches(core: BoardCore) -> Iterator[Reason]:
    if core.abort_tick is not None:
        yield Reason.ABORT_LATCHED
    if core.trip_latched:
        yield Reason.TRIP_LATCHED
    if core.lit_tick is not None:
        yield Reason.BURNING
    if core.memory.fired:
        yield Reason.FIRED_LATCHED
    if core.selftest is not None:
        yield Reason.SELFTEST_RUNNING


def _contacts(core: BoardCore) -> Iterator[Reason]:
    if not core.stop_out.level or core.hal.stop_in():
        yield Reason.STOP_IN
    if not core.key.level or not core.hal.key_in():
        yield Reason.KEY_OUT
    elif not core.key_seen_out:
        yield Reason.KEY_NOT_SEEN_OUT


def _selftest(core: BoardCore, tick: int, *, arming: bool) -> Iterator[Reason]:
    if core.selftest_failed:
        yield Reason.SELFTEST_FAILED
        return
    passed = core.selftest_passed
    too_old = passed is None or tick - passed >= SELFTEST_AGE_S * core.config.tick_hz
    switches_open = core.procedure != ProcedureKind.PROOF and not core.switches_proved
    if (arming and too_old) or passed is None or switches_open:
        yield Reason.SELFTEST_OLD


def line_faults(core: BoardCore) -> Iterator[Reason]:
    """The line must be dead as measured and both switches open as sensed."""
    line = core.line
    if line.high_closed:
        yield Reason.HIGH_SWITCH
    if line.low_closed:
        yield Reason.LOW_SWITCH
    if not line.is_dead:
        yield Reason.LINE_NOT_DEAD
    if Out.PUMP in core.outputs.disagree:
        yield Reason.READBACK


def load_faults(core: BoardCore, limits: LimitsStage) -> Iterator[Reason]:
    """What hangs on the line must be what the procedure is for; the supply in its window."""
    mohm = core.line.mohm
    igniter = limits.igniter_lo_mohm <= mohm <= limits.igniter_hi_mohm
    if limits.procedure == ProcedureKind.FIRE:
        if not limits.continuity_lo_mohm <= mohm <= limits.continuity_hi_mohm:
            yield Reason.CONTINUITY
    elif igniter:
        yield Reason.IGNITER_SEEN
    elif limits.procedure == ProcedureKind.DRY:
        if not limits.dummy_lo_mohm <= mohm <= limits.dummy_hi_mohm:
            yield Reason.NOT_THE_DUMMY
    elif limits.procedure == ProcedureKind.PROOF and mohm != CONTINUITY_OPEN:
        yield Reason.CONTINUITY
    if not limits.supply_lo_mv <= core.line.supply_mv <= limits.supply_hi_mv:
        yield Reason.SUPPLY


def _channels(core: BoardCore) -> Iterator[Reason]:
    guards = [
        (group, watch)
        for group, watches in enumerate(core.by_group)
        for watch in watches
        if watch.trips
    ]
    if not guards:
        yield Reason.NO_TRIP_CHANNEL
    for group, watch in guards:
        if group in core.silent_groups or watch.last is None:
            yield Reason.CHANNEL_SILENT
        if watch.fault != Reason.OK:
            yield watch.fault
        if watch.is_over:
            yield Reason.ABOVE_TRIP
