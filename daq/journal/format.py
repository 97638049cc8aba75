"""The bytes of the journal, as JOURNAL.md defines them; pure: no file, clock or thread.

A segment is one 128-byte header followed by records. The checksum of a record is seeded with its
segment and its offset, so a record is valid only where it was written: a copied, moved or left-over
block never passes for data. All integers are little-endian.
"""

import struct
from enum import IntEnum, IntFlag
from typing import Final, NamedTuple
from zlib import crc32

MAGIC: Final = b"BERMJRN1"
VERSION: Final = 1
HEADER_LEN: Final = 128
SYNC: Final = 0xB5E7
SYNC_BYTES: Final = SYNC.to_bytes(2, "little")
RECORD_HEAD_LEN: Final = 24
ALIGN: Final = 8
BLOCK: Final = 4096
MAX_BODY: Final = 1 << 20
FIRST_SEQ: Final = 1
LAST_SEQ: Final = 0xF000_0000
SUFFIX: Final = ".berm"

_HEADER: Final = struct.Struct("<8sHHI16s16sII16sQqqQ20x")
_HEAD: Final = struct.Struct("<HBBIIq")
_CRC: Final = struct.Struct("<I")
_OFFSET: Final = struct.Struct("<Q")
_MARK: Final = struct.Struct("<QIQQ32s")
_SEAL: Final = struct.Struct("<IIQ32s")


class RecordType(IntEnum):
    """What a body means; a reader keeps and reports a type that it does not know."""

    PAD = 0
    MARK = 1
    RX = 2
    TX = 3
    FACT = 4
    STATUS = 5
    WISH = 6
    CONFIG = 7
    CLOCK = 8
    RUN = 9
    LOSS = 10
    SEAL = 11


LAYOUT: Final = frozenset({RecordType.PAD, RecordType.MARK, RecordType.SEAL})
"""Records that only order the file. They carry the number of the next content record and use none."""


class SegmentFlag(IntFlag):
    REHEARSAL = 1
    REPLAY = 2


class RecordFlag(IntFlag):
    REPEATED = 1
    """Written from memory after a failure: an earlier segment may hold the same record."""
    CARRIED = 2
    """A CONFIG repeated at the head of a new segment; nothing changed at this moment."""


class RecordHead(NamedTuple):
    kind: int
    flags: int
    length: int
    seq: int
    host_ns: int
    crc: int


class SegmentHeader(NamedTuple):
    """First 128 bytes of a segment. `utc_ns` is a label; `host_ns` is the host's monotonic clock."""

    journal_id: bytes
    segment_id: bytes
    ordinal: int
    flags: int
    previous_id: bytes
    previous_end: int
    utc_ns: int
    host_ns: int
    boot_hash: int

    @property
    def name(self) -> str:
        return segment_name(self.ordinal, self.segment_id)

    @property
    def is_rehearsal(self) -> bool:
        return bool(self.flags & SegmentFlag.REHEARSAL)

    def pack(self) -> bytes:
        head = _HEADER.pack(
            *(MAGIC, VERSION, HEADER_LEN, self.flags, self.journal_id, self.segment_id),
            *(self.ordinal, 0, self.previous_id, self.previous_end),
            *(self.utc_ns, self.host_ns, self.boot_hash),
        )
        return head + _CRC.pack(crc32(head))

    @classmethod
    def unpack(cls, data: bytes) -> "SegmentHeader":
        """Read a header; ValueError with a sentence if these bytes cannot be one."""
        if len(data) < HEADER_LEN:
            raise ValueError(f"the header needs {HEADER_LEN} bytes, there are {len(data)}")
        if crc32(data[: HEADER_LEN - 4]) != _CRC.unpack_from(data, HEADER_LEN - 4)[0]:
            raise ValueError("the header does not verify")
        magic, version, length, flags, journal, segment, ordinal, zero, *rest = _HEADER.unpack(
            data[: _HEADER.size]
        )
        if (magic, version, length, zero) != (MAGIC, VERSION, HEADER_LEN, 0):
            raise ValueError(f"the header is of version {version}, this reader knows {VERSION}")
        return cls(journal, segment, ordinal, flags, *rest)


