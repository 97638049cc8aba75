"""Make the golden vectors anew: python -m tests.firmware_protocol.make_vectors (from the source root).

They are part of PROTOCOL.md: a change here is a change of the wire.
"""

import json
from pathlib import Path

from firmware_protocol.framing import cobs_encode, encode_frame
from firmware_protocol.link import Damaged, Link, OldSession, Received, SeqGap, UnknownKind
from firmware_protocol.messages import SEED_ZERO_KINDS
from firmware_protocol.session import session_seed
from tests.firmware_protocol import examples

FOLDER = Path(__file__).parents[2] / "firmware_protocol" / "vectors"


def frames():
    seed = session_seed(examples.UID, examples.BOOT, examples.HOST)
    found = []
    for seq, message in enumerate(examples.HOST_MESSAGES + examples.BOARD_MESSAGES, 0xFFF8):
        used = 0 if message.KIND in SEED_ZERO_KINDS else seed
        payload = message.pack()
        found.append(
            {
                "name": type(message).__name__,
                "kind": message.KIND,
                "seq": seq & 0xFFFF,
                "seed": used,
                "payload": payload.hex(),
                "frame": encode_frame(message.KIND, seq & 0xFFFF, payload, used).hex(),
            }
        )
    return found


def cobs():
    """Plain and stuffed; check 3.6 to 3.9. `also` is accepted on decoding but never sent."""
    ones = [bytes([1]) * n for n in (0, 1, 253, 254, 255, 508, 509, 762, 1000)]
    edges = [
        bytes(range(1, 255)),
        bytes(range(255)),
        bytes(range(1, 256)),
        bytes(range(2, 256)) + b"\0",
        bytes(range(3, 256)) + b"\0\1",
    ]
    small = [b"\0", b"\0\0", b"\0\x11\0", b"\x11\x22\0\x33", b"\x11\x22\x33\x44", b"\x11\0\0\0"]
    figure = [bytes.fromhex("4500002C4C79000040064F37")]
    found = []
    for plain in small + figure + edges + ones:
        stuffed = cobs_encode(plain)
        row = {"plain": plain.hex(), "stuffed": stuffed.hex()}
        if len(plain) in (254, 508, 762) and 0 not in plain:
            row["also"] = (stuffed + b"\1").hex()
        found.append(row)
    return {"good": found, "refused": ["", "00", "05", "0511", "031100", "02000211", "ff01"]}


def sessions():
    rows = []
    for uid, boot, host in (
        (examples.UID, examples.BOOT, examples.HOST),
        (b"\0" * 8, 0, 0),
        (b"\xff" * 8, 0xFFFFFFFF, 0xFFFFFFFF),
        (b"bench001", 0x00001ABC, 1),
        (b"bench001", 0x00002ABC, 1),
    ):
        rows.append(
            {
                "uid": uid.hex(),
                "boot_nonce": boot,
                "host_nonce": host,
                "seed": session_seed(uid, boot, host),
            }
        )
    return rows


def told(event):
    """One event of a link as plain JSON."""
    match event:
        case Received(seq, message, in_session):
            return ["message", message.KIND, seq, message.pack().hex(), in_session]
        case OldSession(kind, seq):
            return ["old session", kind, seq]
        case UnknownKind(kind, seq):
            return ["unknown kind", kind, seq]
        case SeqGap(expected, got):
            return ["gap", expected, got]
        case Damaged(_, nbytes):
            return ["damaged", nbytes]


def receiver(side, session, former):
    link = Link(side)
    for seed in [*former, session]:
        link.set_session(seed)
    return link


def streams():
    """Bytes as a receiver gets them, and what it must make of them."""
    seed = session_seed(examples.UID, examples.BOOT, examples.HOST)
    old = session_seed(examples.UID, examples.BOOT, 77)
    other = session_seed(b"bench001", examples.BOOT, examples.HOST)

    def frame(message, seq, used):
        return encode_frame(message.KIND, seq, message.pack(), used)

    ping, safe, grip = (
        examples.HOST_MESSAGES[1],
        examples.HOST_MESSAGES[2],
        examples.HOST_MESSAGES[10],
    )
    good = frame(ping, 1, seed)
    hurt = bytes([*good[:4], good[4] ^ 0x40, *good[5:]])
    cases = {
        "two frames": good + frame(grip, 2, seed),
        "numbers wrap": frame(ping, 0xFFFF, seed) + frame(ping, 0, seed),
        "a frame is missing": good + frame(ping, 4, seed),
        "junk, then a frame": b"\x07junk\0" + good,
        "empty frames are nothing": b"\0\0\0" + good + b"\0\0",
        "half a frame, then SAFE": good[:6] + b"\0" + frame(safe, 9, 0),
        "one bit wrong": hurt + frame(ping, 2, seed),
        "former session": frame(grip, 5, old) + good,
        "SAFE of a former session": frame(safe, 5, old),
        "session of another board": frame(grip, 5, other),
        "seed 0 where it may not be": frame(ping, 5, 0),
        "unknown kind": encode_frame(0x7E, 1, b"\1\2", seed) + frame(ping, 2, seed),
        "wrong length": encode_frame(0x22, 1, b"\1\2", seed),
        "wrong complement": encode_frame(0x05, 1, bytes(8), seed),
        "no delimiter for 300 bytes": b"\x11" * 300 + b"\0" + good,
    }
    rows = []
    for name, data in cases.items():
        link = receiver("board", seed, [old])
        rows.append(
            {
                "name": name,
                "side": "board",
                "session": seed,
                "former": [old],
                "bytes": data.hex(),
                "events": [told(event) for event in link.receive(data)],
            }
        )
    return rows


def make():
    return {
        "streams.json": streams(),
        "frames.json": frames(),
        "cobs.json": cobs(),
        "sessions.json": sessions(),
    }


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, content in make().items():
        (FOLDER / name).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
