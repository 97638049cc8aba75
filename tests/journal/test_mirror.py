"""The second record: the same numbers on another medium, and no power over the first."""

import threading
import time

from daq.journal.files import RealFile, RealFs
from daq.journal.format import RecordType
from daq.journal.mirror import RETRY_S, Mirror
from daq.journal.recover import read_folder
from daq.journal.writer import JournalWriter
from tests.journal.disks import Bad, DyingFs, ManualClock, SteppedWriter, put_numbers, put_some


def pair(tmp_path, fs=None, first=None, **more):
    """A stepped writer with a mirror that is stepped too."""
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
    first = first or DyingFs(ManualClock())
    mirror = Mirror(tmp_path / "second", rehearsal=True, host_ns=first.clock, fs=fs, **more)
    writer = SteppedWriter(tmp_path / "first", first, mirror=mirror)
    writer.start()
    return writer, mirror


def finish(writer, mirror):
    mirror._stop.set()
    mirror._run()
    return writer


def test_both_records_hold_the_same_numbers_times_and_bytes(tmp_path):
    writer, mirror = pair(tmp_path, segment_s=100.0)
    for number in range(0, 60, 20):
        put_some(writer, number, 20)
        writer.put(RecordType.CONFIG, b'{"n":%d}' % number, number)
        writer.write()
        mirror.turn()
        writer.clock.step(101)
    finish(writer, mirror).close()
    one, two = read_folder(tmp_path / "first"), read_folder(tmp_path / "second")
    assert one.is_whole
    assert two.is_whole
    assert len(two.segments) > 1
    assert [r[2:5] for r in two.records] == [r[2:5] for r in one.records if r.seq < two.next_seq]
    heads = [s.records[0].kind for s in two.segments[1:]]
    assert set(heads) == {RecordType.CONFIG}


def test_when_the_first_disk_dies_the_second_goes_on_from_memory(tmp_path):
    first = DyingFs(ManualClock())
    writer, mirror = pair(tmp_path, first=first)
    put_some(writer, 0, 5)
    writer.write()
    writer.turn()
    first.always = Bad.EIO
    put_some(writer, 5, 5)
    for _ in range(3):
        writer.write()
        writer.turn()
    assert writer.state == "ram only"
    finish(writer, mirror)
    assert put_numbers(read_folder(tmp_path / "second").records) == list(range(10))


def test_a_medium_that_failed_gets_everything_again_in_a_new_segment(tmp_path):
    fs = DyingFs()
    writer, mirror = pair(tmp_path, fs=fs)
    put_some(writer, 0, 5)
    writer.write()
    mirror.turn()
    fs.always = Bad.EIO
    put_some(writer, 5, 5)
    writer.write()
    mirror.turn()
    assert mirror.state == "failed"
    fs.always = None
    mirror.turn()
    assert mirror.state == "failed", "left alone for a while"
    writer.clock.step(RETRY_S + 1)
    mirror.turn()
    assert mirror.state == "running"
    finish(writer, mirror).close()
    assert put_numbers(read_folder(tmp_path / "second").records) == list(range(10))
    assert read_folder(tmp_path / "first").is_whole


def test_a_medium_that_was_pulled_never_becomes_a_folder_of_the_first_disk(tmp_path):
    writer, mirror = pair(tmp_path)
    (tmp_path / "second").rmdir()
    put_some(writer, 0, 5)
    writer.write()
    mirror.turn()
    assert mirror.state == "failed"
    assert "not there" in mirror.trouble[0]
    assert not (tmp_path / "second").exists()


def test_its_memory_is_bounded_and_what_it_let_go_is_counted(tmp_path):
    writer, mirror = pair(tmp_path, memory_bytes=300)
    put_some(writer, 0, 50)
    writer.write()
    finish(writer, mirror).close()
    numbers = put_numbers(read_folder(tmp_path / "second").records)
    assert numbers == list(range(mirror.dropped, 50))
    assert mirror.dropped > 0
    assert put_numbers(read_folder(tmp_path / "first").records) == list(range(50))


def test_a_hanging_medium_delays_neither_the_first_record_nor_its_close(tmp_path):
    for name in ("first", "second"):
        (tmp_path / name).mkdir()
    let_go = threading.Event()

    class Hanging(RealFile):
        def sync(self) -> None:
            let_go.wait(20.0)

    class HangingFs(RealFs):
        def create(self, path):
            return Hanging(path)

    mirror = Mirror(
        tmp_path / "second", rehearsal=True, host_ns=time.perf_counter_ns, fs=HangingFs()
    )
    writer = JournalWriter(tmp_path / "first", rehearsal=True, mirror=mirror)
    writer.start()
    writer.set_sync_period(0.05)
    worst = 0.0
    for number in range(300):
        begun = time.perf_counter()
        put_some(writer, number, 1)
        worst = max(worst, time.perf_counter() - begun)
        time.sleep(0.002)
    assert worst < 0.05
    assert writer.synced_ns_ago(time.perf_counter_ns()) < 1_000_000_000
    assert writer.state == "running"
    begun = time.perf_counter()
    assert writer.close()
    assert time.perf_counter() - begun < 5.0
    let_go.set()
    assert put_numbers(read_folder(tmp_path / "first").records) == list(range(300))
