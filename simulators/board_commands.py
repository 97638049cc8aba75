"""What each host message makes the board do; every handler answers with a Reason (OK = done)."""

from collections.abc import Callable
from typing import Any, Final

from firmware_protocol.link import LinkEvent, OldSession, Received, UnknownKind
from firmware_protocol.messages import (
    Abort,
    ArmAsk,
    ArmTake,
    Backfill,
    BoardState,
    EventAck,
    EventKind,
    Go,
    Grip,
    Hello,
    Identity,
    LimitsCommit,
    LimitsEcho,
    LimitsStage,
    Offer,
    Out,
    Output,
    Ping,
    Pong,
    ProcedureKind,
    Reason,
    Refused,
    Released,
    Safe,
    Selftest,
    SelftestWhat,
)
from firmware_protocol.numbers import HOST_OUTPUTS, OFFER_MS, PROTOCOL_VERSION
from firmware_protocol.session import session_seed
from simulators.board_arming import Arming, GripRun, OpenOffer
from simulators.board_checks import first_missing
from simulators.board_core import BoardCore
from simulators.board_limits import NO_FIRE
from simulators.board_selftest import Selftest as SelftestRun

BACKFILL_WAITING: Final = 4096
NOT_NOTED: Final = frozenset({Ping.KIND, Grip.KIND, EventAck.KIND})


def handle(core: BoardCore, tick: int, event: LinkEvent) -> None:
    """One event of the link. Damage is counted by the link itself; nothing else acts on it."""
    match event:
        case Received(seq, Hello() as hello):
            _hello(core, tick, seq, hello)
        case Received(seq, Safe() | Abort() as message, in_session):
            if in_session:
                core.seqs.take(seq)
            _stop(core, tick, message)
            core.last = (message.KIND, seq, Reason.OK)
        case Received(seq, message, True):
            _command(core, tick, seq, message)
        case OldSession():
            core.ignored += 1
        case UnknownKind(kind, seq) if core.link.session is not None:
            core.tx.say(Refused(seq=seq, command=kind, reason=Reason.UNKNOWN_COMMAND))
        case _:
            pass


def _command(core: BoardCore, tick: int, seq: int, message: Any) -> None:
    if core.seqs.take(seq):
        core.heard = tick
        reason = HANDLERS[type(message)](core, tick, message)
    else:
        core.ignored += 1
        reason = Reason.REPEATED
    if message.KIND not in NOT_NOTED:
        core.last = (message.KIND, seq, reason)
    if reason != Reason.OK:
        core.tx.say(Refused(seq=seq, command=message.KIND, reason=reason))


def identity(core: BoardCore) -> Identity:
    config = core.config
    return Identity(
        kind=config.kind,
        uid=config.uid,
        boot_nonce=core.boot_nonce,
        host_nonce=core.host_nonce,
        reset_cause=core.cause,
        firmware_hash=config.firmware_hash,
        tick_hz=config.tick_hz,
        ring_bytes=config.ring_bytes,
        pulse_ceiling_ms=config.pulse_ceiling_ms,
        armed_ceiling_s=config.armed_ceiling_s,
        groups=config.groups,
    )


def _hello(core: BoardCore, tick: int, seq: int, hello: Hello) -> None:
    """A new session: everything that was permitted in the old one is gone."""
    core.disarm(tick, Reason.NEW_SESSION)
    speaks = hello.protocol == PROTOCOL_VERSION and hello.host_nonce != 0
    core.host_nonce = hello.host_nonce if speaks else 0
    seed = session_seed(core.config.uid, core.boot_nonce, hello.host_nonce) if speaks else None
    core.link.set_session(seed)
    core.tx.forget()
    core.tx.say(identity(core))
    core.seqs.last = seq
    core.heard = tick
    core.key_seen_out = not core.key.level
    core.limits.staged = None
    core.echo.forget()
    core.last = (Hello.KIND, seq, Reason.OK)
    core.events.add(tick, EventKind.HELLO, hello.host_nonce)
    core.status_due = tick
    if speaks:
        for event in core.events.waiting():
            core.tx.say(event)


