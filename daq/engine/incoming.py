"""From bytes to what happened: each decoded message updates the views and steps the procedure.

Order inside a step is the order on the wire. Damaged frames and frames of an old session are
counted and told, never acted on.
"""

from daq.channels.lit import LitEvent
from daq.engine.actions import Ask
from daq.engine.attempt import TripFact
from daq.engine.board_view import Rebooted, Started
from daq.engine.live import TripSeen
from daq.engine.state import State
from daq.errors import DeviceFault
from daq.journal.format import RecordType
from daq.procedure.phases import Event, Phase
from daq.procedure.waits import LatchEvent
from firmware_protocol.link import Damaged, LinkEvent, OldSession, Received
from firmware_protocol.messages import (
    REASON_TEXT,
    ArmAsk,
    ArmTake,
    Backfill,
    BackfillData,
    BoardState,
    EventAck,
    EventKind,
    Go,
    Identity,
    Kind,
    LimitsEcho,
    Offer,
    Out,
    ProcedureKind,
    Reason,
    Refused,
    Samples,
    SelftestResult,
    Status,
    split_value,
)
from firmware_protocol.messages import Event as BoardEvent


def take_bytes(state: State, chunk: bytes, now_ns: int) -> None:
    """Decode and act on everything these bytes complete."""
    for event in state.link.receive(chunk):
        _take(state, event, now_ns)


def _take(state: State, event: LinkEvent, now_ns: int) -> None:
    if isinstance(event, Received):
        _message(state, event, now_ns)
    elif isinstance(event, Damaged):
        state.board.bad_frames += 1
    elif isinstance(event, OldSession):
        state.board.bad_frames += 1
        state.fact("LINK", now_ns, word="old session", kind=event.kind)


def _message(state: State, received: Received, now_ns: int) -> None:
    message = received.message
    if not isinstance(message, Identity) and not state.board.in_session:
        return
    state.board.heard_ns = now_ns
    match message:
        case Samples():
            _samples(state, message, now_ns)
        case Status():
            _status(state, message, now_ns)
        case Identity():
            _identity(state, message, now_ns)
        case BoardEvent():
            state.out.send(state.link.send(EventAck(number=message.number)))
            _board_event(state, message, now_ns)
        case Offer():
            _offer(state, message, now_ns)
        case Refused():
            _refused(state, message, now_ns)
        case LimitsEcho():
            _echo(state, message, now_ns)
        case SelftestResult():
            state.selftest.note(message, now_ns)
            state.tell(f"Self-test: {state.selftest.text}", now_ns)
            state.fact("SELFTEST", now_ns, result=message.result, tick=message.tick)
        case BackfillData():
            state.backfill.answer(message, now_ns)
        case _:
            pass


# ---- who is there ------------------------------------------------------------------------------


def check_identity(state: State, identity: Identity) -> None:
    """A rehearsal never takes a real board, a real run never a simulated one (design, names).

    The one exception: the bench that runs the flashed binary on an emulated chip names its uid.
    """
    plan = state.plan
    is_real = identity.kind is Kind.REAL
    if plan.is_simulated and is_real and identity.uid != plan.may_be_real:
        raise DeviceFault(
            f"rehearsal: expected a simulated board, got the real board {identity.uid.hex()}; "
            "unplug it or use `berm run`"
        )
    if not plan.is_simulated and not is_real:
        raise DeviceFault(
            f"run: expected a real board, got the simulated board {identity.uid.hex()}; "
            "use `berm rehearse` for the simulated stand"
        )
    if plan.board_uid is not None and identity.uid != plan.board_uid:
        raise DeviceFault(
            f"board: expected uid {plan.board_uid.hex()} as set for this stand, "
            f"got {identity.uid.hex()}"
        )


def _identity(state: State, identity: Identity, now_ns: int) -> None:
    known = state.board.uid
    if known is not None and known != identity.uid:
        _another_board(state, identity, now_ns)
        return
    check_identity(state, identity)
    if identity.host_nonce == 0:  # it has just come up and waits for a HELLO
        state.hello_due = True
    gone = state.backfill.heard(identity.boot_nonce)
    if gone:
        state.fact("BACKFILL", now_ns, filled=0, lost=gone, why="the board restarted")
    news = state.board.note_identity(identity, now_ns)
    if isinstance(news, Started):
        _started(state, identity, now_ns)
    elif isinstance(news, Rebooted):
        state.fact(
            "BOARD_RESET",
            now_ns,
            cause=identity.reset_cause.name,
            nonce=identity.boot_nonce,
        )
        state.tell(f"Board restarted, cause {identity.reset_cause.name}", now_ns)
        lost_board(state, now_ns, Event.BOARD_FELL)


