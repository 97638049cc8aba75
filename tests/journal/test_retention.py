"""Idle standby is dropped, its facts and one row a second stay; a run or a mark is never dropped."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from daq.journal.follower import Follower
from daq.journal.format import RecordType
from daq.journal.recover import read_folder
from daq.journal.report_text import describe, recover
from daq.journal.retention import (
    AFTER,
    BALLAST,
    BEFORE,
    Tidy,
    drop_ballast,
    is_due,
    lay_ballast,
    sweep,
)
from daq.journal.standby import STANDBY, read_standby
from daq.journal.writer import JournalWriter
from firmware_protocol.framing import encode_frame
from firmware_protocol.link import Link
from firmware_protocol.messages_board import Samples
from firmware_protocol.session import session_seed
from tests.firmware_protocol.examples import IDENTITY
from tests.journal.disks import ManualClock, SteppedWriter

HELLO = b"\0" + encode_frame(IDENTITY.KIND, 0xFFFF, IDENTITY.pack(), 0)


def fact(name, **more):
    return json.dumps({"fact": name, **more}).encode()


def run(word, name="R-0001"):
    return json.dumps({"run": word, "id": name}).encode()


def day(folder: Path, words: str) -> list[Path]:
    """A journal of one segment a letter: . idle, b begin, e end, m mark, k keep, x end torn off."""
    link = Link("board")
    link.set_session(session_seed(IDENTITY.uid, IDENTITY.boot_nonce, IDENTITY.host_nonce))
    clock = ManualClock()
    writer = SteppedWriter(folder, segment_s=100)
    writer.clock = clock
    writer.start()
    writer.put(RecordType.RX, HELLO, 0)
    writer.carry(RecordType.RX, HELLO)
    for number, word in enumerate(words):
        rows = [(number * 10 + i, 1000 - i) for i in range(4)]
        first = number * 4
        block = Samples.of(0, first, number * 1_000_000, 250, rows)
        writer.put(RecordType.RX, link.send(block), number)
        writer.put(RecordType.FACT, fact("TOLD", number=number), number)
        for letter, kind, body in (
            ("b", RecordType.RUN, run("begin")),
            ("e", RecordType.RUN, run("end")),
            ("k", RecordType.RUN, run("keep")),
            ("m", RecordType.FACT, fact("MARK", text="smoke")),
        ):
            if word == letter:
                writer.put(kind, body, number)
        writer.write()
        writer._turn()
        with writer._lock:
            pass
        writer._rotate()
    writer.close()
    files = sorted(folder.glob("*.berm"))
    for path, word in zip(files, words, strict=False):
        if word == "x":
            path.write_bytes(path.read_bytes()[:-8])
    return files


def left(folder: Path) -> list[int]:
    return [int(path.name[:8]) for path in sorted(folder.glob("*.berm"))]


def test_old_idle_segments_go_and_the_newest_stay(tmp_path):
    day(tmp_path, "........")
    assert is_due(tmp_path)
    gone = sweep(tmp_path, newest=3)
    assert [int(name[:8]) for name in gone] == [0, 1, 2, 3, 4, 5]
    assert left(tmp_path) == [6, 7, 8]
    assert sweep(tmp_path, newest=3) == []


def test_one_row_a_second_and_every_fact_of_a_dropped_segment_stay(tmp_path):
    files = day(tmp_path, ".....")
    sweep(tmp_path, newest=2)
    kept = read_standby(files[2].with_suffix(STANDBY).read_text())
    assert [row["min"] for row in kept.rows] == [[20, 997]]
    assert [row["mean"] for row in kept.rows] == [[21.5, 998.5]]
    assert [row["max"] for row in kept.rows] == [[23, 1000]]
    assert [row["n"] for row in kept.rows] == [4]
    assert [each["body"] for each in kept.facts] == [fact("TOLD", number=2).decode()]


@pytest.mark.parametrize("word", ["m", "k", "x"])
def test_a_mark_and_a_damaged_segment_are_never_dropped(tmp_path, word):
    day(tmp_path, "......" + word + "....")
    sweep(tmp_path, newest=0)
    assert 6 in left(tmp_path)
    assert 0 not in left(tmp_path)
    around = {6} if word == "x" else set(range(6 - BEFORE, 6 + AFTER + 1))
    assert around <= set(left(tmp_path))


def test_a_run_stays_from_half_an_hour_before_its_begin_to_behind_its_end(tmp_path):
    day(tmp_path, ".....b..e.....")
    sweep(tmp_path, newest=0)
    assert left(tmp_path) == list(range(5 - BEFORE, 8 + AFTER + 1))


def test_a_run_that_never_ended_keeps_everything_behind_it(tmp_path):
    day(tmp_path, "....b.....")
    sweep(tmp_path, newest=0)
    assert left(tmp_path) == list(range(1, 11))


def test_what_was_dropped_on_purpose_is_not_missing(tmp_path):
    day(tmp_path, "m..........")
    whole = read_folder(tmp_path)
    sweep(tmp_path, newest=2)
    reading = read_folder(tmp_path)
    assert reading.is_whole, (reading.lost, reading.missing, reading.findings)
    assert len(reading.dropped) == 12 - 2 - 2
    assert {r.seq for r in reading.records} < {r.seq for r in whole.records}
    assert "dropped on purpose" in describe(tmp_path).text
    assert describe(tmp_path).exit_code == 0
    follower = Follower(tmp_path)
    assert [r.seq for r in follower.poll()] == [r.seq for r in reading.records]
    assert follower.lost == []
    follower.close()


def test_a_remainder_that_was_changed_proves_nothing(tmp_path):
    files = day(tmp_path, "m......")
    sweep(tmp_path, newest=2)
    kept = files[3].with_suffix(STANDBY)
    kept.write_text(kept.read_text().replace("TOLD", "TALL"))
    reading = read_folder(tmp_path)
    assert not reading.is_whole
    assert reading.missing
    assert any(kept.name in sentence for sentence in reading.findings)


def test_a_crash_between_remainder_and_drop_is_finished_at_the_next_sweep(tmp_path, monkeypatch):
    day(tmp_path, "......")
    monkeypatch.setattr(
        Path, "unlink", lambda *a, **k: (_ for _ in ()).throw(PermissionError(13, "open"))
    )
    assert sweep(tmp_path, newest=3) == []
    assert left(tmp_path) == list(range(7))
    assert read_folder(tmp_path).is_whole
    monkeypatch.undo()
    sweep(tmp_path, newest=3)
    assert left(tmp_path) == [4, 5, 6]


def test_a_bad_remainder_beside_its_segment_drops_nothing(tmp_path):
    files = day(tmp_path, "......")
    files[0].with_suffix(STANDBY).write_text('{"standby":1}\n{"sha256":"0"}\n')
    monkey = files[0].read_bytes()
    sweep(tmp_path, newest=10)
    assert files[0].read_bytes() == monkey


def test_a_new_start_goes_on_with_number_and_ordinal_behind_dropped_segments(tmp_path):
    day(tmp_path, "......")
    number = read_folder(tmp_path).next_seq
    sweep(tmp_path, newest=1)
    again = JournalWriter(tmp_path, rehearsal=True)
    again.start()
    again.put(RecordType.FACT, fact("AGAIN"), 1)
    assert again.close()
    reading = read_folder(tmp_path)
    assert reading.is_whole
    assert reading.records[-1].seq >= number
    assert left(tmp_path)[-1] == 7


def test_the_sweep_is_a_process_of_its_own(tmp_path):
    day(tmp_path, "........")
    command = [sys.executable, "-m", "daq.journal.retention", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert len(done.stdout.split()) == 3
    assert subprocess.run(command[:-1], capture_output=True, check=False).returncode == 2


def test_housekeeping_sweeps_only_an_idle_stand_and_gives_ballast_to_a_full_disk(tmp_path):
    day(tmp_path, "........")
    tidy = Tidy(tmp_path, every_s=60.0)
    tidy.turn(0.0, recorder="running", idle=False)
    assert len(left(tmp_path)) == 9
    tidy.turn(0.0, recorder="running", idle=True)
    assert len(left(tmp_path)) == 6
    assert tidy.has_ballast
    assert tidy.trouble == ""
    tidy.turn(1.0, recorder="ram only", idle=True)
    assert not tidy.has_ballast
    assert not (tmp_path / BALLAST).exists()
    tidy.turn(2.0, recorder="running", idle=True)
    assert not tidy.has_ballast, "not before the next minute"
    tidy.turn(61.0, recorder="running", idle=True)
    assert tidy.has_ballast


def test_ballast_is_laid_once_and_given_back(tmp_path):
    assert lay_ballast(tmp_path, 1 << 20)
    made = (tmp_path / BALLAST).stat().st_mtime_ns
    assert lay_ballast(tmp_path, 1 << 20)
    assert (tmp_path / BALLAST).stat().st_mtime_ns == made
    assert drop_ballast(tmp_path)
    assert not drop_ballast(tmp_path)
    assert read_folder(tmp_path).records == ()


def test_recovery_of_a_swept_journal_keeps_the_remainders(tmp_path):
    day(tmp_path / "old", "m......")
    sweep(tmp_path / "old", newest=2)
    recover(tmp_path / "old", tmp_path / "new")
    reading = read_folder(tmp_path / "new")
    assert reading.is_whole
    assert len(reading.dropped) == len(read_folder(tmp_path / "old").dropped)
