"""The writer: nothing synced is ever lost, nothing is invented, `put` never waits."""

import json
import os
import signal
import subprocess
import sys
import time
from hashlib import sha256
from itertools import product
from pathlib import Path
from random import Random
from threading import Event, Thread

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.errors import JournalError
from daq.journal.files import RealFs
from daq.journal.format import BLOCK, MAX_BODY, Mark, RecordFlag, RecordType, Seal
from daq.journal.held import Held, joined
from daq.journal.recover import end_of, read_folder, read_segment
from daq.journal.writer import FAST_SYNC_S, JournalWriter
from tests.journal.disks import (
    CAMPAIGN,
    Bad,
    DyingFs,
    ManualClock,
    SteppedWriter,
    put_numbers,
    put_some,
)


def test_marks_sum_up_the_bytes_and_pads_end_on_blocks(small_segment):
    reading = read_segment(small_segment)
    marks = [r for r in reading.records if r.kind == RecordType.MARK]
    assert len(marks) >= 2
    before = 0
    for record in marks:
        mark = Mark.unpack(record.body)
        assert mark.previous == before
        assert mark.digest == sha256(small_segment[before : record.offset]).digest()
        before = record.offset
    pads = [r for r in reading.records if r.kind == RecordType.PAD]
    assert pads
    assert all(end_of(pad) % BLOCK == 0 for pad in pads)
    seal = Seal.unpack(reading.records[-1].body)
    at = reading.records[-1].offset
    assert seal == Seal(24, 1, at, sha256(small_segment[:at]).digest())


