"""STATUS: what the board measures and where it stands, 20 Hz, 50 Hz from ARMED to the end of a burn."""

from dataclasses import dataclass
from struct import Struct
from typing import ClassVar, Self

from firmware_protocol.fixed import bits, take
from firmware_protocol.numbers import BoardState, Flag, Out, ProcedureKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """All switch and key words are as sensed. `continuity_mohm` FFFF = open or not measured now."""

    KIND: ClassVar[int] = 0x82
    FORM: ClassVar[Struct] = Struct("<IQBBBhHHIIIIBHHBBHHBBBH")
    number: int
    tick: int
    state: BoardState
    key_in: bool
    stop_in: bool  # pressed
    key_seen_out: bool  # in this session
    high_closed: bool
    low_closed: bool
    line_mv: int
    line_ma: int
    continuity_mohm: int
    limits_crc: int  # 0 = none active
    setup_id: int
    armed_left_ms: int
    grip_n: int  # newest GRIP taken as fresh in this arming
    last_kind: int
    last_seq: int
    last_result: int  # Reason
    trip_latched: bool
    fired_latched: bool
    supply_mv: int
    rx_bad: int
    procedure: ProcedureKind
    outputs_commanded: int
    outputs_read: int
    flags: int = 0  # bits of Flag

    @property
    def lit(self) -> bool:
        """The board follows a burn now, also inside TRIPPED."""
        return bool(self.flags & Flag.LIT)

    def commanded(self, out: Out) -> bool:
        return bool(self.outputs_commanded >> out & 1)

    def reads(self, out: Out) -> bool:
        return bool(self.outputs_read >> out & 1)

    def pack(self) -> bytes:
        return self.FORM.pack(
            self.number,
            self.tick,
            self.state,
            bits(self.key_in, self.stop_in, False, self.key_seen_out),
            bits(self.high_closed, self.low_closed),
            self.line_mv,
            self.line_ma,
            self.continuity_mohm,
            self.limits_crc,
            self.setup_id,
            self.armed_left_ms,
            self.grip_n,
            self.last_kind,
            self.last_seq,
            self.last_result,
            self.trip_latched,
            self.fired_latched,
            self.supply_mv,
            self.rx_bad,
            self.procedure,
            self.outputs_commanded,
            self.outputs_read,
            self.flags,
        )

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        number, tick, state, inputs, senses, *rest = take(cls.FORM, payload)
        mv, ma, mohm, crc, setup, armed, grip, kind, seq, result, trip, fired, *tail = rest
        supply, bad, procedure, commanded, read, flags = tail
        return cls(
            number=number,
            tick=tick,
            state=BoardState(state),
            key_in=bool(inputs & 1),
            stop_in=bool(inputs & 2),
            key_seen_out=bool(inputs & 8),
            high_closed=bool(senses & 1),
            low_closed=bool(senses & 2),
            line_mv=mv,
            line_ma=ma,
            continuity_mohm=mohm,
            limits_crc=crc,
            setup_id=setup,
            armed_left_ms=armed,
            grip_n=grip,
            last_kind=kind,
            last_seq=seq,
            last_result=result,
            trip_latched=trip != 0,
            fired_latched=fired != 0,
            supply_mv=supply,
            rx_bad=bad,
            procedure=ProcedureKind(procedure),
            outputs_commanded=commanded,
            outputs_read=read,
            flags=flags,
        )
