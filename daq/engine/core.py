"""The controller as one pure step: bytes and wishes in, with the time; actions out.

    Engine(plan, signatures, latch, nonce).step(chunk, wishes, gone, now_ns) -> actions

Read top to bottom this is what a range officer may be briefed from:
1. SAFE and ABORT wishes are taken before anything else.
2. What the board sent is decoded, judged sample by sample, and steps the procedure.
3. Other wishes are obeyed or refused with a sentence.
4. Time does its part: silence, lapsed grips, late answers, the marks of the count.
5. What goes to the board is queued, SAFE and ABORT first, repeated until the board agrees.
6. Twenty times a second the status is made.
No clock, port, file, socket or thread is touched here; everything done is in the returned list.
"""

from collections.abc import Callable, Sequence
from typing import Final

from daq.engine import incoming, wish_desk
from daq.engine.actions import Action, Publish, Record, body
from daq.engine.outgoing import Outgoing
from daq.engine.plan import Plan
from daq.engine.state import State
from daq.engine.status import status_of
from daq.engine.watch import Watch, link_is_lost
from daq.engine.wishes import Wish
from daq.journal.format import RecordType
from daq.procedure.approach import Latch
from daq.procedure.signatures import Signatures
from daq.procedure.waits import LatchEvent

STATUS_EVERY_NS: Final = 50_000_000
KEEP_PUBLISHED: Final = 40
FIRST_KINDS: Final = frozenset({"safe", "abort"})


class Engine:
    """The whole controller of one run. Not thread-safe: one thread steps it."""

    def __init__(
        self,
        plan: Plan,
        signatures: Signatures,
        latch: Latch,
        *,
        host_nonce: Callable[[], int],
    ) -> None:
        self.state = State(plan, signatures, latch, host_nonce)
        self._outgoing = Outgoing()
        self._watch = Watch()
        self._status_ns = -(1 << 62)

    def step(
        self, chunk: bytes, wishes: Sequence[Wish], now_ns: int, gone: Sequence[int] = ()
    ) -> list[Action]:
        """One step; `gone` are clients that hung up. DeviceFault if the wrong board answers."""
        state = self.state
        for wish in wishes:
            if wish.kind in FIRST_KINDS:
                wish_desk.take(state, wish, now_ns)
        if chunk:
            incoming.take_bytes(state, chunk, now_ns)
        for wish in wishes:
            if wish.kind not in FIRST_KINDS:
                wish_desk.take(state, wish, now_ns)
        for client in gone:
            if client == state.grip.client:
                state.grip.client = None
        self._watch.tick(state, now_ns)
        self._outgoing.send(state, now_ns)
        if now_ns - self._status_ns >= STATUS_EVERY_NS:
            self._publish(now_ns)
        return state.out.take()

    def port_lost(self, why: str, now_ns: int) -> list[Action]:
        """The port is gone: everything known of the board is old."""
        link_is_lost(self.state, now_ns, why)
        return self.state.out.take()

    def port_trouble(self, text: str, now_ns: int) -> list[Action]:
        """The port does not open: say why on the screen and in the record."""
        state = self.state
        state.around.port_text = text
        state.refuse(text, now_ns, "PORT")
        return state.out.take()

    def stepped(self, seconds: float, ticks: tuple[int, int], now_ns: int) -> list[Action]:
        """The rehearsal clock and the board's ticks jumped together."""
        self.state.stepped(seconds, ticks, now_ns)
        return self.state.out.take()

    def slept(self, blind_s: float, now_ns: int) -> list[Action]:
        """The machine slept: say for how long, and trust the engine's clock no more."""
        state = self.state
        state.fact("CLOCK_BREAK", now_ns, blind_s=blind_s, clock="boot clock")
        state.note_latch(LatchEvent.CLOCK_BREAK, now_ns)
        state.out.record(RecordType.CLOCK, {"kind": "break", "blind_s": blind_s})
        return state.out.take()

    def _publish(self, now_ns: int) -> None:
        self._status_ns = now_ns
        state = self.state
        state.status_n += 1
        state.published[state.status_n] = now_ns
        if len(state.published) > KEEP_PUBLISHED:
            del state.published[min(state.published)]
        line = body(status_of(state, now_ns))
        state.out.rest.append(Publish(line=line + b"\n"))
        state.out.rest.append(Record(kind=RecordType.STATUS, body=line))