def test_a_mark_carries_the_newest_sample(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    writer.note_sample(123_456, 789)
    put_some(writer, 0, 3)
    writer.turn()
    data = next(tmp_path.iterdir()).read_bytes()
    marks = [r for r in read_segment(data).records if r.kind == RecordType.MARK]
    mark = Mark.unpack(marks[-1].body)
    assert (mark.tick, mark.first_index, mark.next_seq) == (123_456, 789, 4)


def test_a_quiet_journal_does_not_grow(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    offset = writer.written_offset
    for _ in range(5):
        writer.write()
        writer.turn()
    assert writer.written_offset == offset
    assert writer.synced_ns_ago(writer.clock()) <= 1_000_000


def test_wire_bytes_of_ten_milliseconds_are_joined_and_nothing_else_is():
    rx, tx, fact = RecordType.RX, RecordType.TX, RecordType.FACT
    ms = 1_000_000
    items = [
        (rx, b"a", 0),
        (rx, b"b", 9 * ms),
        (rx, b"c", 10 * ms),
        (tx, b"d", 11 * ms),
        (tx, b"e", 12 * ms),
        (fact, b"f", 12 * ms),
        (fact, b"g", 12 * ms),
        (rx, b"h", 5 * ms),
        (rx, b"i", 4 * ms),
    ]
    assert joined(items) == [
        (rx, b"ab", 0),
        (rx, b"c", 10 * ms),
        (tx, b"de", 11 * ms),
        (fact, b"f", 12 * ms),
        (fact, b"g", 12 * ms),
        (rx, b"h", 5 * ms),
        (rx, b"i", 4 * ms),
    ]
    large = bytes(60_000)
    assert len(joined([(rx, large, 0), (rx, large, 0)])) == 2


def test_memory_is_bounded_and_drops_streams_before_facts():
    held = Held(memory_bytes=1000)
    for number in range(100):
        held.number(RecordType.FACT if number % 10 == 0 else RecordType.RX, bytes(30), 0)
    assert held.nbytes <= 1000 + 30
    assert [r.seq for r in held if r.kind == RecordType.FACT] == list(range(1, 101, 10))
    assert held.dropped + len(held) == 100


# -- segments ---------------------------------------------------------------------------------------


def test_a_full_or_old_segment_is_closed_and_the_next_begins_with_the_config(tmp_path):
    writer = SteppedWriter(tmp_path, segment_bytes=20_000, segment_s=600)
    writer.start()
    writer.put(RecordType.CONFIG, b'{"latch":"CLOSED"}', 0)
    put_some(writer, 0, 500)
    writer.turn()
    writer.carry(RecordType.CONFIG, b'{"latch":"OPEN"}')
    put_some(writer, 500, 10)
    writer.turn()
    writer.clock.step(601)
    writer.turn()
    writer.close()
    reading = read_folder(tmp_path)
    assert reading.is_whole
    assert len(reading.segments) == 3
    assert all(segment.seal for segment in reading.segments)
    heads = [next(r for r in s.records if r.is_content) for s in reading.segments]
    assert [r.body for r in heads] == [
        b'{"latch":"CLOSED"}',
        b'{"latch":"CLOSED"}',
        b'{"latch":"OPEN"}',
    ]
    assert [r.flags for r in heads] == [0, RecordFlag.CARRIED, RecordFlag.CARRIED]
    assert put_numbers(reading.records) == list(range(510))


def test_in_the_burn_only_a_full_segment_is_changed(tmp_path):
    writer = SteppedWriter(tmp_path, segment_bytes=20_000, segment_s=600)
    writer.start()
    writer.set_may_rotate(False)
    writer.clock.step(3600)
    put_some(writer, 0, 5)
    writer.turn()
    assert len(list(tmp_path.iterdir())) == 1
    put_some(writer, 5, 500)
    writer.turn()
    assert len(list(tmp_path.iterdir())) == 2
    writer.clock.step(3600)
    writer.set_may_rotate(True)
    writer.turn()
    assert len(list(tmp_path.iterdir())) == 3


def test_a_rehearsal_never_goes_on_in_a_real_journal(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    writer.close()
    real = JournalWriter(tmp_path, rehearsal=False)
    with pytest.raises(
        JournalError, match="holds the journal of a rehearsal, expected one of a real"
    ):
        real.start()


def test_a_start_behind_a_torn_end_says_so_and_goes_on_behind_the_last_number(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    put_some(writer, 0, 5)
    writer.turn()
    (path,) = tmp_path.iterdir()
    path.write_bytes(path.read_bytes() + b"torn")
    writer = SteppedWriter(tmp_path)
    writer.start()
    put_some(writer, 5, 5)
    writer.close()
    reading = read_folder(tmp_path)
    assert put_numbers(reading.records) == list(range(10))
    assert reading.missing == ()
    (loss,) = reading.of_kind(RecordType.LOSS)
    assert loss.json()["loss"] == [f"{path.name} was not closed; 4 torn bytes"]


def test_a_start_behind_an_unreadable_segment_uses_the_next_ordinal(tmp_path):
    (tmp_path / "00000007-deadbeef.berm").write_bytes(b"rubbish")
    writer = SteppedWriter(tmp_path)
    writer.start()
    assert writer.segment_name.startswith("00000008-")


def test_a_journal_whose_numbers_are_used_up_is_refused(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    writer._held.next_seq = 0xF000_0001
    put_some(writer, 0, 1)
    writer.close()
    with pytest.raises(JournalError, match="used up"):
        SteppedWriter(tmp_path).start()


def test_a_body_over_one_mebibyte_is_refused_at_once(tmp_path):
    writer = SteppedWriter(tmp_path)
    with pytest.raises(ValueError, match="at most"):
        writer.put(RecordType.FACT, bytes(MAX_BODY + 1), 0)


# -- failing disks ----------------------------------------------------------------------------------


def run_with(folder: Path, fs: DyingFs) -> SteppedWriter:
    """A fixed course of events: 4 rounds of records, writes and syncs; 40 records in all."""
    writer = SteppedWriter(folder, fs)
    writer.start()
    for first in range(0, 40, 10):
        put_some(writer, first, 5)
        writer.write()
        put_some(writer, first + 5, 5)
        writer.write()
        writer.turn()
        writer.turn()
        check_synced(folder, writer)
    return writer


def check_synced(folder: Path, writer: JournalWriter) -> None:
    """Everything acknowledged as synced is there, each number once."""
    reading = read_folder(folder)
    seqs = [record.seq for record in reading.records]
    assert len(set(seqs)) == len(seqs)
    assert set(range(1, writer.synced_to.seq)) <= set(seqs)


@pytest.fixture(scope="module")
def healthy_calls(tmp_path_factory):
    fs = DyingFs(ManualClock())
    writer = run_with(tmp_path_factory.mktemp("healthy"), fs)
    assert writer.close()
    return dict(fs.calls)


def test_each_write_failing_once_loses_nothing(tmp_path, healthy_calls):
    """Each of them: short, torn, input/output error, no space, slow."""
    for number, bad in product(range(healthy_calls["write"]), Bad):
        check_one_fault(tmp_path / f"write-{number}-{bad.name}", {("write", number): bad}, bad)


@pytest.mark.parametrize("call", ["sync", "create", "folder"])
def test_each_sync_or_new_file_failing_once_loses_nothing(tmp_path, healthy_calls, call):
    for number, bad in product(range(healthy_calls[call]), (Bad.EIO, Bad.SLOW)):
        check_one_fault(tmp_path / f"{call}-{number}-{bad.name}", {(call, number): bad}, bad)


def check_one_fault(folder: Path, plan, bad: Bad) -> None:
    fs = DyingFs(ManualClock(), plan)
    writer = run_with(folder, fs)
    hurts = bad not in (Bad.SHORT, Bad.SLOW)
    told_before_close = writer.trouble
    assert writer.close(), plan
    assert bool(writer.trouble) == hurts
    reading = read_folder(folder)
    assert put_numbers(reading.records) == list(range(40)), plan
    assert reading.missing == ()
    assert reading.conflicts == ()
    check_synced(folder, writer)
    if not hurts:
        assert reading.is_whole
    losses = [text for loss in reading.of_kind(RecordType.LOSS) for text in loss.json()["loss"]]
    assert set(told_before_close) <= set(losses)


def test_a_failing_sync_is_never_repeated_on_the_same_file(tmp_path):
    """What a failed sync leaves in the file is unknown: the next one proves nothing about it."""
    fs = DyingFs(ManualClock(), {("sync", 3): Bad.EIO})
    writer = SteppedWriter(tmp_path, fs)
    writer.start()
    put_some(writer, 0, 5)
    writer.turn()
    first = fs.files[0]
    synced = first.synced
    put_some(writer, 5, 5)
    while not writer.trouble:
        put_some(writer, 100, 1)
        writer.turn()
    assert not first.is_open
    assert writer.state == "suspect"
    writer.turn()
    assert len(fs.files) == 2
    assert first.synced >= synced
    (loss,) = read_folder(tmp_path).of_kind(RecordType.LOSS)
    assert loss.json()["repeated"] >= 1


def test_a_second_failure_leaves_the_record_in_memory_and_says_so(tmp_path):
    """Practice section 9, row 8: disk full or stick pulled; loud, and everything else goes on."""
    fs = DyingFs(ManualClock())
    writer = SteppedWriter(tmp_path / "journal", fs)
    writer.start()
    put_some(writer, 0, 10)
    writer.turn()
    assert writer.state == "running"
    assert writer.free_min == 100.0
    fs.always = Bad.ENOSPC
    put_some(writer, 10, 10)
    for _ in range(4):
        writer.write()
        writer.turn()
    assert writer.state == "ram only"
    assert writer.segment_name == ""
    assert writer.held_bytes > 0
    assert "no space" in writer.trouble[0]
    put_some(writer, 20, 10)
    writer.clock.step(6)
    writer.turn()
    assert writer.free_bytes == 0
    check_synced(tmp_path / "journal", writer)
    assert put_numbers(read_folder(tmp_path / "journal").records) == list(range(10))

    fs.always = None
    saved = tmp_path / "stick"
    assert writer.save_held(saved) >= 20
    assert put_numbers(read_folder(saved).records) == list(range(10, 30))

    writer.clock.step(400)
    writer.turn()
    assert writer.state == "suspect"
    for _ in range(70):
        writer.clock.step(1)
        writer.turn()
    assert writer.state == "running"
    assert writer.close()
    reading = read_folder(tmp_path / "journal")
    assert put_numbers(reading.records) == list(range(30))
    assert reading.missing == ()
    assert reading.conflicts == ()


def test_a_dead_disk_is_tried_ever_more_seldom(tmp_path):
    fs = DyingFs(ManualClock(), always=Bad.EIO)
    writer = SteppedWriter(tmp_path, fs)
    writer.start()
    for _ in range(3600):
        writer.clock.step(1)
        writer.turn()
    assert 10 <= len(writer.trouble) <= 25
    assert writer.state == "ram only"
    assert writer.free_bytes is None
    assert writer.free_min is None


def test_a_disk_that_refuses_at_the_start_does_not_stop_the_engine(tmp_path):
    fs = DyingFs(ManualClock(), {("create", 0): Bad.EIO})
    writer = SteppedWriter(tmp_path, fs)
    writer.start()
    put_some(writer, 0, 3)
    assert writer.state == "suspect"
    writer.turn()
    assert writer.close()
    assert put_numbers(read_folder(tmp_path).records) == [0, 1, 2]


def test_a_slow_sync_makes_the_recorder_suspect_only_while_it_is_late(tmp_path):
    fs = DyingFs(ManualClock())
    writer = SteppedWriter(tmp_path, fs)
    writer.start()
    writer.set_sync_period(FAST_SYNC_S)
    writer.clock.step(1.2)
    assert writer.state == "suspect"
    assert writer.synced_ns_ago(writer.clock()) == 1_200_000_000
    writer.turn()
    assert writer.state == "running"


steps = st.lists(
    st.one_of(
        st.tuples(st.just("put"), st.integers(1, 6)),
        st.tuples(st.just("write"), st.just(0)),
        st.tuples(st.just("turn"), st.just(0)),
        st.tuples(st.just("wait"), st.integers(1, 400)),
        st.tuples(st.just("rotate"), st.just(0)),
    ),
    max_size=40,
)
faults = st.dictionaries(
    st.tuples(st.sampled_from(["write", "sync", "create", "folder"]), st.integers(0, 30)),
    st.sampled_from(list(Bad)),
    max_size=6,
)


@settings(max_examples=120 * CAMPAIGN, deadline=None)
@given(steps, faults, st.integers(0, 2**32))
def test_any_course_any_faults_then_a_power_cut_keeps_what_was_synced(
    tmp_path_factory, course, plan, seed
):
    folder = tmp_path_factory.mktemp("cut")
    fs = DyingFs(ManualClock(), plan)
    writer = SteppedWriter(folder, fs, segment_s=100)
    writer.start()
    count = 0
    for what, amount in course:
        if what == "put":
            put_some(writer, count, amount)
            count += amount
        elif what == "wait":
            writer.clock.step(amount)
        elif what == "rotate":
            writer.clock.step(101)
            writer.turn()
        else:
            getattr(writer, what)()
    acknowledged = writer.synced_to.seq
    for file in fs.files:
        if file.is_open:
            file.close()
    fs.power_cut(Random(seed))
    reading = read_folder(folder)
    seqs = {record.seq for record in reading.records}
    assert set(range(1, acknowledged)) <= seqs
    numbers = put_numbers(reading.records)
    assert numbers == sorted(numbers)
    assert len(set(numbers)) == len(numbers)
    assert set(numbers) <= set(range(count))
    assert reading.conflicts == ()

    again = SteppedWriter(folder)
    again.start()
    put_some(again, count, 3)
    assert again.close()
    reading = read_folder(folder)
    assert put_numbers(reading.records) == [*numbers, count, count + 1, count + 2]
    assert reading.conflicts == ()


# -- threads ----------------------------------------------------------------------------------------


def test_threads_write_sync_and_close(tmp_path):
    writer = JournalWriter(tmp_path, rehearsal=True, boot_id="a-boot")
    writer.start()
    writer.set_sync_period(FAST_SYNC_S)
    put_some(writer, 0, 50)
    deadline = time.monotonic() + 5
    while writer.synced_to.seq < 51 and time.monotonic() < deadline:
        time.sleep(0.01)
    assert writer.synced_to.seq == 51
    assert writer.state == "running"
    assert writer.queued_s < 0.5
    assert writer.free_bytes > 0
    put_some(writer, 50, 50)
    assert writer.close()
    reading = read_folder(tmp_path)
    assert reading.is_whole
    assert put_numbers(reading.records) == list(range(100))
    assert writer.close()


class HangingFs(RealFs):
    """A disk whose second sync of data does not come back until it is let go."""

    def __init__(self) -> None:
        self.let_go = Event()
        self.hangs = Event()

    def create(self, path: Path):
        file = super().create(path)
        syncs = iter(range(10_000))
        sync = file.sync

        def slow_sync():
            if next(syncs) == 2:
                self.hangs.set()
                self.let_go.wait(10)
            sync()

        file.sync = slow_sync
        return file


def test_put_does_not_wait_for_a_hanging_disk(tmp_path):
    """The abort and everything else goes on while a sync hangs; the state says that it is late."""
    fs = HangingFs()
    writer = JournalWriter(tmp_path, rehearsal=True, fs=fs)
    writer.start()
    writer.set_sync_period(0.005)
    put_some(writer, 0, 1)
    assert fs.hangs.wait(5)
    slowest = 0.0
    for number in range(1, 2000):
        start = time.perf_counter()
        put_some(writer, number, 1)
        slowest = max(slowest, time.perf_counter() - start)
    assert slowest < 0.1
    assert writer.synced_to.seq < 2000
    fs.let_go.set()
    assert writer.close()
    assert put_numbers(read_folder(tmp_path).records) == list(range(2000))


def test_many_threads_may_put_at_once(tmp_path):
    writer = JournalWriter(tmp_path, rehearsal=True)
    writer.start()
    jobs = [Thread(target=put_some, args=(writer, first, 100)) for first in range(0, 800, 100)]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
    assert writer.close()
    assert sorted(put_numbers(read_folder(tmp_path).records)) == list(range(800))


CHILD = """
import sys, time
from pathlib import Path
from daq.journal.writer import JournalWriter
from tests.journal.disks import put_some
writer = JournalWriter(Path(sys.argv[1]), rehearsal=True, segment_bytes=60_000)
writer.start()
writer.set_sync_period(0.01)
number = int(sys.argv[2])
while True:
    put_some(writer, number, 3)
    number += 3
    print(writer.synced_to.seq, flush=True)
    time.sleep(0.001)
"""


def test_killing_the_writing_process_at_any_instant_loses_nothing_synced(tmp_path):
    """Five starts, each killed in the middle; the journal goes on and stays readable throughout."""
    chance = Random(8)
    first = 0
    root = Path(__file__).resolve().parents[2]
    for _ in range(5 * CAMPAIGN):
        child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(tmp_path), str(first)],
            cwd=root,
            stdout=subprocess.PIPE,
            text=True,
        )
        child.stdout.readline()
        time.sleep(chance.uniform(0.02, 0.25))
        os.kill(child.pid, signal.SIGKILL)
        said = [line for line in child.stdout.read().split("\n")[:-1] if line]
        child.wait()
        child.stdout.close()
        reading = read_folder(tmp_path)
        acknowledged = int(said[-1]) if said else 0
        assert set(range(1, acknowledged)) <= {record.seq for record in reading.records}
        numbers = put_numbers(reading.records)
        assert len(set(numbers)) == len(numbers)
        assert reading.missing == ()
        assert reading.lost == ()
        first = max(numbers, default=0) + 1000
    starts = [json.loads(r.body) for r in read_folder(tmp_path).of_kind(RecordType.LOSS)]
    assert len(starts) == 5 * CAMPAIGN - 1
