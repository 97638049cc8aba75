"""The framed link without any I/O: bytes in, events out; messages in, bytes out.

Rules. `receive` takes any bytes and never raises. Damage comes out as an event, in order, and the
next frame is read as if nothing had happened. A message comes out only if its CRC verifies under
the session (or seed 0, for the few kinds that may) and its payload has exactly the right form. A
frame that verifies only under a former session is an `OldSession`, never a message, except SAFE
and ABORT, which count from any session. Memory is bounded whatever arrives.
"""

from dataclasses import dataclass
from typing import Final, Literal

from firmware_protocol.fixed import Message
from firmware_protocol.framing import MAX_ENCODED, Frame, decode_frame, encode_frame
from firmware_protocol.messages import (
    ANY_SESSION_KINDS,
    BOARD_KINDS,
    HOST_KINDS,
    SEED_ZERO_KINDS,
    Abort,
    Hello,
    Identity,
    Safe,
)
from firmware_protocol.session import session_seed

FORMER_SESSIONS: Final = 4
SEQ_MASK: Final = 0xFFFF


@dataclass(frozen=True, slots=True)
class Received:
    """A verified message. `in_session` is False when it came under seed 0 or a former session."""

    seq: int
    message: Message
    in_session: bool = True


@dataclass(frozen=True, slots=True)
class OldSession:
    """A frame that verifies only under a former session: count it, never act on it."""

    kind: int
    seq: int


@dataclass(frozen=True, slots=True)
class Damaged:
    """Bytes that are no message: `reason` in words."""

    reason: str
    nbytes: int


@dataclass(frozen=True, slots=True)
class UnknownKind:
    """A verified frame of a kind this side does not know: skip it and say so."""

    kind: int
    seq: int


@dataclass(frozen=True, slots=True)
class SeqGap:
    """The sender's numbering jumped: frames were lost (or came twice)."""

    expected: int
    got: int


LinkEvent = Received | OldSession | Damaged | UnknownKind | SeqGap


