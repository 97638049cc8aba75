"""Any bytes in: no exception, no message that was not sent, resync within one frame."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_protocol.framing import encode_frame
from firmware_protocol.link import (
    Damaged,
    Link,
    OldSession,
    Received,
    SeqGap,
    UnknownKind,
)
from firmware_protocol.messages import (
    Abort,
    Grip,
    Hello,
    Identity,
    Ping,
    Pong,
    Safe,
    Status,
)
from firmware_protocol.session import session_seed
from tests.firmware_protocol import examples

SEED = session_seed(examples.UID, examples.BOOT, examples.HOST)


def pair():
    """A host and a board that have agreed on a session."""
    host, board = Link("host"), Link("board")
    host.send(Hello(host_nonce=examples.HOST))
    host.receive(board.send(examples.IDENTITY))
    board.set_session(SEED)
    return host, board


def stream(sender, messages):
    return b"".join(sender.send(message) for message in messages)


def messages(events):
    return [event.message for event in events if isinstance(event, Received)]


HOST_SAYS = [*examples.HOST_MESSAGES[1:], examples.HOST_MESSAGES[0]]  # HELLO ends the session
BOARD_SAYS = [m for m in examples.BOARD_MESSAGES if not isinstance(m, Identity)]


def feeds(data, junk):
    """The same bytes whole, one by one, in random cuts."""
    rng = random.Random(5)
    yield [data]
    yield [data[at : at + 1] for at in range(len(data))]
    cuts = sorted(rng.randrange(len(data)) for _ in range(20))
    yield [data[a:b] for a, b in zip([0, *cuts], [*cuts, len(data)], strict=True)]
    yield [junk + b"\0", data, junk]


@pytest.mark.parametrize("way", range(4))
@pytest.mark.parametrize("side", ["host", "board"])
def test_every_message_arrives_however_the_bytes_are_cut(side, way):
    host, board = pair()
    sender, receiver = (board, host) if side == "host" else (host, board)
    said = BOARD_SAYS if side == "host" else HOST_SAYS
    feed = list(feeds(stream(sender, said), b"\x07junk\xff"))[way]
    events = [event for chunk in feed for event in receiver.receive(chunk)]
    assert messages(events) == said


@pytest.mark.parametrize("at", range(len(BOARD_SAYS)))
def test_junk_between_frames_costs_no_frame(at):
    host, board = pair()
    data = [board.send(message) for message in BOARD_SAYS]
    data.insert(at, b"\x01\x02noise\0")
    events = host.receive(b"".join(data))
    assert messages(events) == BOARD_SAYS
    assert sum(isinstance(e, Damaged) for e in events) == 1


def test_a_broken_frame_costs_at_most_itself_and_its_neighbour():
    host, board = pair()
    frames = [board.send(message) for message in BOARD_SAYS]
    for at in range(len(frames[1])):
        host, board = pair()
        frames = [board.send(message) for message in BOARD_SAYS]
        hurt = bytearray(frames[1])
        hurt[at] ^= 0x41
        got = messages(host.receive(b"".join([frames[0], bytes(hurt), *frames[2:]])))
        assert got in (
            [BOARD_SAYS[0], *BOARD_SAYS[2:]],
            [BOARD_SAYS[0], *BOARD_SAYS[3:]],
        )


@given(st.binary(max_size=700), st.integers(1, 60))
@settings(max_examples=200)
def test_any_bytes_give_no_exception_and_no_message(data, cut):
    host, _ = pair()
    for at in range(0, len(data), cut):
        assert not messages(host.receive(data[at : at + cut]))


@given(st.binary(max_size=600))
def test_after_any_bytes_the_next_frame_but_one_is_read(data):
    host, board = pair()
    host.receive(data)
    first, second = board.send(Pong(n=1, tick=2)), board.send(Pong(n=2, tick=3))
    got = messages(host.receive(first + second))
    assert got[-1] == Pong(n=2, tick=3)


def test_memory_stays_bounded_without_a_delimiter():
    host, board = pair()
    for _ in range(100):
        host.receive(b"\x55" * 100)
    assert len(host._tail) <= 254
    assert messages(host.receive(b"\0" + board.send(Pong(n=1, tick=1))))


def test_a_frame_of_a_former_session_is_reported_and_never_acted_on():
    host, board = pair()
    old = host.send(Grip(challenge=1, n=1, seen=1))
    board.set_session(SEED ^ 0x1234)
    assert board.receive(old) == [OldSession(Grip.KIND, 1)]


@pytest.mark.parametrize("stop", [Safe(reason=4), Abort(reason=4)])
def test_safe_and_abort_count_from_any_session_and_from_none(stop):
    """Invariant 3."""
    for seed in (0, SEED, SEED ^ 0x1234):
        _, board = pair()
        board.set_session(SEED ^ 0x1234)
        wire = encode_frame(stop.KIND, 999, stop.pack(), seed)
        assert messages(board.receive(wire)) == [stop]
    fresh = Link("board")
    assert messages(fresh.receive(Link("host").send(stop))) == [stop]


def test_half_a_frame_before_it_cannot_swallow_safe():
    host, board = pair()
    half = host.send(Ping(n=1))[:6]
    assert messages(board.receive(half + host.send(Safe()))) == [Safe()]


def test_nothing_but_the_four_kinds_verifies_under_seed_zero():
    for message in examples.HOST_MESSAGES:
        wire = encode_frame(message.KIND, 1, message.pack(), 0)
        accepted = bool(messages(Link("board").receive(wire)))
        assert accepted == isinstance(message, Hello | Safe | Abort)


def test_an_unknown_kind_is_skipped_and_reported():
    host, board = pair()
    wire = encode_frame(0xF0, 1, b"new", SEED) + board.send(Pong(n=1, tick=1))
    events = host.receive(wire)
    assert UnknownKind(0xF0, 1) in events
    assert messages(events) == [Pong(n=1, tick=1)]


def test_a_jump_in_the_numbers_is_reported():
    host, board = pair()
    host.receive(board.send(Pong(n=1, tick=1)))
    board.send(Pong(n=2, tick=2))
    assert host.receive(board.send(Pong(n=3, tick=3)))[0] == SeqGap(2, 3)


def test_numbers_wrap_without_a_gap():
    host, board = pair()
    board.next_seq = 0xFFFF
    host._expected = 0xFFFF
    for n in range(3):
        assert len(host.receive(board.send(Pong(n=n, tick=n)))) == 1


def test_a_host_follows_only_the_answer_to_its_own_hello():
    host, board = Link("host"), Link("board")
    host.receive(board.send(examples.IDENTITY))
    assert host.session is None
    host.send(Hello(host_nonce=examples.HOST))
    host.receive(board.send(examples.IDENTITY))
    assert host.session == SEED


def test_from_hello_to_its_answer_no_session_is_open():
    host, board = pair()
    late = board.send(Pong(n=1, tick=1))
    host.send(Hello(host_nonce=5))
    assert host.send(Ping(n=1)) == b""
    assert isinstance(host.receive(late)[0], OldSession)


def test_a_reader_follows_every_identity():
    _, board = pair()
    reader = Link("host", reader=True)
    data = board.send(examples.IDENTITY) + board.send(examples.STATUS)
    assert messages(reader.receive(data))[1] == examples.STATUS


def test_a_board_that_restarted_has_no_session_and_the_host_falls_silent():
    host, board = pair()
    fields = {n: getattr(examples.IDENTITY, n) for n in Identity.__slots__}
    host.receive(board.send(Identity(**{**fields, "host_nonce": 0})))
    assert host.session is None
    assert host.send(Ping(n=1)) == b""
    assert host.send(Safe())


def test_a_right_check_over_a_wrong_payload_is_damage():
    host, _ = pair()
    events = host.receive(encode_frame(Status.KIND, 1, b"\x01", SEED))
    assert isinstance(events[-1], Damaged)
    assert "82" in events[-1].reason
    assert host.bad_frames == 1
