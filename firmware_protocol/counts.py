"""Signed 24-bit counts, little-endian, packed without gaps."""

import struct
from collections.abc import Sequence

from firmware_protocol.numbers import COUNT_MIN, COUNT_OVER


def pack_counts(counts: Sequence[int]) -> bytes:
    """Three bytes each; what does not fit into 24 bits is held at the end of the range."""
    try:
        wide = struct.pack(f"<{len(counts)}i", *counts)
    except struct.error:
        return pack_counts([min(max(c, COUNT_MIN), COUNT_OVER) for c in counts])
    out = bytearray(3 * len(counts))
    out[0::3], out[1::3], out[2::3] = wide[0::4], wide[1::4], wide[2::4]
    return bytes(out)


def unpack_counts(data: bytes) -> list[int]:
    """The counts in order; ValueError if the bytes are not a multiple of three."""
    many, rest = divmod(len(data), 3)
    if rest:
        raise ValueError(f"{len(data)} bytes are no whole number of counts")
    wide = bytearray(4 * many)
    wide[1::4], wide[2::4], wide[3::4] = data[0::3], data[1::3], data[2::3]
    return [value >> 8 for value in struct.unpack(f"<{many}i", wide)]
