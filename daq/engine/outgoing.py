"""What goes to the board in this step, most urgent first.

SAFE and ABORT are repeated every 20 ms until a newer STATUS agrees. A GRIP is sent for each fresh
console beat that says "gripped", and never without one. GO is sent once per arming. Nothing that
was asked before an order to switch off may be sent after it: the sender drops what waits.
"""

from typing import Final

from daq.engine.state import State
from daq.procedure.phases import Phase
from firmware_protocol.messages import (
    Abort,
    BoardState,
    Go,
    Grip,
    Hello,
    LimitsStage,
    Output,
    Ping,
    ProcedureKind,
    Safe,
)

OFF_EVERY_NS: Final = 20_000_000
HELLO_EVERY_NS: Final = 500_000_000
PING_ARMED_NS: Final = 50_000_000
OUTPUT_EVERY_NS: Final = 200_000_000
PING_NS: Final = 250_000_000
SELFTEST_AGAIN_S: Final = 300.0
FILL_PHASES: Final = frozenset({Phase.SAFE, Phase.WAIT, Phase.MISFIRE, Phase.ABORT, Phase.INSPECT})


class Outgoing:
    """Remembers when each periodic frame last went out."""

    def __init__(self) -> None:
        self.hello_ns = self.ping_ns = self.outputs_ns = -(1 << 62)
        self.ping_n = 0

    def send(self, state: State, now_ns: int) -> None:
        """Queue everything due now."""
        self._off(state, now_ns)
        if not state.board.in_session:
            self._hello(state, now_ns)
            return
        self._ping(state, now_ns)
        self._outputs(state, now_ns)
        self._backfill(state, now_ns)
        if state.phase in (Phase.SAFE, Phase.INSPECT):
            self._upkeep(state, now_ns)

    def _off(self, state: State, now_ns: int) -> None:
        off = state.off
        if off is None:
            return
        if state.off_is_agreed():
            state.off = None
            return
        if now_ns - off.sent_ns < OFF_EVERY_NS:
            return
        off.sent_ns = now_ns
        message = Safe(reason=1) if off.kind == "SAFE" else Abort(reason=1)
        state.out.send(state.link.send(message), lane="urgent")

    def _hello(self, state: State, now_ns: int) -> None:
        if not state.hello_due and now_ns - self.hello_ns < HELLO_EVERY_NS:
            return
        self.hello_ns, state.hello_due = now_ns, False
        state.board.host_nonce = state.new_nonce()
        state.out.send(state.link.send(Hello(host_nonce=state.board.host_nonce)))

    def _ping(self, state: State, now_ns: int) -> None:
        armed = state.board.state in (BoardState.ARMED, BoardState.ENERGISED)
        if now_ns - self.ping_ns < (PING_ARMED_NS if armed else PING_NS):
            return
        self.ping_ns = now_ns
        self.ping_n += 1
        state.out.send(state.link.send(Ping(n=self.ping_n)), lane="periodic", key="ping")

    def _outputs(self, state: State, now_ns: int) -> None:
        """Order again what the board does not show (a self-test or a restart came between)."""
        status = state.board.status
        if status is None or now_ns - self.outputs_ns < OUTPUT_EVERY_NS:
            return
        self.outputs_ns = now_ns
        if status.state is BoardState.TRIPPED or state.selftest.under_way(now_ns):
            return
        for out, level in state.outputs.items():
            if status.commanded(out) is not level:
                state.out.send(state.link.send(Output(output=out, level=int(level))))

    def _backfill(self, state: State, now_ns: int) -> None:
        """Ask the board's memory for what never came; never while the motor or the line may be on."""
        summary = state.backfill.summary()
        if summary is not None:
            state.fact("BACKFILL", now_ns, **summary)
            state.tell(
                f"Board memory: {summary['filled']} samples filled, {summary['lost']} lost", now_ns
            )
        if state.phase not in FILL_PHASES or state.attempt.burning or state.off is not None:
            return
        if state.board.state not in (BoardState.DISARMED, BoardState.TRIPPED):
            return
        question = state.backfill.ask(now_ns)
        if question is not None:
            state.out.send(state.link.send(question))

    def _upkeep(self, state: State, now_ns: int) -> None:
        for message in state.limits.tick(state.board.status, now_ns):
            state.out.send(state.link.send(message))
            if isinstance(message, LimitsStage):
                state.fact("LIMITS_SENT", now_ns, crc=message.crc, procedure=message.procedure)
        counting = state.count.kind == "planned"
        if counting and state.selftest.age_s(now_ns) > SELFTEST_AGAIN_S:
            for test in state.selftest.ask(state.board.status, now_ns):
                state.out.send(state.link.send(test))


def send_grip(state: State) -> None:
    """One GRIP for one fresh beat; called by the wish desk and by nobody else."""
    offer, status = state.arming.offer, state.board.status
    if offer is None or status is None or not state.board.in_session:
        return
    if state.phase not in (Phase.COUNTDOWN, Phase.FIRE):
        return
    state.grip.n += 1
    grip = Grip(challenge=offer.challenge, n=state.grip.n, seen=status.number)
    state.out.send(state.link.send(grip), lane="periodic", key="grip")


def send_go(state: State, now_ns: int) -> bool:
    """GO, once; False if there is nothing to send it with."""
    offer, status = state.arming.offer, state.board.status
    if offer is None or status is None or state.attempt.go_ns is not None:
        return False
    limits = state.limits.wanted
    if limits.procedure not in (ProcedureKind.FIRE, ProcedureKind.DRY):
        return False
    state.attempt.go_ns = now_ns
    go = Go(
        challenge=offer.challenge,
        seen=status.number,
        limits_crc=limits.crc,
        pulse_ms=limits.pulse_ms,
    )
    state.out.send(state.link.send(go))
    return True