class Mark(NamedTuple):
    """Body of MARK: `digest` is the sha256 of the bytes from `previous` up to this mark."""

    previous: int
    next_seq: int
    tick: int
    first_index: int
    digest: bytes

    def pack(self) -> bytes:
        return _MARK.pack(*self)

    @classmethod
    def unpack(cls, body: bytes) -> "Mark":
        if len(body) != _MARK.size:
            raise ValueError(f"a MARK body has {_MARK.size} bytes, got {len(body)}")
        return cls(*_MARK.unpack(body))


class Seal(NamedTuple):
    """Body of SEAL: `digest` is the sha256 of all bytes before this record."""

    records: int
    next_ordinal: int
    length: int
    digest: bytes

    def pack(self) -> bytes:
        return _SEAL.pack(*self)

    @classmethod
    def unpack(cls, body: bytes) -> "Seal":
        if len(body) != _SEAL.size:
            raise ValueError(f"a SEAL body has {_SEAL.size} bytes, got {len(body)}")
        return cls(*_SEAL.unpack(body))


def segment_name(ordinal: int, segment_id: bytes) -> str:
    """File name of a segment, final from birth: `00000042-1f9c03aa.berm`."""
    return f"{ordinal:08d}-{segment_id[:4].hex()}{SUFFIX}"


def ordinal_of(name: str) -> int | None:
    """The ordinal that a file name claims; None if it is not the name of a segment."""
    digits, dash, rest = name.partition("-")
    fits = len(digits) == 8 and digits.isdecimal() and dash and len(rest) == 8 + len(SUFFIX)
    return int(digits) if fits and rest.endswith(SUFFIX) else None


def record_seed(segment_id: bytes, offset: int) -> int:
    return crc32(_OFFSET.pack(offset), crc32(segment_id))


def padded(length: int) -> int:
    """Bytes that a record with a body of `length` bytes takes in the file."""
    return (RECORD_HEAD_LEN + length + ALIGN - 1) & -ALIGN


def encode_record(
    kind: int,
    body: bytes,
    seq: int,
    host_ns: int,
    segment_id: bytes,
    offset: int,
    flags: int = 0,
) -> bytes:
    """One record as it stands at `offset` of segment `segment_id`; ValueError above 1 MiB."""
    if len(body) > MAX_BODY:
        raise ValueError(f"a record body has at most {MAX_BODY} bytes, got {len(body)}")
    head = _HEAD.pack(SYNC, kind, flags, len(body), seq, host_ns)
    crc = crc32(body, crc32(head, record_seed(segment_id, offset)))
    return head + _CRC.pack(crc) + body + bytes(-len(body) % ALIGN)


def decode_head(data: bytes, at: int = 0) -> RecordHead | None:
    """The fields of a record head; None if there is none at `at`. Says nothing about the checksum."""
    if len(data) - at < RECORD_HEAD_LEN:
        return None
    sync, kind, flags, length, seq, host_ns = _HEAD.unpack_from(data, at)
    if sync != SYNC or length > MAX_BODY:
        return None
    return RecordHead(kind, flags, length, seq, host_ns, _CRC.unpack_from(data, at + _HEAD.size)[0])


def pad_length(offset: int) -> int | None:
    """Body length of the PAD due at `offset`, so that the next record starts on a 4 KiB boundary.

    None where the offset is such a boundary already. With less than a record head left, the PAD
    runs to the boundary after the next.
    """
    left = -offset % BLOCK
    if left == 0:
        return None
    return (left if left >= RECORD_HEAD_LEN else left + BLOCK) - RECORD_HEAD_LEN
