"""From the raw wire bytes of a record to sample blocks per boot of the board.

Rules: one decoder, the one that ran live, in reader mode; nothing is repaired. Every boot nonce is
an epoch of its own: ticks and indices of different epochs never mix. What could not be read is
counted. Session state may be far back in the record, so reading starts at its beginning.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from daq.journal.recover import Record
from daq.journal.tap import WireTap
from firmware_protocol.link import Damaged, LinkEvent, OldSession, Received, SeqGap
from firmware_protocol.messages_board import BackfillData, Identity, Samples

LIVE: Final = 0
FILLED: Final = 1


@dataclass(slots=True)
class Epoch:
    """All blocks of one boot; `blocks` by group as (origin, block); `lost_for_good` in samples."""

    number: int
    identity: Identity
    seq: int
    blocks: dict[int, list[tuple[int, Samples]]] = field(default_factory=dict)
    lost_for_good: int = 0
    last_tick: int = 0

    @property
    def nonce(self) -> int:
        return self.identity.boot_nonce

    @property
    def tick_s(self) -> float:
        return 1.0 / self.identity.tick_hz

    def take(self, origin: int, block: Samples) -> None:
        if block.n:
            self.blocks.setdefault(block.group, []).append((origin, block))
            if origin == LIVE:
                self.last_tick = block.tick + (block.n - 1) * block.step


@dataclass(slots=True)
class WireReading:
    """Epochs in order, and what did not verify."""

    epochs: list[Epoch] = field(default_factory=list)
    bad_frames: int = 0
    frame_gaps: int = 0
    old_session: int = 0


def read_wire(records: Iterable[Record]) -> WireReading:
    """Decode all RX records, in order of their numbers."""
    tap = WireTap()
    found = WireReading()
    for record in records:
        for event in tap.take(record):
            _take(found, event, record.seq)
    return found


def _take(found: WireReading, event: LinkEvent, seq: int) -> None:
    match event:
        case Received(message=Samples() as block):
            if found.epochs:
                found.epochs[-1].take(LIVE, block)
        case Received(message=BackfillData() as filled):
            if found.epochs:
                found.epochs[-1].take(FILLED, filled.block)
                found.epochs[-1].lost_for_good += filled.lost
        case Received(message=Identity() as identity):
            _follow(found, identity, seq)
        case Damaged():
            found.bad_frames += 1
        case SeqGap():
            found.frame_gaps += 1
        case OldSession():
            found.old_session += 1
        case _:
            pass


def _follow(found: WireReading, identity: Identity, seq: int) -> None:
    """A new boot nonce is a new epoch; the same one again (a new session) goes on with its epoch."""
    if found.epochs and found.epochs[-1].nonce == identity.boot_nonce:
        return
    found.epochs.append(Epoch(number=len(found.epochs), identity=identity, seq=seq))
