"""One time axis over several boots of the board: engine time of a tick, per epoch.

Rules: inside an epoch only ticks count, at the board's nominal rate; alignment between epochs comes
from the CLOCK fits of the engine, else from the facts that carry a tick (these are late, never
early, so the smallest difference is taken) and is good to a few milliseconds, which is said.
A rehearsal step moves engine clock and ticks alike and changes nothing here.
"""

from collections.abc import Sequence
from typing import Any

from daq.journal.format import RecordType
from daq.journal.recover import Record
from daq.runs.facts import Fact
from daq.runs.wire_record import Epoch


def offsets(
    epochs: Sequence[Epoch], records: Sequence[Record], facts: Sequence[Fact]
) -> dict[int, float]:
    """Epoch number -> engine time in s of its tick 0; 0.0 where nothing ties them."""
    fits: dict[int, list[float]] = {}
    for record in records:
        if record.kind == RecordType.CLOCK:
            _note_fit(fits, record, epochs)
    ties: dict[int, list[float]] = {}
    by_nonce = {epoch.nonce: epoch for epoch in epochs}
    for fact in facts:
        epoch = by_nonce.get(fact.nonce) if fact.nonce is not None else None
        if epoch is not None and fact.tick:
            ties.setdefault(epoch.number, []).append(fact.t - fact.tick * epoch.tick_s)
    found = {}
    for epoch in epochs:
        fit, tie = fits.get(epoch.number), ties.get(epoch.number)
        found[epoch.number] = min(fit) if fit else (min(tie) if tie else 0.0)
    return found


def _note_fit(fits: dict[int, list[float]], record: Record, epochs: Sequence[Epoch]) -> None:
    try:
        body: dict[str, Any] = record.json()
    except ValueError:
        return
    if body.get("kind") != "fit":
        return
    for epoch in epochs:
        if epoch.nonce == body.get("nonce"):
            zero = float(body["ns0"]) / 1e9 - float(body["tick0"]) * epoch.tick_s
            fits.setdefault(epoch.number, []).append(zero)
