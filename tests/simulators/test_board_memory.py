"""What the board keeps: ring memory and back-fill, boot counter and fired latch."""

import pytest

from firmware_protocol.messages import (
    Backfill,
    BackfillData,
    Event,
    EventKind,
    Flag,
    Reason,
    Released,
    Samples,
)
from simulators.board_memory import Memory
from simulators.board_samples import BlockMaker, Ring
from tests.simulators.bench import FAST, LIT_AT, SLOW, SMALL, Bench


def rows_of(blocks):
    return {b.first_index + at: row for b in blocks for at, row in enumerate(b.rows())}


def test_back_fill_returns_exactly_what_was_streamed():
    bench = Bench()
    bench.hello()
    bench.run(1000)
    live = rows_of(bench.of(Samples))
    bench.ask(Backfill(group=0, first_index=300, count=400))
    bench.run(5)
    filled = rows_of([d.block for d in bench.of(BackfillData)])
    assert set(range(300, 700)) <= set(filled)
    assert all(live[index] == row for index, row in filled.items())
    assert not any(d.lost for d in bench.of(BackfillData))


def test_samples_of_a_time_without_cable_are_in_the_ring():
    bench = Bench()
    bench.hello()
    bench.run(200)
    bench.cable = False
    bench.run(500)
    bench.cable = True
    bench.run(100)
    have = set(rows_of(bench.of(Samples)))
    gap = sorted(set(range(max(have))) - have)
    assert len(gap) >= 490
    bench.ask(Backfill(group=0, first_index=gap[0], count=gap[-1] - gap[0] + 1))
    bench.run(5)
    assert set(gap) <= set(rows_of([d.block for d in bench.of(BackfillData)]))


def test_what_the_ring_no_longer_holds_is_named_as_lost():
    bench = Bench(ring_bytes=3 * 2 * 500)
    bench.hello()
    bench.run(2000)
    bench.ask(Backfill(group=0, first_index=0, count=2000))
    bench.run(5)
    answers = bench.of(BackfillData)
    lost = answers[0]
    assert lost.block.first_index == 0
    assert 1450 <= lost.lost <= 1600
    assert answers[1].block.first_index == lost.lost
    assert not any(a.lost for a in answers[1:])


def test_what_is_not_yet_converted_is_not_called_lost():
    bench = Bench()
    bench.hello()
    bench.run(100)
    bench.ask(Backfill(group=0, first_index=100_000, count=50))
    bench.run(5)
    assert not bench.of(BackfillData)


def test_the_ring_freezes_after_the_first_rise_and_until_released():
    bench = Bench(ring_bytes=3 * 2 * 6000)
    bench.fire()
    bench.counts = LIT_AT + 3000
    bench.run(500)
    bench.counts = 6800
    bench.run(4000)
    lit = bench.board.core.first_lit
    assert bench.events(EventKind.RING_FROZEN) == [3000]
    end = bench.board.core.rings[0].end
    bench.run(1000)
    assert bench.board.core.rings[0].end == end
    bench.ask(Backfill(group=0, first_index=0, count=100_000))
    bench.run(20)
    ticks = [d.block.tick for d in bench.of(BackfillData) if not d.lost]
    assert min(ticks) < lit - 1_000_000
    assert max(ticks) >= lit + 2_980_000
    bench.key(False)
    bench.ask(Released(run=1))
    bench.run(500)
    assert not bench.status.flags & Flag.RING_FROZEN
    assert bench.board.core.rings[0].end > end


def test_without_a_rise_the_ring_runs_on():
    bench = Bench()
    bench.fire()
    bench.hold(1000)
    bench.run(5000)
    assert not bench.board.core.rings[0].frozen


def test_a_skipped_slot_is_an_index_that_no_block_holds():
    maker = BlockMaker(0, FAST, 10_000)
    blocks = []
    for tick in [0, 250, 500, 1500, 1750, 3000]:
        blocks += maker.add(tick, (tick, 0)) or []
    blocks += maker.close()
    assert [(b.first_index, b.n, b.tick) for b in blocks] == [
        (0, 3, 0),
        (6, 2, 1500),
        (12, 1, 3000),
    ]


@pytest.mark.parametrize("spec", [FAST, SMALL, SLOW])
def test_every_sample_is_in_exactly_one_block_in_order(spec):
    maker = BlockMaker(0, spec, 10_000)
    blocks = []
    for n in range(1000):
        tick = n * spec.step
        blocks += maker.close_old(tick) + (maker.add(tick, (n,) * spec.channels) or [])
    blocks += maker.close()
    assert [row[0] for b in blocks for row in b.rows()] == list(range(1000))
    assert all(b.tick == b.first_index * spec.step for b in blocks)


def test_the_ring_shares_its_room_by_data_rate():
    bench = Bench(groups=(FAST, SLOW))
    fast, slow = bench.board.core.rings
    seconds = [r.capacity / (3 * r.spec.channels * r.spec.rate_hz) for r in (fast, slow)]
    assert seconds[0] == pytest.approx(seconds[1], rel=0.01)


def test_a_ring_never_holds_more_than_its_room():
    ring = Ring(0, SMALL, 600)
    for n in range(50):
        ring.keep(Samples.of(0, 10 * n, 0, 1000, [(n, n)] * 10))
        assert sum(len(b.data) for b in ring._blocks) <= 600


def nv():
    store = [b""]
    return store, lambda: Memory(lambda: store[0], lambda data: store.__setitem__(0, data))


def test_a_boot_nonce_never_comes_twice():
    _, power = nv()
    assert len({power().count_boot(7) for _ in range(300)}) == 300


def test_a_new_board_has_not_fired_and_a_latch_survives():
    _, power = nv()
    assert not power().fired
    memory = power()
    memory.count_boot(0)
    memory.set_fired()
    assert power().fired
    power().clear_fired()
    assert not power().fired


@pytest.mark.parametrize("at", range(24))
def test_a_torn_or_spoilt_memory_reads_as_fired(at):
    store, power = nv()
    memory = power()
    memory.count_boot(0)
    good = store[0]
    spoilt = bytearray(good)
    spoilt[at] ^= 0x20
    store[0] = bytes(spoilt)
    assert power().fired
    assert power().counter == 1
    store[0] = good[: max(at, 1)]
    assert power().fired


def test_only_the_last_32_events_are_kept_and_the_gap_shows():
    bench = Bench()
    bench.hello()
    for n in range(60):
        bench.board.core.events.add(bench.tick, EventKind.LINE_ON, n)
    bench.got.clear()
    bench.run(3000)
    numbers = sorted({e.number for e in bench.of(Event)})
    assert len(numbers) <= 40
    assert numbers[0] > 20


def test_unacknowledged_events_come_again_in_a_new_session():
    bench = Bench()
    bench.fire()
    bench.send_raw(b"")
    bench.got.clear()
    bench.hello()
    kinds = {e.kind for e in bench.of(Event)}
    assert {EventKind.BOOT, EventKind.GO, EventKind.DISARMED} <= kinds
    assert bench.events(EventKind.DISARMED) == [Reason.NEW_SESSION]
