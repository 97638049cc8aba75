"""Every segment can be decoded alone, and the repeated identity breaks no frame in two halves."""

from daq.journal.format import RecordFlag, RecordType
from daq.journal.recover import read_folder
from daq.journal.tap import WireTap
from firmware_protocol.framing import encode_frame
from firmware_protocol.link import Link, Received
from firmware_protocol.messages_board import Samples
from firmware_protocol.session import session_seed
from tests.firmware_protocol.examples import IDENTITY
from tests.journal.disks import SteppedWriter


def wire_of(blocks):
    who = IDENTITY
    link = Link("board")
    link.set_session(session_seed(who.uid, who.boot_nonce, who.host_nonce))
    return [link.send(block) for block in blocks]


def block(first):
    return Samples.of(0, first, 1000 + first * 250, 250, [(first, 5)] * 4)


def seen(records):
    tap = WireTap()
    events = [event for record in records for event in tap.take(record)]
    got = [e.message for e in events if isinstance(e, Received)]
    return [m.first_index for m in got if isinstance(m, Samples)], len(events) - len(got)


def journal_of_three_segments(folder, frames):
    """A frame is cut by each change of segment."""
    who = IDENTITY
    hello = b"\0" + encode_frame(who.KIND, 0xFFFF, who.pack(), 0)
    writer = SteppedWriter(folder, segment_s=100)
    writer.start()
    writer.put(RecordType.RX, hello, 1)
    writer.carry(RecordType.RX, hello)
    for number, frame in enumerate(frames):
        writer.put(RecordType.RX, frame[:20], number)
        writer.write()
        writer.clock.step(101)
        writer.turn()
        writer.put(RecordType.RX, frame[20:], number)
        writer.write()
    writer.close()


def test_each_segment_is_readable_alone(tmp_path):
    journal_of_three_segments(tmp_path, wire_of([block(0), block(4), block(8)]))
    first, *_ = sorted(tmp_path.iterdir())
    first.unlink()
    indices, _ = seen(read_folder(tmp_path).records)
    assert indices == [4, 8]


def test_the_repetition_between_two_halves_of_a_frame_costs_no_frame(tmp_path):
    journal_of_three_segments(tmp_path, wire_of([block(0), block(4), block(8)]))
    records = read_folder(tmp_path).records
    assert sum(bool(r.flags & RecordFlag.CARRIED) for r in records) == 3
    indices, other = seen(records)
    assert indices == [0, 4, 8]
    assert other == 0
