"""What stands together in one read: SAFE and ABORT act first, each frame under the session before it."""

import pytest

from firmware_protocol.framing import MAX_ENCODED
from firmware_protocol.link import Damaged, Link, Received
from firmware_protocol.messages import (
    Abort,
    BoardState,
    Go,
    Hello,
    Out,
    Ping,
    Pong,
    Reason,
    Safe,
    Selftest,
)
from tests.simulators.bench import Bench
from tests.simulators.test_board_answers import gripped


def go_frame(bench):
    return bench.host.send(
        Go(
            challenge=bench.challenge,
            seen=bench.seen,
            limits_crc=bench.limits.crc,
            pulse_ms=bench.limits.pulse_ms,
        )
    )


@pytest.mark.parametrize("stop", [Safe(reason=1), Abort(reason=1)])
def test_a_stop_behind_a_go_in_one_read_acts_first(stop):
    bench = gripped()
    bench.send_raw(go_frame(bench) + bench.host.send(stop))
    bench.run(20)
    assert bench.energised_ticks == []
    assert bench.board.state is not BoardState.ARMED


def test_without_the_stop_the_same_go_energises():
    bench = gripped()
    bench.send_raw(go_frame(bench))
    bench.run(20)
    assert bench.energised_ticks


def test_a_frame_behind_a_hello_is_judged_under_the_new_session():
    bench = Bench()
    bench.hello()
    old = bench.host.send(Ping(n=77))
    bench.got.clear()
    bench.send_raw(bench.host.send(Hello(host_nonce=4711)) + old)
    bench.run(20)
    assert not [pong for pong in bench.of(Pong) if pong.n == 77]


def test_a_refused_set_of_limits_leaves_nothing_staged():
    bench = Bench()
    bench.hello()
    bench.load()
    bench.send(bench.limits)
    assert bench.board.core.limits.staged is not None
    bench.key(True)
    assert bench.ask(bench.limits) != Reason.OK
    assert bench.board.core.limits.staged is None


def test_a_self_test_that_is_broken_off_leaves_every_output_off():
    for ms in range(0, 900, 7):
        bench = Bench()
        bench.hello()
        bench.load()
        bench.send(Selftest(what=0))
        bench.run(ms)
        bench.send(Safe(reason=1))
        bench.run(10)
        assert not [out for out in (Out.SIREN, Out.LAMP_HORN) if bench.hal.outs[out]], ms


@pytest.mark.parametrize("cut", [1, 3, 100, MAX_ENCODED, MAX_ENCODED + 1, 700])
def test_junk_without_a_delimiter_is_one_bad_frame_however_it_is_cut(cut):
    link, host = Link("board"), Link("host")
    frame = host.send(Safe(reason=3)).lstrip(b"\0")
    data = b"\x55" * 600 + frame
    events = [e for at in range(0, len(data), cut) for e in link.receive(data[at : at + cut])]
    assert [type(event) for event in events] == [Damaged]
    after = link.receive(host.send(Safe(reason=4)))
    assert [type(event) for event in after] == [Received]