def _stop(core: BoardCore, tick: int, message: Safe | Abort) -> None:
    if isinstance(message, Abort):
        core.abort(tick, message.reason)
    else:
        core.disarm(tick, Reason.SAFE_COMMAND)


def _ping(core: BoardCore, tick: int, ping: Ping) -> Reason:
    core.tx.say(Pong(n=ping.n, tick=tick))
    return Reason.OK


def _event_ack(core: BoardCore, _tick: int, ack: EventAck) -> Reason:
    core.events.acknowledge(ack.number)
    return Reason.OK


def _quiet(core: BoardCore) -> Reason:
    """SAFE with the key out: what set-up, self-test and release ask for."""
    if core.key.level or core.hal.key_in():
        return Reason.KEY_IN
    return Reason.SELFTEST_RUNNING if core.selftest is not None else Reason.OK


def _released(core: BoardCore, tick: int, released: Released) -> Reason:
    if (reason := _quiet(core)) != Reason.OK:
        return reason
    if core.lit_tick is not None:
        return Reason.BURNING
    if any(watch.is_over for watch in core.watches):
        return Reason.ABOVE_TRIP
    core.memory.clear_fired()
    core.trip_latched = False
    core.freeze_at = None
    for ring in core.rings:
        if ring.frozen:
            ring.forget()
    core.event(tick, EventKind.RELEASED, released.run)
    core.status_due = tick
    return Reason.OK


def _settled(core: BoardCore) -> Reason:
    if core.state != BoardState.DISARMED:
        return Reason.WRONG_STATE
    return _quiet(core)


def stop_now(core: BoardCore, tick: int, stop: Safe | Abort) -> None:
    """Line off ahead of everything else that came in the same read; handled again in its turn."""
    if isinstance(stop, Abort):
        core.abort(tick, stop.reason)
    else:
        core.disarm(tick, Reason.SAFE_COMMAND)


def _limits_stage(core: BoardCore, _tick: int, limits: LimitsStage) -> Reason:
    core.limits.staged = None
    reason = _settled(core)
    return core.limits.stage(limits) if reason == Reason.OK else reason


def _limits_commit(core: BoardCore, tick: int, commit: LimitsCommit) -> Reason:
    reason = _settled(core)
    if reason == Reason.OK:
        reason = core.limits.commit(commit.staged_crc)
    core.limits.staged = None
    active, body = core.limits.active, core.limits.body
    if reason != Reason.OK or active is None or body is None:
        return reason
    for watch, limits in zip(core.watches, active.channels, strict=True):
        watch.use(limits, active.votes_needed, active.votes_of)
    core.igniter_seen = False
    core.tx.say(LimitsEcho(body=bytes(body)))
    core.event(tick, EventKind.LIMITS_ACTIVE, active.limits_id)
    core.status_due = tick
    return Reason.OK


def _selftest(core: BoardCore, tick: int, wish: Selftest) -> Reason:
    if (reason := _settled(core)) != Reason.OK:
        return reason
    if wish.what not in set(SelftestWhat):
        return Reason.UNKNOWN_COMMAND
    active = core.limits.active
    core.selftest = SelftestRun(
        wish.what,
        core.hal,
        core.outputs,
        active,
        switches_locked=active is not None and active.procedure in NO_FIRE,
        channels=core.config.channels,
        tick=tick,
        ticks_per_ms=core.per_ms,
    )
    core.line.moving = True
    return Reason.OK


def _arm_ask(core: BoardCore, tick: int, ask: ArmAsk) -> Reason:
    core.offer = None
    if core.arming is not None:
        return Reason.WRONG_STATE
    if (reason := first_missing(core, tick, arming=True)) != Reason.OK:
        return reason
    active = core.limits.active
    assert active is not None
    if ask.limits_crc != core.limits.crc:
        return Reason.LIMITS_CRC
    if ask.setup_id != active.setup_id:
        return Reason.SETUP_ID
    challenge = core.challenges.draw()
    until = tick + OFFER_MS * core.per_ms
    core.offer = OpenOffer(challenge=challenge, limits_crc=core.limits.crc, until=until)
    core.tx.say(
        Offer(
            challenge=challenge,
            limits_crc=core.limits.crc,
            setup_id=active.setup_id,
            expires_ms=OFFER_MS,
        )
    )
    return Reason.OK


