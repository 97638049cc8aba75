"""The golden vectors are what the code makes, and the page says what the code does."""

import json
import re
from itertools import pairwise
from pathlib import Path

import pytest

from firmware_protocol import numbers
from firmware_protocol.framing import cobs_decode, cobs_encode, decode_frame
from firmware_protocol.messages import BOARD_KINDS, HOST_KINDS, EventKind, Reason
from firmware_protocol.reasons import REASON_TEXT
from firmware_protocol.session import session_seed
from tests.firmware_protocol import examples, make_vectors

PAGE = (Path(make_vectors.FOLDER).parent / "PROTOCOL.md").read_text(encoding="utf-8")


def stored(name):
    return json.loads((make_vectors.FOLDER / name).read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", make_vectors.make())
def test_the_stored_vectors_are_what_the_code_makes(name):
    assert stored(name) == make_vectors.make()[name]


def test_the_frame_vectors_read_back():
    for row in stored("frames.json"):
        frame = decode_frame(bytes.fromhex(row["frame"])[:-1])
        assert frame.verifies(row["seed"])
        message = (HOST_KINDS | BOARD_KINDS)[frame.kind].unpack(frame.payload)
        assert type(message).__name__ == row["name"]
        assert message.pack().hex() == row["payload"]


def test_the_cobs_vectors_hold_both_ways():
    """Check 3.6 to 3.10."""
    rows = stored("cobs.json")
    for row in rows["good"]:
        assert cobs_encode(bytes.fromhex(row["plain"])).hex() == row["stuffed"]
        for form in ("stuffed", "also"):
            if form in row:
                assert cobs_decode(bytes.fromhex(row[form])).hex() == row["plain"]
    for bad in rows["refused"]:
        with pytest.raises(ValueError):
            cobs_decode(bytes.fromhex(bad))


def test_the_stream_vectors_hold_whole_and_byte_by_byte():
    for row in stored("streams.json"):
        data = bytes.fromhex(row["bytes"])
        for cuts in ([data], [data[at : at + 1] for at in range(len(data))]):
            link = make_vectors.receiver(row["side"], row["session"], row["former"])
            events = [make_vectors.told(e) for cut in cuts for e in link.receive(cut)]
            if row["name"].startswith("no delimiter"):
                assert events[-1] == row["events"][-1]
                assert {e[0] for e in events[:-1]} == {"damaged"}
            else:
                assert events == row["events"], row["name"]


def test_the_session_vectors_hold():
    for row in stored("sessions.json"):
        uid = bytes.fromhex(row["uid"])
        assert session_seed(uid, row["boot_nonce"], row["host_nonce"]) == row["seed"]


def test_a_board_id_of_another_length_is_refused():
    with pytest.raises(ValueError, match="8 bytes"):
        session_seed(b"short", 1, 1)


def test_the_page_names_every_kind():
    for kinds in (HOST_KINDS, BOARD_KINDS):
        for kind, message in kinds.items():
            name = re.sub(r"(?<!^)(?=[A-Z])", "_", message.__name__).upper()
            assert f"| {kind:02X} | {name} |" in PAGE


def test_the_sizes_on_the_page_are_the_sizes_on_the_wire():
    sizes = {
        int(kind, 16): int(size)
        for kind, size in re.findall(r"^### ([0-9A-F]{2}) \w+ \((\d+) bytes\)", PAGE, re.MULTILINE)
    }
    every = examples.HOST_MESSAGES + examples.BOARD_MESSAGES
    lengths = {m.KIND: len(m.pack()) for m in every}
    assert len(sizes) >= 14
    for kind, size in sizes.items():
        assert lengths[kind] == size, f"{kind:02X}"


def test_the_tables_of_the_page_end_where_the_payload_ends():
    """Offsets and types of each field table add up, row after row."""
    width = {"u8": 1, "u16": 2, "i16": 2, "u32": 4, "i32": 4, "u64": 8, "8 B": 8}
    tables = re.findall(r"\| At \| Type \|.*?\n\|[-|]+\n((?:\|.*\n)+)", PAGE)
    assert len(tables) >= 9
    for table in tables:
        cells = [[c.strip() for c in row.split("|")[1:3]] for row in table.splitlines()]
        plain = [(int(at), kind) for at, kind in cells if at.isdigit() and kind in width]
        for (at, kind), (after, _) in pairwise(plain):
            assert at + width[kind] == after, table


def test_the_page_lists_every_reason_with_its_sentence():
    for reason in Reason:
        assert f"| {int(reason)} | {reason.name} | {REASON_TEXT[reason]} |" in PAGE


def test_the_page_lists_every_event():
    for kind in EventKind:
        assert f"\n| {int(kind)} | {kind.name} |" in PAGE


def test_the_worked_examples_are_the_vectors():
    for row in stored("frames.json"):
        if row["name"] == "LimitsStage":
            assert bytes.fromhex(row["payload"]).hex(" ") in PAGE
    seed = session_seed(examples.UID, examples.BOOT, examples.HOST)
    assert f"**{seed:08X}**" in PAGE
    for payload, wire in re.findall(r"\| \d+ \| `([0-9a-f ]+)` \| `([0-9a-f ]+)` \|", PAGE):
        frame = decode_frame(bytes.fromhex(wire)[:-1])
        assert frame.payload == bytes.fromhex(payload)
        assert frame.verifies(seed) or frame.verifies(0)


def test_the_timers_on_the_page_are_those_in_the_code():
    assert f"ceiling {numbers.PULSE_CEILING_MS} ms" in PAGE
    assert f"| grip silence | {numbers.GRIP_SILENCE_MS} ms |" in PAGE
    assert f"| echo age (`seen`) | {numbers.ECHO_AGE_MS} ms" in PAGE
    assert f"| host silence | {numbers.HOST_SILENCE_MS} ms" in PAGE
    assert f"| key out / key in | {numbers.KEY_OFF_MS} ms / {numbers.KEY_ON_MS} ms |" in PAGE
    assert f"ceiling {numbers.ARMED_CEILING_S} s; PROOF {numbers.ARMED_CEILING_PROOF_S} s" in PAGE


def test_no_word_of_the_page_says_that_anything_here_ends_a_burn():
    """Practice 4.1."""
    lower = PAGE.lower()
    for word in ("extinguish", "shuts down the motor", "stops the burn", "safe to approach"):
        assert word not in lower
