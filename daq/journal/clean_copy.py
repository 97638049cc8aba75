"""Write what could be read of a torn journal as a new, closed one; the torn one is not touched.

Records keep their numbers, times and bytes; segments keep their ordinals and times. The copy has an
identity of its own and ends with a LOSS that says what was not there to be copied.
"""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from daq.errors import JournalError
from daq.journal.files import Fs, RealFs
from daq.journal.format import RecordType, SegmentHeader
from daq.journal.recover import Reading, Record
from daq.journal.segment import OpenSegment, Pending
from daq.journal.standby import STANDBY, rewritten

_BATCH: Final = 1024


def write_clean_copy(reading: Reading, out: Path, fs: Fs | None = None) -> list[Path]:
    """The segment files written into `out`. JournalError if it is not empty or cannot be written."""
    if out.exists() and any(out.iterdir()):
        raise JournalError(f"{out}: expected a new or empty folder for the recovered copy")
    if not reading.segments:
        raise JournalError("there is no segment to recover")
    try:
        return _write(reading, out, fs or RealFs())
    except OSError as error:
        raise JournalError(f"{out}: cannot be written: {error.strerror or error}") from error


def _write(reading: Reading, out: Path, fs: Fs) -> list[Path]:
    fs.make_folder(out)
    journal_id, written = os.urandom(16), []
    before: OpenSegment | None = None
    last = reading.segments[-1].header
    for header, records in _by_segment(reading):
        fresh = header._replace(
            journal_id=journal_id,
            segment_id=os.urandom(16),
            previous_id=before.header.segment_id if before else bytes(16),
            previous_end=before.offset if before else 0,
        )
        segment = OpenSegment(fs, out, fresh)
        next_seq = _append(segment, records, header.host_ns)
        if header is last:
            loss = Pending(RecordType.LOSS, reading.next_seq, header.host_ns, told(reading))
            segment.append([loss])
            next_seq = loss.seq + 1
        segment.seal(next_seq, header.host_ns)
        segment.sync()
        segment.close()
        written.append(out / segment.name)
        before = segment
    for gone in reading.dropped:
        text = rewritten(gone.text, journal_id)
        (out / gone.segment).with_suffix(STANDBY).write_text(text, encoding="utf-8")
    return written


def _by_segment(reading: Reading) -> Iterator[tuple[SegmentHeader, list[Record]]]:
    """Each segment's header with the records that were first read from it, in order."""
    rows: dict[int, list[Record]] = {}
    for record in reading.records:
        rows.setdefault(record.ordinal, []).append(record)
    headers = {s.header.ordinal: s.header for s in reading.segments if s.header is not None}
    for ordinal, header in headers.items():
        yield header, rows.get(ordinal, [])


def _append(segment: OpenSegment, records: list[Record], host_ns: int) -> int:
    next_seq = records[0].seq if records else 0
    for first in range(0, len(records), _BATCH):
        batch = [
            Pending(r.kind, r.seq, r.host_ns, r.body, r.flags) for r in records[first:][:_BATCH]
        ]
        segment.append(batch)
        next_seq = batch[-1].seq + 1
        segment.mark(next_seq, host_ns, 0, 0)
    return next_seq


def told(reading: Reading) -> bytes:
    """Body of the LOSS that ends a copy."""
    fact = {
        "loss": ["recovered copy"],
        "damage": [[d.segment, d.start, d.end, d.why] for d in reading.damage],
        "lost": [[item.segment, item.nbytes, item.why] for item in reading.lost],
        "missing": [list(gap) for gap in reading.missing],
        "conflicts": list(reading.conflicts),
        "findings": list(reading.findings),
    }
    return json.dumps(fact, sort_keys=True, separators=(",", ":")).encode()
