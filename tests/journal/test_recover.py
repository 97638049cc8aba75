"""Any bytes in: no exception, no record that was not written, reading resumes behind the damage."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.errors import JournalError
from daq.journal.format import HEADER_LEN, RecordType, SegmentHeader, encode_record
from daq.journal.recover import end_of, read_folder, read_segment
from tests.journal.disks import CAMPAIGN, SteppedWriter, put_numbers, put_some


def test_a_segment_reads_back_what_was_put(small_segment):
    reading = read_segment(small_segment)
    assert put_numbers(reading.records) == list(range(24))
    assert not reading.damage
    assert reading.end == len(small_segment)
    assert reading.seal.records == 24
    assert {r.kind for r in reading.records} >= {0, 1, 11}


def test_any_truncation_gives_a_prefix_and_invents_nothing(small_segment):
    """Whatever a power cut leaves behind: all records that fit, and only those."""
    whole = read_segment(small_segment).records
    bodies_end = [record.offset + 24 + len(record.body) for record in whole]
    for cut in range(len(small_segment) + 1):
        reading = read_segment(small_segment[:cut])
        if cut < HEADER_LEN:
            assert reading.header is None
            continue
        fit = sum(end <= cut for end in bodies_end)
        assert reading.records == whole[:fit]
        torn = cut - min(reading.end, cut)
        assert sum(d.nbytes for d in reading.damage) == torn


def test_every_flipped_bit_is_seen_and_costs_one_record_at_most(small_segment):
    """Also bits of the filling between records. Practice 7.9: one flipped bit is found."""
    whole = read_segment(small_segment).records
    pads = [range(r.offset + 24, end_of(r)) for r in whole if r.kind == RecordType.PAD]
    for bit in range(8 * len(small_segment)):
        if bit % 37 and any(bit // 8 in pad for pad in pads):
            continue  # a sample of the padding is enough
        bad = bytearray(small_segment)
        bad[bit // 8] ^= 1 << bit % 8
        reading = read_segment(bytes(bad))
        if bit < 8 * HEADER_LEN:
            assert reading.header is None
            continue
        assert len(reading.damage) == 1, bit
        hit = [r for r in whole if r.offset <= bit // 8 < end_of(r)]
        lost = set(whole) - set(reading.records)
        assert lost <= set(hit)
        assert set(reading.records) <= set(whole)


def test_damage_names_its_bytes_and_the_numbers_lost(small_segment):
    second, third = [r for r in read_segment(small_segment).records if r.is_content][1:3]
    bad = bytearray(small_segment)
    bad[second.offset + 25] ^= 1
    (damage,) = read_segment(bytes(bad)).damage
    assert (damage.start, damage.end) == (second.offset, third.offset)
    assert damage.missing == (second.seq, third.seq)
    assert damage.why == "bytes that do not verify"


@pytest.mark.parametrize(
    ("tail", "why"),
    [(bytes(20_000), "zeros"), (Random(1).randbytes(20_000), "do not verify"), (b"\xe7", "do not")],
)
def test_a_tail_of_zeros_or_rubbish_is_reported_and_not_read(small_segment, tail, why):
    whole = read_segment(small_segment)
    reading = read_segment(small_segment + tail)
    assert reading.records == whole.records
    (damage,) = reading.damage
    assert (damage.start, damage.nbytes) == (len(small_segment), len(tail))
    assert why in damage.why


def test_a_record_moved_within_its_segment_is_not_read(small_segment):
    """A block the disk put in a wrong place verifies nowhere but at its own offset."""
    record = read_segment(small_segment).records[0]
    raw = small_segment[record.offset : end_of(record)]
    reading = read_segment(small_segment + raw)
    assert len(reading.damage) == 1
    assert put_numbers(reading.records) == list(range(24))


def test_a_type_from_the_future_is_kept(small_segment):
    header = SegmentHeader.unpack(small_segment)
    data = small_segment[:HEADER_LEN]
    data += encode_record(77, b"new", 1, 5, header.segment_id, HEADER_LEN)
    reading = read_segment(data)
    assert [(r.kind, r.body) for r in reading.records] == [(77, b"new")]
    assert reading.records[0].is_content


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_behind_a_header_are_survived(tail):
    header = SegmentHeader(bytes(16), bytes(16), 0, 0, bytes(16), 0, 0, 0, 0).pack()
    reading = read_segment(header + tail)
    assert not reading.records
    assert sum(d.nbytes for d in reading.damage) == len(tail)
    assert read_segment(tail).header is None


@settings(max_examples=60 * CAMPAIGN, deadline=None)
@given(st.data())
def test_any_overwritten_stretch_gives_only_what_was_written(small_segment_cache, data):
    whole = read_segment(small_segment_cache).records
    start = data.draw(st.integers(HEADER_LEN, len(small_segment_cache) - 1))
    patch = data.draw(st.binary(min_size=1, max_size=700))
    bad = small_segment_cache[:start] + patch + small_segment_cache[start + len(patch) :]
    reading = read_segment(bad)
    assert set(reading.records) <= set(whole)
    untouched = {r for r in whole if end_of(r) <= start or r.offset >= start + len(patch)}
    assert untouched <= set(reading.records)


@pytest.fixture(scope="module")
def small_segment_cache(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cache")
    writer = SteppedWriter(folder)
    writer.start()
    put_some(writer, 0, 30)
    writer.close()
    return next(folder.iterdir()).read_bytes()


# -- folders ----------------------------------------------------------------------------------------


@pytest.fixture
def four_segments(tmp_path):
    """A journal of four starts, 6 records each, and its files in order."""
    for first in range(0, 24, 6):
        writer = SteppedWriter(tmp_path / "journal")
        writer.start()
        put_some(writer, first, 6)
        assert writer.close()
    return sorted((tmp_path / "journal").iterdir())


def test_starts_continue_numbers_ordinals_and_identity(four_segments):
    reading = read_folder(four_segments[0].parent)
    assert reading.is_whole
    assert put_numbers(reading.records) == list(range(24))
    assert [r.seq for r in reading.records] == list(range(1, 25))
    headers = [s.header for s in reading.segments]
    assert [h.ordinal for h in headers] == [0, 1, 2, 3]
    assert len({h.journal_id for h in headers}) == 1
    assert [h.previous_id for h in headers[1:]] == [h.segment_id for h in headers[:-1]]
    assert [h.previous_end for h in headers[1:]] == [p.stat().st_size for p in four_segments[:-1]]


def test_a_site_folder_stands_for_its_journal(four_segments):
    assert read_folder(four_segments[0].parent.parent).is_whole


def test_only_the_newest_segments_can_be_read(four_segments):
    reading = read_folder(four_segments[0].parent, newest=2)
    assert put_numbers(reading.records) == list(range(12, 24))
    assert reading.is_whole


def test_a_missing_segment_is_named_with_its_numbers(four_segments):
    four_segments[1].unlink()
    reading = read_folder(four_segments[0].parent)
    assert put_numbers(reading.records) == [*range(6), *range(12, 24)]
    assert reading.missing == ((7, 13),)
    assert reading.missing_count == 6
    assert [(item.segment, item.why) for item in reading.lost] == [
        ("00000001", "is not in this folder")
    ]


def test_segments_that_expired_are_not_missing(four_segments):
    four_segments[0].unlink()
    assert read_folder(four_segments[0].parent).is_whole


def test_a_bad_header_loses_its_segment_only(four_segments):
    data = bytearray(four_segments[2].read_bytes())
    data[50] ^= 4
    four_segments[2].write_bytes(data)
    reading = read_folder(four_segments[0].parent)
    assert [(item.segment, item.nbytes) for item in reading.lost] == [
        (four_segments[2].name, len(data))
    ]
    assert reading.missing == ((13, 19),)


def test_swapped_files_are_read_by_their_headers_and_said(four_segments):
    one, two = four_segments[1], four_segments[2]
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    reading = read_folder(one.parent)
    assert put_numbers(reading.records) == list(range(24))
    assert len(reading.findings) == 2
    assert "its header says" in reading.findings[0]


def test_a_segment_of_another_journal_is_left_out(four_segments, tmp_path):
    writer = SteppedWriter(tmp_path / "other")
    writer.start()
    put_some(writer, 100, 5)
    writer.close()
    (foreign,) = (tmp_path / "other").iterdir()
    foreign.rename(four_segments[0].parent / foreign.name)
    reading = read_folder(four_segments[0].parent)
    assert put_numbers(reading.records) == list(range(24))
    assert reading.lost[0].why == "belongs to another journal"


def test_an_end_cut_off_later_is_found_by_the_next_header(four_segments):
    """The cut falls between two records, so that no checksum can tell."""
    reading = read_segment(four_segments[1].read_bytes())
    cut = [r for r in reading.records if r.is_content][3].offset
    four_segments[1].write_bytes(four_segments[1].read_bytes()[:cut])
    reading = read_folder(four_segments[0].parent)
    assert reading.missing == ((10, 13),)
    assert "were there when the next one was begun" in reading.findings[0]


def test_a_copy_of_a_segment_adds_nothing(four_segments):
    (four_segments[1].parent / "00000001-copy.berm").write_bytes(four_segments[1].read_bytes())
    reading = read_folder(four_segments[0].parent)
    assert put_numbers(reading.records) == list(range(24))
    assert not reading.conflicts


def test_two_records_under_one_number_are_both_kept(tmp_path):
    """A tail that was unreadable when the journal went on, and readable again later."""
    folder = tmp_path / "journal"
    writer = SteppedWriter(folder)
    writer.start()
    put_some(writer, 0, 4)
    writer.close()
    (path,) = folder.iterdir()
    whole = path.read_bytes()
    third = [r for r in read_segment(whole).records if r.is_content][2]
    path.write_bytes(whole[: third.offset])
    writer = SteppedWriter(folder)
    writer.start()
    put_some(writer, 50, 3)
    writer.close()
    path.write_bytes(whole)
    reading = read_folder(folder)
    assert sorted(put_numbers(reading.records)) == [0, 1, 2, 3, 50, 51, 52]
    assert reading.conflicts == (3, 4)


def test_an_empty_folder_is_an_empty_reading_and_no_folder_is_an_error(tmp_path):
    assert read_folder(tmp_path).records == ()
    assert read_folder(tmp_path).is_whole
    with pytest.raises(JournalError, match="cannot be read as a journal"):
        read_folder(tmp_path / "nowhere")


def test_facts_are_found_by_kind(four_segments):
    reading = read_folder(four_segments[0].parent)
    facts = list(reading.of_kind(RecordType.FACT))
    assert [r.host_ns for r in facts] == [1, 6, 11, 16, 21]