def _another_board(state: State, identity: Identity, now_ns: int) -> None:
    """Another board answers on the port: link loss for us, it gets no session (practice 9, row 25)."""
    state.link.set_session(None)
    text = (
        f"Another board answers ({identity.uid.hex()}), expected {state.board.uid_text}: "
        "plug the right one in; key out."
    )
    if state.notices.raise_("board", "URGENT", text, "Key out. Stay back.", state.stamp(now_ns)):
        state.refuse(text, now_ns, "BOARD")
    if not state.link_lost:
        state.link_lost = True
        state.want_off("SAFE")
        lost_board(state, now_ns, Event.LINK_LOST)
        state.board.forget()


def _started(state: State, identity: Identity, now_ns: int) -> None:
    state.fact(
        "BOARD",
        now_ns,
        uid=identity.uid.hex(),
        kind=identity.kind.name,
        nonce=identity.boot_nonce,
        cause=identity.reset_cause.name,
        firmware=identity.firmware_hash.hex(),
        tick_hz=identity.tick_hz,
    )
    state.out.ask(Ask(what="config"))
    if state.off is not None:  # the new session counts its STATUS from one again
        state.off.status_n = -1
    state.notices.clear("board")
    state.limits.forget()
    state.selftest.forget()
    state.outputs.clear()
    state.live.skipped()
    if state.link_lost:
        state.link_lost = False
        state.fact("LINK", now_ns, word="found")
        state.tell("Board found", now_ns)
    if state.marks.warm_since_ns is None:
        state.marks.warm_since_ns = now_ns


def lost_board(state: State, now_ns: int, event: Event) -> None:
    """Link lost or board restarted: in the pulse the outcome is unknown, longest class."""
    if state.phase is Phase.FIRE and not state.attempt.was_lit:
        state.attempt.unknown = True
        state.note_latch(LatchEvent.OUTCOME_UNKNOWN, now_ns)
    state.happen(event, now_ns, why="board lost")
    state.live.skipped()


# ---- measured ----------------------------------------------------------------------------------


def _samples(state: State, block: Samples, now_ns: int) -> None:
    if state.marks.warm_since_ns is None:
        state.marks.warm_since_ns = now_ns
    state.backfill.note(block)
    if state.selftest.under_way(now_ns):
        state.live.pass_over(block, now_ns)
        return
    for news in state.live.take(block, now_ns):
        if isinstance(news, TripSeen):
            _engine_trip(state, news, now_ns)
        else:
            _lit_news(state, news, now_ns)


def _engine_trip(state: State, seen: TripSeen, now_ns: int) -> None:
    delay_ms = (seen.tick - seen.first_over_tick) * 1000 / _tick_hz(state)
    state.attempt.trips.append(
        TripFact(where="engine", tick=seen.tick, pa=seen.pa, counts=seen.counts, delay_ms=delay_ms)
    )
    state.fact(
        "TRIP",
        now_ns,
        where="engine",
        channel=seen.channel,
        tick=seen.tick,
        first_over_tick=seen.first_over_tick,
        counts=seen.counts,
        pa=seen.pa,
        delay_ms=delay_ms,
    )
    _tripped(state, now_ns)


def _tripped(state: State, now_ns: int) -> None:
    state.notices.raise_(
        "trip",
        "URGENT",
        "Over the trip. Line opened; the motor may still burn.",
        "Stay behind cover. Count heads. Keep off the axis.",
        state.stamp(now_ns),
    )
    if not state.is_bench:
        state.happen(Event.TRIP, now_ns, why="over the trip pressure")


