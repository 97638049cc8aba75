"""What the commands say about a record: there, missing, damaged, in plain words; exit codes."""

import json
from hashlib import sha256
from zlib import crc32

import pytest

from daq.errors import JournalError
from daq.journal.clean_copy import write_clean_copy
from daq.journal.format import RecordType, encode_record
from daq.journal.hashes import altered, check_hash_list, hash_list
from daq.journal.recover import end_of, read_folder, read_segment
from daq.journal.report_text import describe, recover, verify
from tests.journal.disks import SteppedWriter, put_numbers, put_some


@pytest.fixture
def journal(tmp_path):
    """Three starts with 10 records each, a run in the middle one."""
    folder = tmp_path / "site" / "journal"
    for first in (0, 10, 20):
        writer = SteppedWriter(folder)
        writer.start()
        if first == 10:
            writer.put(RecordType.RUN, b'{"run":"begin","id":"R7"}', 0)
        put_some(writer, first, 10)
        if first == 10:
            writer.put(RecordType.RUN, b'{"run":"end","id":"R7"}', 0)
        assert writer.close()
    return folder


def flip(path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)


def test_a_whole_journal_is_described_with_exit_code_0(journal):
    for path in (journal, journal.parent):
        found = verify(path)
        assert found.exit_code == 0
        assert "journal: whole" in found.text
        assert "3 segments" in found.text
        assert "rehearsal" in found.text
        assert "6 RX, 6 TX, 6 FACT, 6 STATUS, 6 WISH, 2 RUN" in found.text
        assert "run R7: begun and ended" in found.text
        assert "Missing:\n  nothing" in found.text
        json.dumps(found.facts)


def test_damage_and_loss_are_told_with_bytes_and_numbers(journal):
    files = sorted(journal.iterdir())
    record = [r for r in read_segment(files[0].read_bytes()).records if r.is_content][4]
    flip(files[0], record.offset + 24)
    files[1].unlink()
    found = describe(journal)
    assert found.exit_code == 1
    assert "NOT whole" in found.text
    assert f"bytes {record.offset} to {end_of(record)}" in found.text
    assert "numbers 5 to 5 (1 record)" in found.text
    assert "numbers 11 to 22 (12 records)" in found.text
    assert "segment 00000001: is not in this folder" in found.text


def test_recovery_writes_a_clean_copy_and_leaves_the_torn_one(journal, tmp_path):
    files = sorted(journal.iterdir())
    record = [r for r in read_segment(files[0].read_bytes()).records if r.is_content][4]
    flip(files[0], record.offset + 24)
    before = [path.read_bytes() for path in files]
    torn = read_folder(journal)
    out = tmp_path / "out"
    found = recover(journal, out)
    assert found.exit_code == 1
    assert "Written: 31 records into 3 new segments" in found.text
    assert [path.read_bytes() for path in files] == before

    copy = read_folder(out)
    assert not copy.damage
    assert not copy.findings
    assert copy.missing == ((5, 6),)
    *content, loss = copy.records
    same = [(r.kind, r.seq, r.host_ns, r.body) for r in content]
    assert same == [(r.kind, r.seq, r.host_ns, r.body) for r in torn.records]
    assert loss.json()["missing"] == [[5, 6]]
    assert loss.json()["damage"][0][1] == record.offset
    assert all(segment.seal for segment in copy.segments)
    assert copy.segments[0].header.journal_id != torn.segments[0].header.journal_id
    assert "recovered copy" in verify(out).text
    with pytest.raises(JournalError, match="expected a new or empty folder"):
        recover(journal, out)


def test_the_copy_of_a_whole_journal_is_whole(journal, tmp_path):
    recover(journal, tmp_path / "out")
    assert verify(tmp_path / "out").exit_code == 0
    assert put_numbers(read_folder(tmp_path / "out").records) == list(range(30))


