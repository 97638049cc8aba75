"""The bytes are those of JOURNAL.md; the vectors are worked out there by hand."""

from hashlib import sha256
from pathlib import Path
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.journal.format import (
    BLOCK,
    HEADER_LEN,
    MAX_BODY,
    RECORD_HEAD_LEN,
    Mark,
    Seal,
    SegmentHeader,
    decode_head,
    encode_record,
    ordinal_of,
    pad_length,
    padded,
    record_seed,
    segment_name,
)

SEGMENT = bytes(range(16))
NEXT_SEGMENT = bytes(range(1, 17))


@pytest.mark.parametrize(
    ("segment_id", "offset", "crc"),
    [
        (SEGMENT, 128, "1a2e7074"),
        (SEGMENT, 160, "7b32fc73"),
        (NEXT_SEGMENT, 128, "d8947ff2"),
    ],
)
def test_a_record_has_the_checksum_of_its_place(segment_id, offset, crc):
    record = encode_record(2, b"\x01\x02\x03", 7, 10**9, segment_id, offset)
    assert record[20:24].hex() == crc
    assert record.hex() == "e7b50200030000000700000000ca9a3b00000000" + crc + "0102030000000000"


def test_the_seed_is_the_one_on_the_page():
    assert record_seed(SEGMENT, 128) == 0x5F3F5A9C


def header(**changes):
    fields = {
        "journal_id": bytes(16),
        "segment_id": SEGMENT,
        "ordinal": 42,
        "flags": 1,
        "previous_id": NEXT_SEGMENT,
        "previous_end": 4096,
        "utc_ns": 1_789_376_582_000_000_000,
        "host_ns": -5,
        "boot_hash": 2**64 - 1,
    }
    return SegmentHeader(**fields | changes)


def test_a_header_reads_back():
    packed = header().pack()
    assert len(packed) == HEADER_LEN
    assert packed[:8] == b"BERMJRN1"
    assert packed[104:124] == bytes(20)
    assert SegmentHeader.unpack(packed) == header()
    assert header().is_rehearsal


def test_the_worked_bytes_of_the_page_are_what_the_code_writes():
    """Header, record, MARK and PAD of JOURNAL.md behind each other, to the last byte before 4096."""
    page = Path(__file__).resolve().parents[2] / "daq" / "journal" / "JOURNAL.md"
    rows = [
        line.split("(")[0].split()[1:]
        for line in page.read_text(encoding="utf-8").splitlines()
        if line[:3].strip().isdecimal() and line[3:5] == "  "
    ]
    shown = bytes.fromhex("".join("".join(row) for row in rows))
    head = header(
        journal_id=bytes(range(0xA0, 0xB0)), host_ns=10**9, boot_hash=0x0123456789ABCDEF
    ).pack()
    data = head + encode_record(2, b"\x01\x02\x03", 7, 10**9, SEGMENT, 128)
    mark = Mark(0, 8, 1_000_000, 4000, sha256(data).digest()).pack()
    data += encode_record(1, mark, 8, 1_050_000_000, SEGMENT, len(data))
    length = pad_length(len(data))
    data += encode_record(0, bytes(length), 8, 1_050_000_000, SEGMENT, len(data))
    assert length == 3824
    assert len(data) == BLOCK
    assert data.rstrip(b"\0") == shown.rstrip(b"\0")


def test_every_flipped_bit_of_a_header_is_seen():
    packed = header().pack()
    for bit in range(8 * HEADER_LEN):
        bad = bytearray(packed)
        bad[bit // 8] ^= 1 << bit % 8
        with pytest.raises(ValueError, match="header"):
            SegmentHeader.unpack(bytes(bad))


def test_a_header_of_another_version_or_length_is_refused_in_words():
    packed = bytearray(header().pack())
    packed[8] = 2
    packed[124:] = crc32(packed[:124]).to_bytes(4, "little")
    with pytest.raises(ValueError, match="version 2, this reader knows 1"):
        SegmentHeader.unpack(bytes(packed))
    with pytest.raises(ValueError, match="there are 10"):
        SegmentHeader.unpack(bytes(10))


def test_names_carry_ordinal_and_identity():
    name = segment_name(42, bytes.fromhex("1f9c03aa") + bytes(12))
    assert name == "00000042-1f9c03aa.berm"
    assert ordinal_of(name) == 42
    for other in ("42-1f9c03aa.berm", "00000042-1f9c03aa.part", "hashes.sha256", ""):
        assert ordinal_of(other) is None


def test_mark_and_seal_read_back_and_refuse_other_lengths():
    mark = Mark(128, 9, 2**63, 7, bytes(range(32)))
    seal = Seal(9, 43, 4096, bytes(range(32)))
    assert len(mark.pack()) == 60
    assert len(seal.pack()) == 48
    assert Mark.unpack(mark.pack()) == mark
    assert Seal.unpack(seal.pack()) == seal
    with pytest.raises(ValueError, match="60 bytes, got 0"):
        Mark.unpack(b"")
    with pytest.raises(ValueError, match="48 bytes, got 60"):
        Seal.unpack(mark.pack())


def test_a_pad_ends_on_a_block_boundary():
    for offset in range(128, 3 * BLOCK, 8):
        length = pad_length(offset)
        end = offset if length is None else offset + padded(length)
        assert end % BLOCK == 0
        assert 0 <= end - offset < BLOCK + RECORD_HEAD_LEN
    assert pad_length(BLOCK - 16) == 16 + BLOCK - RECORD_HEAD_LEN


def test_a_body_over_one_mebibyte_is_refused():
    with pytest.raises(ValueError, match="at most 1048576"):
        encode_record(2, bytes(MAX_BODY + 1), 1, 0, SEGMENT, 128)


@given(
    st.integers(0, 255),
    st.binary(max_size=60),
    st.integers(0, 2**32 - 1),
    st.integers(-(2**63), 2**63 - 1),
    st.integers(0, 255),
)
def test_any_record_head_reads_back(kind, body, seq, host_ns, flags):
    record = encode_record(kind, body, seq, host_ns, SEGMENT, 128, flags)
    head = decode_head(record)
    assert head is not None
    assert head[:5] == (kind, flags, len(body), seq, host_ns)
    assert len(record) == padded(len(body))
    assert len(record) % 8 == 0


@given(st.binary(max_size=40))
def test_any_bytes_make_a_head_or_none(data):
    head = decode_head(data)
    assert head is None or head.length <= MAX_BODY