def _lit_news(state: State, news: LitEvent, now_ns: int) -> None:
    if state.is_bench:
        if news.kind == "LIT":
            state.tell(f"Load or pressure seen on {news.by}, bench", now_ns)
        return
    attempt = state.attempt
    if news.kind == "BURN_OUT":
        _burn_out(state, news, now_ns)
        return
    attempt.pulses = news.pulse
    if news.kind == "CHUFF":
        state.fact("CHUFF", now_ns, tick=news.tick, by=news.by, pulse=news.pulse)
        state.tell(f"Pulse {news.pulse}: lit again", now_ns)
        state.note_latch(LatchEvent.LIT, now_ns)
        return
    if attempt.lit_tick is None:
        attempt.lit_tick, attempt.lit_ns, attempt.lit_by = news.tick, now_ns, news.by
    attempt.burning = True
    commanded = state.phase is Phase.FIRE
    state.begin_run(now_ns)
    state.fact("LIT", now_ns, tick=news.tick, by=news.by, pulse=news.pulse, commanded=commanded)
    state.note_latch(LatchEvent.LIT, now_ns)
    state.happen(Event.LIT, now_ns, why=f"lit, seen on {news.by}")
    if not commanded:
        state.notices.raise_(
            "lit",
            "URGENT",
            "MOTOR LIT without a fire order.",
            "Everybody behind cover. Head count.",
            state.stamp(now_ns),
        )


def _burn_out(state: State, news: LitEvent, now_ns: int) -> None:
    attempt = state.attempt
    attempt.burning = False
    attempt.burn_out_tick, attempt.burn_out_ns = news.tick, now_ns
    attempt.quiet_from_tick = state.live.lit.quiet_from
    state.fact("BURN_OUT", now_ns, tick=news.tick, quiet_from_tick=attempt.quiet_from_tick)
    state.note_latch(LatchEvent.BURN_OUT, now_ns)
    state.notices.clear("lit")
    state.notices.clear("trip")
    if state.phase in (Phase.BURNING, Phase.ABORT):
        state.happen(Event.BURN_OUT, now_ns, why="burn over for 1 s")
        state.set_output(Out.SIREN, False)


def _tick_hz(state: State) -> int:
    return state.board.identity.tick_hz if state.board.identity is not None else 1_000_000


# ---- the board's word --------------------------------------------------------------------------


def _status(state: State, status: Status, now_ns: int) -> None:
    before = state.board.status
    if state.board.note_status(status, now_ns):
        state.fact("CLOCK_BREAK", now_ns, tick=status.tick)
        state.out.record(RecordType.CLOCK, {"kind": "break", "tick": status.tick})
        state.note_latch(LatchEvent.CLOCK_BREAK, now_ns)
    _line(state, status, now_ns)
    if before is None:
        return
    if before.key_in != status.key_in:
        _key_moved(state, status.key_in, now_ns)
    if status.stop_in != before.stop_in:
        state.moved.add("stop button")
    if status.stop_in and not before.stop_in:
        state.fact("STOP", now_ns, word="in", tick=status.tick)
        state.happen(Event.STOP_IN, now_ns, why="stop button pressed")
    _arming_follows(state, status, now_ns)


def _line(state: State, status: Status, now_ns: int) -> None:
    closed = status.high_closed and status.low_closed
    if status.state is not BoardState.ENERGISED and status.line_ma == 0:
        return
    word = state.attempt.note_line(closed, status.line_ma, status.tick, now_ns)
    if word == "on":
        state.fact("LINE_ON", now_ns, tick=status.tick, ma=status.line_ma)
        state.note_latch(LatchEvent.LINE_ON, now_ns)
    elif word == "opened":
        state.fact("LINE_OPENED", now_ns, tick=status.tick)
        state.note_latch(LatchEvent.LINE_OPENED, now_ns)


def _key_moved(state: State, key_in: bool, now_ns: int) -> None:
    state.fact("KEY", now_ns, word="in" if key_in else "out")
    state.tell(f"Key {'in' if key_in else 'out'}", now_ns)
    state.moved.add("key")
    state.unplugged_by.clear()
    if key_in:
        state.note_latch(LatchEvent.KEY_IN, now_ns)
    else:
        state.happen(Event.KEY_OUT, now_ns, why="key out")


