"""A run is sealed only when every copy has been read back equal (practice 2.36 and 7.9)."""

import pytest

from daq.errors import JournalError
from daq.journal.format import RecordType
from daq.journal.hashes import HASHES
from daq.journal.recover import read_folder
from daq.journal.report_text import verify
from daq.runs import bundle
from daq.runs.bundle import seal_run, verify_run
from tests.journal.disks import SteppedWriter, put_numbers, put_some


def run(word: str, run_id: str) -> bytes:
    return b'{"run":"%s","id":"%s"}' % (word.encode(), run_id.encode())


@pytest.fixture
def site(tmp_path):
    """Segments: 0 idle, 1 CONFIG and begin of R7, 2 its end, 3 idle. The writer of 3 is running."""
    writer = SteppedWriter(tmp_path / "journal", segment_s=100)
    writer.start()
    put_some(writer, 0, 5)
    next_segment(writer)
    writer.put(RecordType.CONFIG, b'{"run_id":"R7"}', 0)
    writer.put(RecordType.RUN, run("begin", "R7"), 0)
    put_some(writer, 5, 5)
    next_segment(writer)
    put_some(writer, 10, 5)
    writer.put(RecordType.RUN, run("end", "R7"), 0)
    next_segment(writer)
    put_some(writer, 15, 5)
    writer.turn()
    return tmp_path


def next_segment(writer) -> None:
    writer.clock.step(101)
    writer.turn()


def test_a_sealed_run_holds_its_segments_and_their_sums(site):
    sealed = seal_run(site / "journal", site / "runs", "R7")
    assert sealed.path == site / "runs" / "R7"
    assert [name[:8] for name in sealed.files] == ["00000001", "00000002"]
    assert sealed.has_end
    assert sealed.second is None
    assert sealed.findings == ()
    assert verify_run(sealed.path) == []
    assert len((sealed.path / HASHES).read_text().splitlines()) == 2
    reading = read_folder(sealed.path)
    assert put_numbers(reading.records) == list(range(5, 15))
    assert reading.is_whole
    assert verify(site).exit_code == 0
    for name in sealed.files:
        assert (sealed.path / name).read_bytes() == (site / "journal" / name).read_bytes()


def test_one_flipped_bit_in_a_sealed_run_is_found(site):
    """Practice 7.9. The bit lies in the filling, where no record is."""
    sealed = seal_run(site / "journal", site / "runs", "R7")
    path = sealed.path / sealed.files[1]
    data = bytearray(path.read_bytes())
    data[-1] ^= 0x80
    path.write_bytes(data)
    (sentence,) = verify_run(sealed.path)
    assert "not those that were sealed" in sentence
    assert verify(sealed.path).exit_code == 1


def test_a_second_medium_holds_the_same_bytes(site):
    stick = site / "stick"
    stick.mkdir()
    sealed = seal_run(site / "journal", site / "runs", "R7", stick)
    assert sealed.second == stick / "R7"
    assert verify_run(sealed.second) == []
    assert (sealed.second / HASHES).read_text() == (sealed.path / HASHES).read_text()


def test_without_the_second_medium_there_is_no_success(site):
    with pytest.raises(JournalError, match="second medium is not there; the first copy is good"):
        seal_run(site / "journal", site / "runs", "R7", site / "no-stick")
    assert verify_run(site / "runs" / "R7") == []


def test_a_copy_that_reads_back_differently_is_no_success(site, monkeypatch):
    """A medium that quietly wrote something else."""
    write = bundle._write_new

    def lying(target, data):
        write(target, data[:-1] + b"?" if target.suffix == ".berm" else data)

    monkeypatch.setattr(bundle, "_write_new", lying)
    with pytest.raises(JournalError, match="differs from the journal"):
        seal_run(site / "journal", site / "runs", "R7")


def test_a_run_still_going_on_can_be_copied_and_completed_later(tmp_path):
    """First copy in WAIT, the whole when the phase is SAFE again."""
    writer = SteppedWriter(tmp_path / "journal", segment_s=100)
    writer.start()
    writer.put(RecordType.CONFIG, b"{}", 0)
    writer.put(RecordType.RUN, run("begin", "R8"), 0)
    put_some(writer, 0, 5)
    writer.turn()
    with (tmp_path / "journal" / writer.segment_name).open("ab") as file:
        file.write(b"half a rec")
    first = seal_run(tmp_path / "journal", tmp_path / "runs", "R8")
    assert not first.has_end
    assert first.findings == ()
    reading = read_folder(first.path)
    assert put_numbers(reading.records) == list(range(5))
    assert reading.is_whole
    writer = SteppedWriter(tmp_path / "journal", segment_s=100)
    writer.start()
    put_some(writer, 5, 5)
    writer.put(RecordType.RUN, run("end", "R8"), 0)
    writer.close()
    whole = seal_run(tmp_path / "journal", tmp_path / "runs", "R8")
    assert whole.has_end
    assert len(whole.files) == 2
    assert "do not verify" in whole.findings[0]
    assert put_numbers(read_folder(whole.path).records) == list(range(10))
    assert verify_run(whole.path) == []
    assert seal_run(tmp_path / "journal", tmp_path / "runs", "R8") == whole


def test_a_sealed_file_that_differs_is_never_overwritten(site):
    sealed = seal_run(site / "journal", site / "runs", "R7")
    path = sealed.path / sealed.files[0]
    path.write_bytes(b"edited")
    with pytest.raises(JournalError, match="differs; it is not overwritten"):
        seal_run(site / "journal", site / "runs", "R7")
    assert path.read_bytes() == b"edited"


def test_a_damaged_segment_is_copied_as_it_is_and_said(site):
    path = sorted((site / "journal").iterdir())[2]
    data = bytearray(path.read_bytes())
    data[5000] ^= 1
    path.write_bytes(data)
    sealed = seal_run(site / "journal", site / "runs", "R7")
    assert len(sealed.findings) == 1
    assert (sealed.path / path.name).read_bytes() == data


def test_a_run_that_is_not_there_or_cannot_be_a_folder_is_refused(site):
    with pytest.raises(JournalError, match="no run R9 begins"):
        seal_run(site / "journal", site / "runs", "R9")
    for name in ("", "..", "a/b"):
        with pytest.raises(JournalError, match="usable as the name of a folder"):
            seal_run(site / "journal", site / "runs", name)


def test_without_any_config_only_the_run_itself_is_copied(tmp_path):
    writer = SteppedWriter(tmp_path / "journal", segment_s=100)
    writer.start()
    next_segment(writer)
    writer.put(RecordType.RUN, run("begin", "R1"), 0)
    writer.close()
    sealed = seal_run(tmp_path / "journal", tmp_path / "runs", "R1")
    assert [name[:8] for name in sealed.files] == ["00000001"]
