"""Messages from the board to the host (kinds 80 to FF). PROTOCOL.md is normative."""

from collections.abc import Sequence
from dataclasses import dataclass
from struct import Struct
from typing import ClassVar, Self
from zlib import crc32

from firmware_protocol.counts import pack_counts, unpack_counts
from firmware_protocol.fixed import Fixed, take
from firmware_protocol.framing import MAX_PAYLOAD
from firmware_protocol.messages_host import LimitsStage
from firmware_protocol.numbers import (
    MAX_CHANNELS,
    MAX_GROUP_CHANNELS,
    MAX_GROUPS,
    PROTOCOL_VERSION,
    Kind,
    ResetCause,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Channels converted together: one rate, one index. `full_lo`/`full_hi` = counts at the rails."""

    FORM: ClassVar[Struct] = Struct("<IIBii")
    rate_mhz: int  # millihertz
    step: int  # ticks per sample
    channels: int
    full_lo: int
    full_hi: int

    @property
    def rate_hz(self) -> float:
        return self.rate_mhz / 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Who the board is. `host_nonce` 0 = sent on its own, no session is open."""

    KIND: ClassVar[int] = 0x81
    FORM: ClassVar[Struct] = Struct("<B8sIIHB8sIIHHB")
    kind: Kind
    uid: bytes
    boot_nonce: int
    host_nonce: int
    protocol: int = PROTOCOL_VERSION
    reset_cause: ResetCause
    firmware_hash: bytes
    tick_hz: int
    ring_bytes: int
    pulse_ceiling_ms: int
    armed_ceiling_s: int
    groups: tuple[Group, ...]

    def pack(self) -> bytes:
        head = self.FORM.pack(
            self.kind,
            self.uid,
            self.boot_nonce,
            self.host_nonce,
            self.protocol,
            self.reset_cause,
            self.firmware_hash,
            self.tick_hz,
            self.ring_bytes,
            self.pulse_ceiling_ms,
            self.armed_ceiling_s,
            len(self.groups),
        )
        form = Group.FORM
        return head + b"".join(
            form.pack(g.rate_mhz, g.step, g.channels, g.full_lo, g.full_hi) for g in self.groups
        )

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        size = cls.FORM.size
        if len(payload) < size:
            raise ValueError(f"an identity of {len(payload)} bytes")
        kind, uid, boot, host, protocol, cause, firmware, *rest, many = cls.FORM.unpack(
            payload[:size]
        )
        if not 1 <= many <= MAX_GROUPS or len(payload) != size + many * Group.FORM.size:
            raise ValueError(f"an identity of {len(payload)} bytes for {many} groups")
        groups = tuple(
            Group(rate_mhz=rate, step=step, channels=channels, full_lo=lo, full_hi=hi)
            for rate, step, channels, lo, hi in Group.FORM.iter_unpack(payload[size:])
        )
        return cls(
            kind=Kind(kind),
            uid=uid,
            boot_nonce=boot,
            host_nonce=host,
            protocol=protocol,
            reset_cause=ResetCause(cause),
            firmware_hash=firmware,
            tick_hz=rest[0],
            ring_bytes=rest[1],
            pulse_ceiling_ms=rest[2],
            armed_ceiling_s=rest[3],
            groups=groups,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """A block of one group. `data` holds n rows of the masked channels, signed 24-bit, row by row."""

    KIND: ClassVar[int] = 0x83
    FORM: ClassVar[Struct] = Struct("<BQQIBB")
    group: int
    first_index: int
    tick: int  # of the first row
    step: int  # ticks per sample
    n: int
    mask: int
    data: bytes

    @property
    def channels(self) -> int:
        return self.mask.bit_count()

    def flat(self) -> list[int]:
        """All counts, row by row."""
        return unpack_counts(self.data)

    def rows(self) -> list[tuple[int, ...]]:
        """One tuple of counts per sample."""
        return list(zip(*[iter(unpack_counts(self.data))] * self.channels, strict=True))

    @classmethod
    def of(
        cls, group: int, first_index: int, tick: int, step: int, rows: Sequence[Sequence[int]]
    ) -> Self:
        """A block made from rows of counts, all channels present."""
        data = pack_counts([count for row in rows for count in row])
        mask = (1 << len(rows[0])) - 1
        return cls(
            group=group,
            first_index=first_index,
            tick=tick,
            step=step,
            n=len(rows),
            mask=mask,
            data=data,
        )

    def pack(self) -> bytes:
        head = (self.group, self.first_index, self.tick, self.step, self.n, self.mask)
        return self.FORM.pack(*head) + self.data

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        size = cls.FORM.size
        if len(payload) < size:
            raise ValueError(f"a sample block of {len(payload)} bytes")
        group, first, tick, step, n, mask = cls.FORM.unpack(payload[:size])
        if len(payload) - size != 3 * n * mask.bit_count():
            raise ValueError(
                f"a sample block of {len(payload)} bytes for {n} rows, mask {mask:02x}"
            )
        return cls(
            group=group,
            first_index=first,
            tick=tick,
            step=step,
            n=n,
            mask=mask,
            data=payload[size:],
        )


BLOCK_BYTES = MAX_PAYLOAD - Samples.FORM.size - 5  # a block must also fit into BACKFILL_DATA


def rows_per_block(channels: int) -> int:
    """Most rows that fit into one SAMPLES frame and, unchanged, into one BACKFILL_DATA frame."""
    assert 1 <= channels <= MAX_GROUP_CHANNELS
    return BLOCK_BYTES // (3 * channels)


@dataclass(frozen=True, slots=True, kw_only=True)
class BackfillData:
    """A block out of the ring. `lost` > 0: that many samples from first_index are lost for good."""

    KIND: ClassVar[int] = 0x89
    FORM: ClassVar[Struct] = Struct("<BI")
    lost: int
    block: Samples

    def pack(self) -> bytes:
        return self.FORM.pack(1 if self.lost else 0, self.lost) + self.block.pack()

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        size = cls.FORM.size
        flag, lost = take(cls.FORM, payload[:size])
        block = Samples.unpack(payload[size:])
        if flag > 1 or (flag == 1) != (lost > 0) or (lost and block.n):
            raise ValueError("a back-fill block whose loss does not add up")
        return cls(lost=lost, block=block)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event(Fixed):
    """Something that happened on the board; `kind` is an EventKind, `value` as said there."""

    KIND: ClassVar[int] = 0x84
    FORM: ClassVar[Struct] = Struct("<IQBi")
    number: int
    tick: int
    kind: int
    value: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer(Fixed):
    KIND: ClassVar[int] = 0x85
    FORM: ClassVar[Struct] = Struct("<IIIH")
    challenge: int
    limits_crc: int
    setup_id: int
    expires_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused(Fixed):
    """The command of this seq and kind was not done; `reason` is a Reason."""

    KIND: ClassVar[int] = 0x86
    FORM: ClassVar[Struct] = Struct("<HBH")
    seq: int
    command: int
    reason: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitsEcho:
    """The active structure, byte for byte."""

    KIND: ClassVar[int] = 0x87
    body: bytes

    @property
    def limits(self) -> LimitsStage:
        """What the bytes say; they were checked when the message was read."""
        return LimitsStage.unpack(self.body)

    @property
    def crc(self) -> int:
        return crc32(self.body)

    def pack(self) -> bytes:
        return self.body

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        LimitsStage.unpack(payload)
        return cls(body=payload)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pong(Fixed):
    KIND: ClassVar[int] = 0x88
    FORM: ClassVar[Struct] = Struct("<IQ")
    n: int
    tick: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SelftestResult:
    """`result` is a Reason (0 = passed); `shunt_steps` = mean counts with minus without the shunt."""

    KIND: ClassVar[int] = 0x8A
    FORM: ClassVar[Struct] = Struct("<BHQHHHB")
    what: int
    result: int
    tick: int
    supply_rest_mv: int
    supply_loaded_mv: int
    continuity_mohm: int
    shunt_steps: tuple[int, ...]

    def pack(self) -> bytes:
        many = len(self.shunt_steps)
        head = (self.what, self.result, self.tick, self.supply_rest_mv, self.supply_loaded_mv)
        return self.FORM.pack(*head, self.continuity_mohm, many) + Struct(f"<{many}i").pack(
            *self.shunt_steps
        )

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        size = cls.FORM.size
        if len(payload) < size:
            raise ValueError(f"a self-test result of {len(payload)} bytes")
        what, result, tick, rest, loaded, mohm, many = cls.FORM.unpack(payload[:size])
        if many > MAX_CHANNELS:
            raise ValueError(f"a self-test of {many} channels")
        return cls(
            what=what,
            result=result,
            tick=tick,
            supply_rest_mv=rest,
            supply_loaded_mv=loaded,
            continuity_mohm=mohm,
            shunt_steps=take(Struct(f"<{many}i"), payload[size:]),
        )
