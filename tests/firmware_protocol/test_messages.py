"""Every message survives its own bytes, and nothing else is taken for it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_protocol.counts import pack_counts, unpack_counts
from firmware_protocol.framing import MAX_PAYLOAD
from firmware_protocol.messages import (
    BOARD_KINDS,
    HOST_KINDS,
    REASON_TEXT,
    ArmTake,
    BackfillData,
    ChannelLimits,
    Go,
    LimitsStage,
    Out,
    Reason,
    Released,
    Samples,
    place_value,
    rows_per_block,
    split_value,
)
from firmware_protocol.numbers import HOST_OUTPUTS, MAX_CHANNELS
from tests.firmware_protocol import examples

EVERY = examples.HOST_MESSAGES + examples.BOARD_MESSAGES


@pytest.mark.parametrize("message", EVERY, ids=lambda m: type(m).__name__)
def test_a_message_survives_its_own_bytes(message):
    payload = message.pack()
    assert type(message).unpack(payload) == message
    assert len(payload) <= MAX_PAYLOAD


@pytest.mark.parametrize("message", EVERY, ids=lambda m: type(m).__name__)
def test_any_other_length_is_refused(message):
    payload = message.pack()
    for wrong in (payload[:-1], payload + b"\0", b""):
        with pytest.raises(ValueError):
            type(message).unpack(wrong)


def test_there_is_an_example_of_every_kind():
    assert {m.KIND for m in examples.HOST_MESSAGES} == set(HOST_KINDS)
    assert {m.KIND for m in examples.BOARD_MESSAGES} == set(BOARD_KINDS)
    assert all(kind < 0x80 for kind in HOST_KINDS)
    assert all(kind >= 0x80 for kind in BOARD_KINDS)


@pytest.mark.parametrize("kind", [ArmTake, Go, Released])
def test_a_broken_complement_is_refused(kind):
    good = next(m for m in EVERY if isinstance(m, kind)).pack()
    at = len(good) - 1 if kind is Go else 4
    bad = bytearray(good)
    bad[at] ^= 1
    with pytest.raises(ValueError, match="complement"):
        kind.unpack(bytes(bad))


def test_the_longest_limits_fit_into_one_frame():
    channels = tuple(ChannelLimits(lo=0, hi=1) for _ in range(MAX_CHANNELS))
    fields = {n: getattr(examples.LIMITS, n) for n in LimitsStage.__slots__ if n != "channels"}
    assert len(LimitsStage(**fields, channels=channels).pack()) <= MAX_PAYLOAD


@pytest.mark.parametrize("channels", range(1, 9))
def test_a_full_block_fits_into_both_frames_that_carry_it(channels):
    rows = [(0,) * channels] * rows_per_block(channels)
    block = Samples.of(0, 0, 0, 250, rows)
    assert len(BackfillData(lost=0, block=block).pack()) <= MAX_PAYLOAD


@given(st.lists(st.integers(-0x800000, 0x7FFFFF)))
def test_counts_survive(counts):
    assert unpack_counts(pack_counts(counts)) == counts


def test_counts_outside_24_bits_are_held_at_the_ends():
    assert unpack_counts(pack_counts([2**40, -(2**40)])) == [0x7FFFFF, -0x800000]


@given(st.integers(0, 11), st.integers(-0x800000, 0x7FFFFF))
def test_channel_and_count_survive_in_one_event_value(channel, count):
    assert split_value(place_value(channel, count)) == (channel, count)
    assert -(2**31) <= place_value(channel, count) < 2**31


def test_rows_come_back_as_they_were():
    assert examples.SAMPLES.rows() == [(9876, 9880), (9877, -1), (0, 65535)]
    assert examples.LOST.rows() == []


def test_every_reason_has_a_sentence():
    assert set(REASON_TEXT) == set(Reason)
    assert all(text.endswith((".", "!")) and len(text) > 10 for text in REASON_TEXT.values())


def test_neither_the_fire_line_nor_the_pump_can_be_named_in_output():
    assert Out.PUMP not in HOST_OUTPUTS
    assert {out.name for out in Out} == {
        "SIREN",
        "LAMP_HORN",
        "DUMP",
        "PUMP",
        "SHUNT",
        "TEST_LOAD",
    }
