"""Wire bytes out of the record: one decoder for results, charts and condensing.

A segment that follows another repeats the board's IDENTITY at its head (RX, flag 2), so that its
frames can be checked without the earlier ones. Where the bytes before it were read, that repetition
is passed over: it stands between two halves of a frame.
"""

from daq.journal.format import RecordFlag, RecordType
from daq.journal.walk import Record
from firmware_protocol.link import Link, LinkEvent


class WireTap:
    """Feed it records in the order of their numbers; only RX counts."""

    def __init__(self) -> None:
        self.link = Link("host", reader=True)

    def take(self, record: Record) -> list[LinkEvent]:
        """What these bytes complete. Never raises."""
        if record.kind != RecordType.RX:
            return []
        if is_repeat(record, self.link):
            return []
        return self.link.receive(record.body)


def is_repeat(record: Record, link: Link) -> bool:
    """An IDENTITY repeated at the head of a segment, of the session that `link` reads already."""
    if not record.flags & RecordFlag.CARRIED or link.session is None:
        return False
    probe = Link("host", reader=True)
    probe.receive(record.body)
    return probe.session == link.session