class Link:
    """One end of the wire. Not shared between threads; `send` and `receive` do not touch each other.

    side "host" reads what boards say, side "board" what hosts say. A host link follows each IDENTITY
    that answers a HELLO it sent (from the HELLO to its answer no session is open); with `reader=True` it follows every IDENTITY, so that recorded bytes
    can be read without having been there.
    """

    def __init__(self, side: Literal["host", "board"], *, reader: bool = False) -> None:
        self.side = side
        self.reader = reader
        self.session: int | None = None
        self.next_seq = 0
        self.bad_frames = 0
        self._kinds = BOARD_KINDS if side == "host" else HOST_KINDS
        self._former: list[int] = []
        self._nonces: set[int] = set()
        self._tail = b""
        self._in_junk = False
        self._expected: int | None = None

    def set_session(self, seed: int | None) -> None:
        """Change the session; None = none is open. The one before is remembered as a former one."""
        if seed == self.session:
            return
        if self.session is not None:
            self._former = [s for s in self._former if s != self.session]
            self._former = [self.session, *self._former][:FORMER_SESSIONS]
        self.session = seed
        if seed in self._former:
            self._former.remove(seed)

    def send(self, message: Message) -> bytes:
        """The frame of a message under the session (seed 0 for the kinds that may); takes a number.

        HELLO, SAFE and ABORT are preceded by a delimiter, so that half a frame before them cannot
        swallow them. While no session is open, every other message gives no bytes at all: there
        is nobody who could take it.
        """
        kind = message.KIND
        if kind not in SEED_ZERO_KINDS and self.session is None:
            return b""
        seq = self.next_seq
        self.next_seq = seq + 1 & SEQ_MASK
        if isinstance(message, Hello):
            self._nonces.add(message.host_nonce)
            self.set_session(None)
        if kind in SEED_ZERO_KINDS:
            return b"\0" + encode_frame(kind, seq, message.pack(), 0)
        assert self.session is not None
        return encode_frame(kind, seq, message.pack(), self.session)

    def receive(self, chunk: bytes) -> list[LinkEvent]:
        """All that these bytes complete, in order. Never raises."""
        events: list[LinkEvent] = []
        *frames, tail = (self._tail + self._after_junk(chunk)).split(b"\0")
        for frame in frames:
            if frame:
                self._read(frame, events)
        if len(tail) > MAX_ENCODED:
            events.append(self._damaged("no delimiter", len(tail)))
            tail, self._in_junk = b"", True
        self._tail = tail
        return events

    def stops(self, chunk: bytes) -> list[Safe | Abort]:
        """The SAFE and ABORT that these bytes complete, so that a board can act on them first.

        Changes nothing: `receive` takes the same bytes afterwards, in order.
        """
        rest = chunk.partition(b"\0")[2] if self._in_junk else chunk
        *frames, _ = (self._tail + rest).split(b"\0")
        found = (self._stop_in(raw) for raw in frames if 0 < len(raw) <= MAX_ENCODED)
        return [stop for stop in found if stop is not None]

    def _stop_in(self, raw: bytes) -> Safe | Abort | None:
        try:
            frame = decode_frame(raw)
            if frame.kind not in ANY_SESSION_KINDS or frame.kind not in self._kinds:
                return None
            seeds = (0, self.session, *self._former)
            if any(seed is not None and frame.verifies(seed) for seed in seeds):
                kind: type[Safe | Abort] = self._kinds[frame.kind]
                return kind.unpack(frame.payload)
        except ValueError:
            return None
        return None

    def _after_junk(self, chunk: bytes) -> bytes:
        """What follows the next delimiter, while bytes without one are being passed over."""
        if not self._in_junk:
            return chunk
        _, found, rest = chunk.partition(b"\0")
        self._in_junk = not found
        return rest

    def _damaged(self, reason: str, nbytes: int) -> Damaged:
        self.bad_frames += 1
        return Damaged(reason, nbytes)

    def _read(self, raw: bytes, events: list[LinkEvent]) -> None:
        if len(raw) > MAX_ENCODED:
            events.append(self._damaged("too long", len(raw)))
            return
        try:
            frame = decode_frame(raw)
        except ValueError as broken:
            events.append(self._damaged(str(broken), len(raw)))
            return
        self._judge(frame, len(raw), events)

    def _judge(self, frame: Frame, nbytes: int, events: list[LinkEvent]) -> None:
        kind, seq = frame.kind, frame.seq
        in_session = self.session is not None and frame.verifies(self.session)
        if not in_session and not (kind in SEED_ZERO_KINDS and frame.verifies(0)):
            if not any(frame.verifies(seed) for seed in self._former):
                reason = "check value" if self.session is not None else "no session"
                events.append(self._damaged(reason, nbytes))
                return
            if kind not in ANY_SESSION_KINDS or kind not in self._kinds:
                events.append(OldSession(kind, seq))
                return
        self._number(kind, seq, in_session, events)
        if kind not in self._kinds:
            events.append(UnknownKind(kind, seq))
            return
        self._unpack(frame, nbytes, in_session, events)

    def _number(self, kind: int, seq: int, in_session: bool, events: list[LinkEvent]) -> None:
        if not in_session and kind != Identity.KIND:
            return
        if self._expected not in (None, seq) and kind != Identity.KIND:
            assert self._expected is not None
            events.append(SeqGap(self._expected, seq))
        self._expected = seq + 1 & SEQ_MASK

    def _unpack(self, frame: Frame, nbytes: int, in_session: bool, events: list[LinkEvent]) -> None:
        try:
            message = self._kinds[frame.kind].unpack(frame.payload)
        except ValueError as broken:
            events.append(self._damaged(f"kind {frame.kind:02x}: {broken}", nbytes))
            return
        if isinstance(message, Identity):
            self._follow(message)
        events.append(Received(frame.seq, message, in_session))

    def _follow(self, identity: Identity) -> None:
        if identity.host_nonce == 0:
            self.set_session(None)
        elif self.reader or identity.host_nonce in self._nonces:
            self.set_session(session_seed(identity.uid, identity.boot_nonce, identity.host_nonce))