def _arm_take(core: BoardCore, tick: int, take: ArmTake) -> Reason:
    """An offer can be answered once; a wrong answer uses it up."""
    offer, core.offer = core.offer, None
    if offer is None or tick >= offer.until:
        return Reason.OFFER_GONE
    if take.challenge != offer.challenge:
        return Reason.CHALLENGE
    if not take.limits_crc == offer.limits_crc == core.limits.crc:
        return Reason.LIMITS_CRC
    if (reason := first_missing(core, tick, arming=True)) != Reason.OK:
        return reason
    active = core.limits.active
    assert active is not None
    core.arming = Arming(
        challenge=offer.challenge,
        limits_crc=offer.limits_crc,
        until=tick + active.armed_s * core.config.tick_hz,
        grip=GripRun(core.per_ms),
    )
    core.event(tick, EventKind.ARMED, active.armed_s)
    core.status_due = tick
    return Reason.OK


def _grip(core: BoardCore, tick: int, grip: Grip) -> Reason:
    """Outside an arming a GRIP means nothing and is passed over in silence.

    After the motor has lit the hands may stay on the control.
    """
    arming = core.arming
    if arming is None:
        return Reason.OK
    if grip.challenge != arming.challenge:
        return Reason.CHALLENGE
    if not core.echo.is_fresh(grip.seen, tick):
        return Reason.ECHO_OLD
    return Reason.OK if arming.grip.take(grip.n, tick) else Reason.REPEATED


def _go(core: BoardCore, tick: int, go: Go) -> Reason:
    """The arming's own GO is judged once, whatever the judgement is."""
    arming, active = core.arming, core.limits.active
    if core.procedure == ProcedureKind.PROOF:
        return Reason.PROOF
    if core.procedure == ProcedureKind.BENCH:
        return Reason.BENCH
    if arming is None or active is None:
        return Reason.WRONG_STATE
    if go.challenge != arming.challenge:
        return Reason.CHALLENGE
    if arming.go_used:
        return Reason.GO_USED
    arming.go_used = True
    if not go.limits_crc == arming.limits_crc == core.limits.crc:
        return Reason.LIMITS_CRC
    if not 0 < go.pulse_ms <= active.pulse_ms:
        return Reason.PULSE
    if not core.echo.is_fresh(go.seen, tick):
        return Reason.ECHO_OLD
    if (reason := arming.grip.judge(tick)) != Reason.OK:
        return reason
    core.read_line(tick)
    if (reason := first_missing(core, tick, arming=False)) != Reason.OK:
        return reason
    return core.energise(tick, go.pulse_ms)


def _backfill(core: BoardCore, _tick: int, wish: Backfill) -> Reason:
    if core.arming is not None or core.line.pulse is not None or core.lit_tick is not None:
        return Reason.NOT_NOW
    if wish.group >= len(core.rings):
        return Reason.NO_GROUP
    if core.tx.backlog > BACKFILL_WAITING:
        return Reason.NOT_NOW
    core.tx.later(core.rings[wish.group].cut(wish.first_index, wish.count))
    return Reason.OK


def _output(core: BoardCore, _tick: int, wish: Output) -> Reason:
    if wish.output not in HOST_OUTPUTS or wish.level > 1:
        return Reason.OUTPUT
    out = Out(wish.output)
    if out == Out.DUMP and wish.level and core.state == BoardState.TRIPPED:
        return Reason.OUTPUT
    if core.selftest is not None:
        return Reason.SELFTEST_RUNNING
    core.outputs.set(out, bool(wish.level))
    return Reason.OK


HANDLERS: Final[dict[type, Callable[[BoardCore, int, Any], Reason]]] = {
    Ping: _ping,
    EventAck: _event_ack,
    Released: _released,
    LimitsStage: _limits_stage,
    LimitsCommit: _limits_commit,
    Selftest: _selftest,
    ArmAsk: _arm_ask,
    ArmTake: _arm_take,
    Grip: _grip,
    Go: _go,
    Backfill: _backfill,
    Output: _output,
}
