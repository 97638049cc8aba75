"""Replayed streams never energise; flipped frames never leave the board nearer to it (practice 3.14)."""

import os
import random
from itertools import combinations

import pytest

from firmware_protocol.framing import encode_frame
from firmware_protocol.messages import (
    ArmTake,
    BoardState,
    Go,
    Grip,
    Hello,
    Output,
    Ping,
    ProcedureKind,
    Safe,
    Selftest,
)
from tests.simulators.bench import Bench

PAIRS = int(os.environ.get("BERM_FLIP_PAIRS", "1500"))


def recorded_firing():
    """What a host sent from HELLO to the end of a pulse, with the key's moves between."""
    bench = Bench()
    bench.fire()
    bench.hold(1100)
    assert len(bench.energised_ticks) > 900
    return bench


def play(bench, sent, key_moves):
    """Feed a recorded stream in its own time; the key is moved when it was moved then."""
    start = bench.tick
    for tick, data in sent:
        while bench.tick - start < tick:
            bench.run(1)
            for at, level in key_moves:
                if bench.tick - start >= at:
                    bench.hal.key = level
        bench.board.receive(bench.tick, data)
    bench.run(300)


@pytest.mark.parametrize("with_hello", [True, False])
@pytest.mark.parametrize("where", ["same session", "new session", "restarted", "other board"])
def test_a_recorded_firing_replayed_never_energises(where, with_hello):
    record = recorded_firing()
    sent, moves = list(record.sent), list(record.key_moves)
    offers = record.board.core.challenges._counter
    bench = record
    if where == "other board":
        bench = Bench(uid=b"bench002")
    elif where == "restarted":
        bench.hal.key = False
        bench.board.power_on(bench.tick)
    elif where == "new session":
        bench.key(False)
        bench.hello()
    bench.key(False)
    bench.board.core.memory.clear_fired()  # even with the latch released
    live, drives = len(bench.energised_ticks), len(bench.hal.drives)
    play(bench, sent if with_hello else sent[1:], moves)
    if where in ("same session", "new session") and with_hello:
        assert bench.board.core.challenges._counter == offers + 1  # it came as far as an offer
    assert len(bench.energised_ticks) == live
    assert (True, True) not in bench.hal.drives[drives:]
    assert bench.board.state == BoardState.DISARMED


def test_a_recorded_go_replayed_in_a_new_arming_of_the_same_session_is_refused():
    record = recorded_firing()
    go = [data for _, data in record.sent if data[1] == Go.KIND]
    take = [data for _, data in record.sent if data[1] == ArmTake.KIND]
    grips = [data for _, data in record.sent if data[1] == Grip.KIND]
    record.key(False)
    record.board.core.memory.clear_fired()
    record.selftest()
    record.key(True)
    record.arm_ask()
    live = len(record.energised_ticks)
    for data in [*take, *grips, *go]:
        record.send_raw(data)
        record.run(10)
    assert record.board.state == BoardState.DISARMED
    record.arm_ask()
    record.arm_take()
    for data in [*take, *grips, *go]:
        record.send_raw(data)
        record.run(10)
    assert len(record.energised_ticks) == live


def before(kind):
    """A board one frame away from the step that `kind` takes, and that frame."""
    bench = Bench()
    if kind == ArmTake:
        bench.ready()
        bench.arm_ask()
        message = ArmTake(challenge=bench.challenge, limits_crc=bench.limits.crc)
        return bench, message
    procedure = ProcedureKind.PROOF if kind == Grip else ProcedureKind.FIRE
    bench.arm(procedure, **({"pulse_ms": 0} if kind == Grip else {}))
    if kind == Grip:
        return bench, Grip(challenge=bench.challenge, n=1, seen=bench.seen)
    bench.hold(1200)
    bench.grip()
    return bench, Go(
        challenge=bench.challenge,
        seen=bench.seen,
        limits_crc=bench.limits.crc,
        pulse_ms=bench.limits.pulse_ms,
    )


def condition(bench):
    core = bench.board.core
    grip = core.arming.grip.n if core.arming else None
    return core.state, grip, bench.hal.driven, core.offer is None


@pytest.mark.parametrize("kind", [ArmTake, Grip, Go])
@pytest.mark.parametrize("many", [1, 2])
def test_no_flip_of_one_or_two_bits_leaves_the_board_nearer(kind, many):
    bench, message = before(kind)
    frame = bench.host.send(message)
    start = condition(bench)
    flips = list(combinations(range(8 * len(frame)), many))
    if len(flips) > PAIRS:
        flips = random.Random(kind.KIND).sample(flips, PAIRS)
    for flip in flips:
        hurt = bytearray(frame)
        for bit in flip:
            hurt[bit // 8] ^= 1 << bit % 8
        bench.board.receive(bench.tick, bytes(hurt) + b"\0")
        assert condition(bench) == start, flip
    assert bench.board.core.rx_bad > 0
    bench.send_raw(frame)  # and the frame itself still does its work
    assert condition(bench) != start


def test_flipped_frames_in_a_live_pulse_do_not_prolong_it():
    bench = Bench()
    bench.fire()
    rng = random.Random(3)
    for n in range(300):
        frame = bytearray(
            bench.host.send(
                Grip(challenge=bench.challenge, n=bench.grip_n + 1 + n, seen=bench.seen)
            )
        )
        bit = rng.randrange(8 * (len(frame) - 1))
        frame[bit // 8] ^= 1 << bit % 8
        bench.send_raw(bytes(frame) + b"\0")
        bench.run(1)
    assert len(bench.energised_ticks) <= 201


@pytest.mark.parametrize("seed", range(3))
def test_any_bytes_into_an_armed_board_do_nothing(seed):
    rng = random.Random(seed)
    bench = Bench()
    bench.arm()
    for _ in range(400):
        bench.board.receive(bench.tick, rng.randbytes(rng.randrange(1, 80)))
    assert bench.board.state == BoardState.ARMED
    assert not bench.hal.driven
    bench.send_raw(b"\0")
    bench.send(Safe())
    assert bench.board.state == BoardState.DISARMED


def test_every_frame_of_an_old_session_is_counted_and_passed_over():
    bench = Bench()
    bench.hello()
    old = bench.host.session
    bench.arm()
    for message in (Ping(n=1), Selftest(what=0), Output(output=0, level=1)):
        bench.send_raw(encode_frame(message.KIND, 60_000, message.pack(), old))
    assert bench.board.core.ignored == 3
    assert bench.board.state == BoardState.ARMED
    assert not any(bench.hal.outs.values())


def test_a_frame_for_another_board_is_damage():
    bench, other = Bench(), Bench(uid=b"bench002")
    bench.hello()
    other.hello()
    bench.send_raw(other.host.send(Ping(n=1)))
    assert bench.board.core.link.bad_frames == 1


def test_a_session_begins_anew_with_each_hello():
    bench = Bench()
    seeds = set()
    for nonce in range(1, 6):
        bench.send(Hello(host_nonce=nonce))
        seeds.add(bench.board.core.link.session)
    assert len(seeds) == 5
