"""Make the golden vectors anew: python -m tests.firmware_protocol.make_vectors (from the source root).

They are part of PROTOCOL.md: a change here is a change of the wire.
"""

import json
from pathlib import Path

from firmware_protocol.framing import cobs_encode, encode_frame
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


def make():
    return {"frames.json": frames(), "cobs.json": cobs(), "sessions.json": sessions()}


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, content in make().items():
        (FOLDER / name).write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
