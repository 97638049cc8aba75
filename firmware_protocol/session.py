"""The session seed: which board, which start of it and which host may speak to each other.

Seed 0 means "no session"; only HELLO, IDENTITY, SAFE and ABORT verify under it.
"""

import struct
from zlib import crc32

from firmware_protocol.numbers import UID_BYTES


def session_seed(uid: bytes, boot_nonce: int, host_nonce: int) -> int:
    """crc32(uid 8 B | boot_nonce u32 | host_nonce u32), little-endian; ValueError for a wrong uid."""
    if len(uid) != UID_BYTES:
        raise ValueError(f"a board id has {UID_BYTES} bytes, got {len(uid)}")
    return crc32(uid + struct.pack("<II", boot_nonce, host_nonce))
