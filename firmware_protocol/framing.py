"""One frame on the wire: COBS( kind u8 | seq u16 | payload | crc32 u32 ) 00, little-endian.

Rules. Any bytes may come in: decoding says what they are or raises ValueError, nothing else. The
check value is CRC-32/ISO-HDLC over kind..payload, started from the seed of the session, so a frame
of another session does not verify. An encoder never emits the trailing run 01 after a full block
of 254 bytes; a decoder accepts both forms. PROTOCOL.md is normative.
"""

import struct
from typing import Final, NamedTuple
from zlib import crc32

MAX_DECODED: Final = 253
OVERHEAD: Final = 7
MAX_PAYLOAD: Final = MAX_DECODED - OVERHEAD
MAX_ENCODED: Final = MAX_DECODED + 1
DELIMITER: Final = b"\0"
_HEAD: Final = struct.Struct("<BH")
_CHECK: Final = struct.Struct("<I")


class Frame(NamedTuple):
    """A stuffed-out frame, not yet verified: `body` is kind..payload, `check` the CRC it carries."""

    kind: int
    seq: int
    payload: bytes
    body: bytes
    check: int

    def verifies(self, seed: int) -> bool:
        return crc32(self.body, seed) == self.check


def cobs_encode(data: bytes) -> bytes:
    """Stuff `data` so that it holds no zero byte (no delimiter added); n + ceil(n/254) bytes at most."""
    out = bytearray()
    runs = data.split(DELIMITER)
    last = len(runs) - 1
    for number, run in enumerate(runs):
        at = 0
        while len(run) - at >= 254:
            out.append(255)
            out += run[at : at + 254]
            at += 254
        if at == 0 or at < len(run) or number < last:
            out.append(len(run) - at + 1)
            out += run[at:]
    return bytes(out)


def cobs_decode(frame: bytes) -> bytes:
    """Undo the stuffing of one frame (without its closing zero); ValueError if it cannot be one."""
    if not frame:
        raise ValueError("an empty frame")
    out, at, end = bytearray(), 0, len(frame)
    while at < end:
        code = frame[at]
        stop = at + code
        if code == 0 or stop > end or 0 in frame[at + 1 : stop]:
            raise ValueError(f"broken COBS run at byte {at}")
        out += frame[at + 1 : stop]
        if code < 255 and stop < end:
            out.append(0)
        at = stop
    return bytes(out)


def encode_frame(kind: int, seq: int, payload: bytes, seed: int) -> bytes:
    """One frame ready to send, with its closing 00; ValueError if the payload is too long."""
    if len(payload) > MAX_PAYLOAD:
        raise ValueError(f"payload of {len(payload)} bytes, the most is {MAX_PAYLOAD}")
    body = _HEAD.pack(kind, seq) + payload
    return cobs_encode(body + _CHECK.pack(crc32(body, seed))) + DELIMITER


def decode_frame(frame: bytes) -> Frame:
    """Take one frame apart (without its closing 00), CRC not judged; ValueError if it cannot be one."""
    data = cobs_decode(frame)
    if not OVERHEAD <= len(data) <= MAX_DECODED:
        raise ValueError(f"a frame of {len(data)} bytes")
    body = data[:-4]
    kind, seq = _HEAD.unpack_from(body)
    return Frame(kind, seq, body[3:], body, _CHECK.unpack(data[-4:])[0])