def test_a_journal_without_a_segment_cannot_be_copied(tmp_path):
    with pytest.raises(JournalError, match="no segment"):
        write_clean_copy(read_folder(tmp_path), tmp_path / "out")


def test_where_there_is_no_record_it_says_so(tmp_path):
    with pytest.raises(JournalError, match="there is no record in it"):
        describe(tmp_path)
    with pytest.raises(JournalError, match="expected a run folder, a site or a journal folder"):
        describe(tmp_path / "nowhere")


def test_a_record_forged_with_a_good_checksum_is_found_by_the_sums(journal):
    """The CRC guards against accidents; MARK and SEAL against anything that left them alone."""
    path = min(journal.iterdir())
    data = path.read_bytes()
    reading = read_segment(data)
    assert list(altered(data, reading)) == []
    record = [r for r in reading.records if r.is_content][3]
    assert reading.header is not None
    forged = encode_record(
        record.kind,
        b"x" * len(record.body),
        record.seq,
        record.host_ns,
        reading.header.segment_id,
        record.offset,
    )
    path.write_bytes(data[: record.offset] + forged + data[end_of(record) :])
    assert describe(journal).exit_code == 0
    found = verify(journal)
    assert found.exit_code == 1
    assert "are not those its MARK sums up" in found.text
    assert "are not those its SEAL sums up" in found.text


def test_an_unclosed_end_and_losses_are_noted_without_being_wrong(journal):
    writer = SteppedWriter(journal)
    writer.start()
    put_some(writer, 30, 2)
    writer.turn()
    found = describe(journal)
    assert found.exit_code == 0
    assert f"{writer.segment_name} was not closed" in found.text
    writer = SteppedWriter(journal)
    writer.start()
    writer.close()
    assert "the writer says: " in describe(journal).text


def test_a_loss_that_is_not_ours_and_a_type_of_the_future_are_survived(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    writer.put(RecordType.LOSS, b"not json", 0)
    writer.put(200, b"future", 2**62)
    writer.put(RecordType.RUN, b"[]", 0)
    writer.close()
    text = describe(tmp_path).text
    assert "something was lost" in text
    assert "1 type 200" in text
    assert "records of type 200 are not known" in text


def test_long_lists_are_cut_in_the_text_and_whole_in_the_facts(tmp_path):
    writer = SteppedWriter(tmp_path)
    writer.start()
    put_some(writer, 0, 120)
    writer.close()
    (path,) = tmp_path.iterdir()
    records = [r for r in read_segment(path.read_bytes()).records if r.is_content]
    for record in records[::4]:
        flip(path, record.offset + 24)
    found = describe(tmp_path)
    assert "and 10 more" in found.text
    assert len(found.facts["records"][0]["missing"]) == 30


def test_a_list_of_sums_finds_every_change(tmp_path):
    for name in ("a.berm", "b.berm"):
        (tmp_path / name).write_bytes(name.encode())
    sums = {name: sha256(name.encode()).hexdigest() for name in ("a.berm", "b.berm", "gone.berm")}
    (tmp_path / "hashes.sha256").write_text(hash_list(sums))
    (tmp_path / "c.berm").write_bytes(b"")
    flip(tmp_path / "b.berm", 0)
    wrong = check_hash_list(tmp_path)
    assert [sentence.split(":")[0] for sentence in wrong] == ["b.berm", "gone.berm", "c.berm"]
    (tmp_path / "hashes.sha256").write_text("nonsense\n")
    assert "line 1" in check_hash_list(tmp_path)[0]
    (tmp_path / "hashes.sha256").write_text("")
    assert "is empty" in check_hash_list(tmp_path)[0]
    (tmp_path / "hashes.sha256").unlink()
    assert "cannot be read" in check_hash_list(tmp_path)[0]


def test_crc_of_a_record_with_its_checksum_behind_it_is_the_usual_constant():
    """The polynomial is the one of zlib: any language has it."""
    assert crc32(b"berm" + crc32(b"berm").to_bytes(4, "little")) == 0x2144DF1C
