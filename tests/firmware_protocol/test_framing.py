"""Frames, stuffing and check values against outside numbers (check 3.1 to 3.10)."""

import struct
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.framing import (
    MAX_PAYLOAD,
    cobs_decode,
    cobs_encode,
    decode_frame,
    encode_frame,
)


@pytest.mark.parametrize(
    "text, value",
    [
        (b"123456789", 0xCBF43926),
        (b"", 0),
        (b"\0", 0xD202EF8D),
        (bytes(4), 0x2144DF1C),
        (b"\xff" * 4, 0xFFFFFFFF),
        (b"a", 0xE8B7BE43),
        (b"abc", 0x352441C2),
        (b"The quick brown fox jumps over the lazy dog", 0x414FA339),
        (bytes(range(256)), 0x29058C73),
    ],
)
def test_the_crc_is_the_catalogued_one(text, value):
    """Check 3.1 and 3.3."""
    assert crc32(text, 0) == value


@given(st.binary(max_size=300))
def test_a_message_with_its_crc_has_the_known_residue(data):
    """Check 3.2."""
    assert crc32(data + struct.pack("<I", crc32(data))) == 0x2144DF1C


@given(st.binary(max_size=64), st.binary(max_size=64))
def test_a_seed_is_a_crc_that_goes_on(first, second):
    """PROTOCOL.md section 1: the seed continues a CRC whose result so far it is."""
    assert crc32(second, crc32(first)) == crc32(first + second)


@pytest.mark.parametrize(
    "plain, stuffed",
    [
        ("00", "0101"),
        ("0000", "010101"),
        ("001100", "01021101"),
        ("00110000", "0102110101"),
        ("11220033", "0311220233"),
        ("11223344", "0511223344"),
        ("11000000", "0211010101"),
        ("4500002C4C79000040064F37", "024501042C4C79010540064F37"),
    ],
)
def test_stuffing_follows_the_reference_table(plain, stuffed):
    """Check 3.6 and 3.7.

    Check 3.6 prints 01 02 11 01 01 beside 00 11 00; five bytes contradict the worst length of check
    3.9 (n + 1), and they decode to 00 11 00 00. Both pairs are tested here as they must be.
    """
    assert cobs_encode(bytes.fromhex(plain)) == bytes.fromhex(stuffed)
    assert cobs_decode(bytes.fromhex(stuffed)) == bytes.fromhex(plain)


def test_the_254_byte_edge():
    """Check 3.8."""
    up = bytes(range(1, 255))
    assert cobs_encode(up) == b"\xff" + up
    assert cobs_encode(b"\0" + up) == b"\x01\xff" + up
    assert cobs_encode(up + b"\xff") == b"\xff" + up + b"\x02\xff"
    two = bytes(range(2, 256))
    assert cobs_encode(two + b"\0") == b"\xff" + two + b"\x01\x01"
    three = bytes(range(3, 256))
    assert cobs_encode(three + b"\0\x01") == b"\xfe" + three + b"\x02\x01"


def test_a_trailing_run_after_a_full_block_is_not_sent_but_accepted():
    up = bytes(range(1, 255))
    assert cobs_decode(b"\xff" + up + b"\x01") == up == cobs_decode(b"\xff" + up)


@pytest.mark.parametrize(
    "n, length",
    [
        (0, 1),
        (1, 2),
        (253, 254),
        (254, 255),
        (255, 257),
        (508, 510),
        (509, 512),
        (762, 765),
        (1000, 1004),
    ],
)
def test_the_worst_length_is_as_calculated(n, length):
    """Check 3.9."""
    assert len(cobs_encode(b"\x01" * n)) == length


@pytest.mark.parametrize("bad", ["", "00", "05", "0511", "031100", "02000211"])
def test_what_cannot_be_a_stuffed_frame_is_refused(bad):
    """Check 3.10."""
    with pytest.raises(ValueError):
        cobs_decode(bytes.fromhex(bad))


@given(st.binary(max_size=1100))
def test_stuffing_round_trips_and_leaves_no_zero(data):
    stuffed = cobs_encode(data)
    assert 0 not in stuffed
    assert cobs_decode(stuffed) == data


@given(st.binary(max_size=600))
def test_decoding_anything_gives_bytes_or_a_value_error(data):
    try:
        decode_frame(data)
    except ValueError:
        return


@given(
    st.integers(0, 255),
    st.integers(0, 0xFFFF),
    st.binary(max_size=MAX_PAYLOAD),
    st.integers(0, 0xFFFFFFFF),
)
def test_a_frame_round_trips_and_has_constant_overhead(kind, seq, payload, seed):
    wire = encode_frame(kind, seq, payload, seed)
    assert wire[-1] == 0
    assert wire.count(0) == 1
    assert len(wire) == len(payload) + 9
    frame = decode_frame(wire[:-1])
    assert (frame.kind, frame.seq, frame.payload) == (kind, seq, payload)
    assert frame.verifies(seed)
    assert not frame.verifies(seed ^ 1)


def test_a_payload_that_is_too_long_is_a_fault_of_the_caller():
    with pytest.raises(ValueError, match="247"):
        encode_frame(1, 0, bytes(MAX_PAYLOAD + 1), 0)
