"""Following live gives what recovery gives, in any interleaving; damage is passed, not waited for."""

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from daq.journal.follower import Follower, NumberRanges
from daq.journal.recover import end_of, read_folder, read_segment
from tests.journal.disks import (
    CAMPAIGN,
    Bad,
    DyingFs,
    ManualClock,
    SteppedWriter,
    put_numbers,
    put_some,
)


def test_records_come_as_they_are_written(tmp_path):
    follower = Follower(tmp_path / "journal")
    assert follower.poll() == []
    writer = SteppedWriter(tmp_path / "journal")
    writer.start()
    assert follower.poll() == []
    put_some(writer, 0, 3)
    assert follower.poll() == []
    writer.write()
    assert put_numbers(follower.poll()) == [0, 1, 2]
    assert follower.poll() == []
    assert follower.position == (writer.segment_name, writer.written_offset)
    writer.close()
    writer = SteppedWriter(tmp_path / "journal")
    writer.start()
    put_some(writer, 3, 2)
    writer.write()
    assert put_numbers(follower.poll()) == [3, 4]
    assert not follower.damage
    assert not follower.lost
    follower.close()


def test_it_can_begin_with_the_newest_segment(tmp_path):
    for first in (0, 5):
        writer = SteppedWriter(tmp_path)
        writer.start()
        put_some(writer, first, 5)
        writer.close()
    follower = Follower(tmp_path, newest=True)
    assert put_numbers(follower.poll()) == [5, 6, 7, 8, 9]
    assert not follower.lost
    follower.close()


def test_any_growth_of_the_file_is_followed_byte_by_byte(tmp_path, small_segment):
    path = tmp_path / "00000000-00000000.berm"
    follower = Follower(tmp_path)
    got = []
    with path.open("wb", buffering=0) as file:
        for at in range(0, len(small_segment), 3):
            file.write(small_segment[at : at + 3])
            got += follower.poll()
    assert put_numbers(got) == list(range(24))
    assert not follower.damage
    follower.close()


def test_what_does_not_verify_yet_is_tried_again(tmp_path, small_segment):
    """Blocks may reach a reader out of order: zeros first, the record later."""
    record = [r for r in read_segment(small_segment).records if r.is_content][5]
    path = tmp_path / "00000000-00000000.berm"
    hole = bytearray(small_segment)
    hole[record.offset : end_of(record)] = bytes(end_of(record) - record.offset)
    path.write_bytes(hole)
    follower = Follower(tmp_path)
    assert put_numbers(follower.poll()) == [0, 1, 2, 3, 4]
    assert follower.poll() == []
    path.write_bytes(small_segment)
    assert put_numbers(follower.poll()) == list(range(5, 24))
    assert not follower.damage
    follower.close()


def test_where_the_writer_has_synced_further_it_is_damage_and_reading_goes_on(
    tmp_path, small_segment
):
    records = read_segment(small_segment).records
    record = [r for r in records if r.is_content][5]
    path = tmp_path / "00000000-00000000.berm"
    bad = bytearray(small_segment)
    bad[record.offset + 25] ^= 1
    path.write_bytes(bad)
    follower = Follower(tmp_path)
    got = follower.poll((path.name, record.offset))
    assert put_numbers(got) == [0, 1, 2, 3, 4]
    assert not follower.damage
    got = follower.poll((path.name, len(small_segment)))
    assert put_numbers(got) == list(range(6, 24))
    (damage,) = follower.damage
    assert (damage.start, damage.end) == (record.offset, end_of(record))
    assert damage.missing == (record.seq, record.seq + 1)
    follower.close()


def test_a_torn_end_is_left_behind_when_a_later_segment_is_there(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    put_some(writer, 0, 4)
    writer.turn()
    (path,) = tmp_path.iterdir()
    with path.open("ab") as file:
        file.write(b"torn")
    follower = Follower(tmp_path)
    assert put_numbers(follower.poll()) == [0, 1, 2, 3]
    assert not follower.damage
    writer = SteppedWriter(tmp_path)
    writer.start()
    put_some(writer, 4, 4)
    writer.write()
    assert put_numbers(follower.poll()) == [4, 5, 6, 7]
    assert [d.nbytes for d in follower.damage] == [4]
    follower.close()


def test_a_segment_that_is_lost_or_absent_is_passed_and_said(tmp_path):
    for first in range(0, 20, 5):
        writer = SteppedWriter(tmp_path)
        writer.start()
        put_some(writer, first, 5)
        writer.close()
    files = sorted(tmp_path.iterdir())
    files[1].unlink()
    files[2].write_bytes(b"rubbish")
    follower = Follower(tmp_path)
    assert put_numbers(follower.poll()) == [*range(5), *range(15, 20)]
    assert sorted(follower.lost) == sorted(read_folder(tmp_path).lost)
    follower.close()


@settings(max_examples=100 * CAMPAIGN, deadline=None)
@given(
    st.lists(st.sampled_from(["put", "write", "turn", "poll", "age", "restart"]), max_size=50),
    st.dictionaries(
        st.tuples(st.sampled_from(["write", "sync"]), st.integers(0, 25)),
        st.sampled_from([Bad.TORN, Bad.EIO, Bad.SHORT]),
        max_size=4,
    ),
)
def test_in_any_interleaving_the_follower_equals_recovery(tmp_path_factory, course, plan):
    folder = tmp_path_factory.mktemp("follow")
    fs = DyingFs(ManualClock(), plan)
    follower = Follower(folder)
    writer = SteppedWriter(folder, fs, segment_s=100)
    writer.start()
    got, count = [], 0
    for what in course:
        if what == "put":
            put_some(writer, count, 3)
            count += 3
        elif what == "poll":
            got += follower.poll((writer.segment_name, writer.synced_to.offset))
        elif what == "age":
            writer.clock.step(101)
        elif what == "restart":
            writer.close()
            writer = SteppedWriter(folder, fs, segment_s=100)
            writer.start()
        else:
            getattr(writer, what)()
    writer.close()
    while more := follower.poll():
        got += more
    follower.close()
    reading = read_folder(folder)
    assert sorted(r.seq for r in got) == [r.seq for r in reading.records]
    assert sorted(put_numbers(got)) == put_numbers(reading.records)
    last = reading.segments[-1]  # its torn end may still be being written, for all a follower knows
    known = [d for d in reading.damage if (d.segment, d.end) != (last.name, last.length)]
    assert sorted(follower.damage) == sorted(known)


def test_number_ranges_know_what_they_have_seen():
    chance = Random(3)
    ranges, seen = NumberRanges(), set()
    for _ in range(3000):
        number = chance.randint(0, 400)
        assert ranges.add(number) == (number not in seen)
        seen.add(number)
    assert len(ranges._starts) <= 5
    assert ranges._starts == sorted(ranges._starts)


def test_a_long_segment_is_complete_after_many_polls(tmp_path, monkeypatch):
    monkeypatch.setattr("daq.journal.follower.CHUNK", 8192)
    writer = SteppedWriter(tmp_path)
    writer.start()
    put_some(writer, 0, 3000)
    writer.close()
    follower = Follower(tmp_path)
    got, polls = [], 0
    while more := follower.poll():
        got += more
        polls += 1
    follower.close()
    assert put_numbers(got) == list(range(3000))
    assert polls > 10
