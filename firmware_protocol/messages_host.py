"""Messages from the host to the board (kinds 01 to 7F). PROTOCOL.md is normative."""

from dataclasses import dataclass
from struct import Struct
from typing import ClassVar, Self
from zlib import crc32

from firmware_protocol.fixed import Fixed, inverse, must_match, take
from firmware_protocol.numbers import LIT_UNUSED, MAX_CHANNELS, PROTOCOL_VERSION, Role


@dataclass(frozen=True, slots=True, kw_only=True)
class Hello(Fixed):
    """Begin a session: line off, disarm. `host_nonce` is random, never 0, new for every HELLO."""

    KIND: ClassVar[int] = 0x01
    FORM: ClassVar[Struct] = Struct("<IH")
    host_nonce: int
    protocol: int = PROTOCOL_VERSION


@dataclass(frozen=True, slots=True, kw_only=True)
class Ping(Fixed):
    KIND: ClassVar[int] = 0x02
    FORM: ClassVar[Struct] = Struct("<I")
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Safe(Fixed):
    """Line off, disarm; at any time. `reason` is the sender's own note, not judged."""

    KIND: ClassVar[int] = 0x03
    FORM: ClassVar[Struct] = Struct("<B")
    reason: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Abort(Fixed):
    """SAFE and every output to its abort level, latched until key out."""

    KIND: ClassVar[int] = 0x04
    FORM: ClassVar[Struct] = Struct("<B")
    reason: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Released:
    """The approach latch has opened: clears fired latch, trip latch and ring freeze (key out only)."""

    KIND: ClassVar[int] = 0x05
    FORM: ClassVar[Struct] = Struct("<II")
    run: int

    def pack(self) -> bytes:
        return self.FORM.pack(self.run, inverse(self.run, 32))

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        run, other = take(cls.FORM, payload)
        must_match(run, other, 32)
        return cls(run=run)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelLimits:
    """Raw counts of one channel, in the board's channel order.

    `lo` = lowest believable count (live zero lost below it); `hi` = trip for PRESSURE_TRIP, else the
    highest believable count. `lit` = count above which the motor is lit (LIT_UNUSED = never).
    `stuck_samples` = equal samples in a row that mean stuck (0 = not judged).
    """

    lo: int
    hi: int
    role: Role = Role.RECORD
    lit: int = LIT_UNUSED
    stuck_samples: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsStage:
    """Everything the board judges by. Windows are mΩ and mV, both ends included; times in their unit."""

    KIND: ClassVar[int] = 0x10
    FORM: ClassVar[Struct] = Struct("<BIIHHBBHHHHHHHHHB")
    CHANNEL: ClassVar[Struct] = Struct("<iiBiH")
    procedure: int
    limits_id: int
    setup_id: int
    pulse_ms: int
    armed_s: int
    votes_needed: int = 3
    votes_of: int = 5
    continuity_lo_mohm: int
    continuity_hi_mohm: int
    igniter_lo_mohm: int
    igniter_hi_mohm: int
    dummy_lo_mohm: int
    dummy_hi_mohm: int
    supply_lo_mv: int
    supply_hi_mv: int
    ring_post_s: int
    channels: tuple[ChannelLimits, ...]

    @property
    def crc(self) -> int:
        """What LIMITS_COMMIT, ARM_ASK, ARM_TAKE, GO, OFFER and STATUS call limits_crc."""
        return crc32(self.pack())

    def pack(self) -> bytes:
        head = self.FORM.pack(
            self.procedure,
            self.limits_id,
            self.setup_id,
            self.pulse_ms,
            self.armed_s,
            self.votes_needed,
            self.votes_of,
            self.continuity_lo_mohm,
            self.continuity_hi_mohm,
            self.igniter_lo_mohm,
            self.igniter_hi_mohm,
            self.dummy_lo_mohm,
            self.dummy_hi_mohm,
            self.supply_lo_mv,
            self.supply_hi_mv,
            self.ring_post_s,
            len(self.channels),
        )
        form = self.CHANNEL
        return head + b"".join(
            form.pack(c.lo, c.hi, c.role, c.lit, c.stuck_samples) for c in self.channels
        )

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        size = cls.FORM.size
        if len(payload) < size:
            raise ValueError(f"limits of {len(payload)} bytes")
        *head, count = cls.FORM.unpack(payload[:size])
        if count > MAX_CHANNELS or len(payload) != size + count * cls.CHANNEL.size:
            raise ValueError(f"limits of {len(payload)} bytes for {count} channels")
        names = [name for name in cls.__slots__ if name != "channels"]
        channels = tuple(
            ChannelLimits(lo=lo, hi=hi, role=Role(role), lit=lit, stuck_samples=stuck)
            for lo, hi, role, lit, stuck in cls.CHANNEL.iter_unpack(payload[size:])
        )
        return cls(**dict(zip(names, head, strict=True)), channels=channels)


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsCommit(Fixed):
    KIND: ClassVar[int] = 0x11
    FORM: ClassVar[Struct] = Struct("<I")
    staged_crc: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Selftest(Fixed):
    KIND: ClassVar[int] = 0x12
    FORM: ClassVar[Struct] = Struct("<B")
    what: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmAsk(Fixed):
    KIND: ClassVar[int] = 0x20
    FORM: ClassVar[Struct] = Struct("<II")
    limits_crc: int
    setup_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmTake:
    """Take the board's offer; on the wire the challenge is followed by its complement."""

    KIND: ClassVar[int] = 0x21
    FORM: ClassVar[Struct] = Struct("<III")
    challenge: int
    limits_crc: int

    def pack(self) -> bytes:
        return self.FORM.pack(self.challenge, inverse(self.challenge, 32), self.limits_crc)

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        challenge, other, limits_crc = take(cls.FORM, payload)
        must_match(challenge, other, 32)
        return cls(challenge=challenge, limits_crc=limits_crc)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grip(Fixed):
    """The fire control is gripped now; `n` rises, `seen` is the newest STATUS number received."""

    KIND: ClassVar[int] = 0x22
    FORM: ClassVar[Struct] = Struct("<III")
    challenge: int
    n: int
    seen: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Go:
    """Line on, once per arming; on the wire the pulse is followed by its complement."""

    KIND: ClassVar[int] = 0x23
    FORM: ClassVar[Struct] = Struct("<IIIHH")
    challenge: int
    seen: int
    limits_crc: int
    pulse_ms: int

    def pack(self) -> bytes:
        pulse = self.pulse_ms
        return self.FORM.pack(self.challenge, self.seen, self.limits_crc, pulse, inverse(pulse, 16))

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        challenge, seen, limits_crc, pulse, other = take(cls.FORM, payload)
        must_match(pulse, other, 16)
        return cls(challenge=challenge, seen=seen, limits_crc=limits_crc, pulse_ms=pulse)


@dataclass(frozen=True, slots=True, kw_only=True)
class Backfill(Fixed):
    """Ask for samples first_index .. first_index + count - 1 of one group out of the ring memory."""

    KIND: ClassVar[int] = 0x30
    FORM: ClassVar[Struct] = Struct("<BQI")
    group: int
    first_index: int
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Output(Fixed):
    """Set an auxiliary output (`Out`: SIREN, LAMP_HORN, DUMP); level 1 = powered."""

    KIND: ClassVar[int] = 0x31
    FORM: ClassVar[Struct] = Struct("<BB")
    output: int
    level: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EventAck(Fixed):
    """The EVENT of this number is recorded; the board stops sending it (that one only)."""

    KIND: ClassVar[int] = 0x32
    FORM: ClassVar[Struct] = Struct("<I")
    number: int