def _arming_follows(state: State, status: Status, now_ns: int) -> None:
    if state.phase is Phase.ARM and status.state is BoardState.ARMED:
        if state.arming.state == "taking":
            state.arming.state = "armed"
            state.begin_run(now_ns)
            if state.limits.wanted.procedure == ProcedureKind.DRY:
                state.note_latch(LatchEvent.DRY_BEGAN, now_ns)
            state.happen(Event.ARMED, now_ns, why="the board says ARMED")
    elif state.phase in (Phase.COUNTDOWN, Phase.HOLD) and status.state is not BoardState.ARMED:
        if (now_ns - state.phase_ns) > 100_000_000 or status.state is BoardState.TRIPPED:
            why = REASON_TEXT.get(Reason(status.last_result), "")
            state.happen(Event.BOARD_FELL, now_ns, why=f"the board disarmed. {why}".strip())
    elif state.phase is Phase.FIRE and not state.attempt.go_answered:
        accepted = status.last_kind == Go.KIND and status.last_result == Reason.OK
        if accepted or status.state in (BoardState.ENERGISED, BoardState.BURN):
            state.attempt.go_answered = True


def _board_event(state: State, event: BoardEvent, now_ns: int) -> None:
    kind = EventKind(event.kind) if event.kind in EventKind._value2member_map_ else None
    name = kind.name if kind is not None else str(event.kind)
    state.fact("EVENT", now_ns, number=event.number, tick=event.tick, kind=name, value=event.value)
    attempt = state.attempt
    if kind is EventKind.LINE_ON and attempt.line_on_tick is None:
        attempt.line_on_tick = event.tick
        attempt.line_on_ns = state.board.fit.host_ns(event.tick) or now_ns
        attempt.most_ma = max(attempt.most_ma, event.value)
        state.fact("LINE_ON", now_ns, tick=event.tick, ma=event.value)
        state.note_latch(LatchEvent.LINE_ON, now_ns)
        state.tell(f"Line on, {event.value} mA", now_ns)
    elif kind is EventKind.LINE_OFF:
        attempt.line_off_tick = event.tick
        state.fact("LINE_OFF", now_ns, tick=event.tick, flowed_ms=event.value)
        state.note_latch(LatchEvent.LINE_OFF, now_ns)
        state.tell("Line current ended", now_ns)
    elif kind is EventKind.TRIP:
        _board_trip(state, event, now_ns)


def _board_trip(state: State, event: BoardEvent, now_ns: int) -> None:
    channel, counts = split_value(event.value)
    pa = None
    if 0 <= channel < len(state.plan.channels):
        pa = float(state.plan.channels[channel].calibration.to_si(counts))
    state.attempt.trips.append(
        TripFact(where="board", tick=event.tick, pa=pa, counts=counts, delay_ms=None)
    )
    state.fact("TRIP", now_ns, where="board", tick=event.tick, counts=counts, pa=pa)
    _tripped(state, now_ns)


# ---- answers to our orders ---------------------------------------------------------------------


def _offer(state: State, offer: Offer, now_ns: int) -> None:
    trouble = state.arming.note_offer(offer, now_ns)
    if trouble:
        state.refuse(trouble, now_ns, "ARM")
        state.happen(Event.OFFER_GONE, now_ns, why=trouble)
        return
    state.fact("OFFER", now_ns, setup_id=offer.setup_id, limits_crc=offer.limits_crc)


def _refused(state: State, refused: Refused, now_ns: int) -> None:
    reason = (
        Reason(refused.reason) if refused.reason in Reason._value2member_map_ else Reason.NOT_NOW
    )
    text = REASON_TEXT[reason]
    if refused.command in (ArmAsk.KIND, ArmTake.KIND) and state.phase is Phase.ARM:
        state.refuse(f"The board refused to arm. {text}", now_ns, "ARM")
        state.happen(Event.OFFER_GONE, now_ns, why=text)
    elif refused.command == Go.KIND and state.phase is Phase.FIRE:
        state.refuse(f"The board refused GO. {text}", now_ns, "GO")
        state.want_off("SAFE")
        state.happen(Event.NOT_ACCEPTED, now_ns, why=text)
    elif refused.command == Backfill.KIND:
        state.backfill.refused(now_ns)
    else:
        state.fact("REFUSED", now_ns, text=text, command=refused.command, by="board")


def _echo(state: State, echo: LimitsEcho, now_ns: int) -> None:
    state.limits.note_echo(echo, now_ns)
    equal = not state.limits.trouble
    state.fact("LIMITS", now_ns, equal=equal, crc=echo.crc)
    if not equal:
        state.refuse(f"Limits: {state.limits.trouble}.", now_ns, "LIMITS")
