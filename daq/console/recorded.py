"""Charts from the record: the journal is followed, decoded and calibrated like every other reader does.

What the screen draws is what was recorded: raw bytes from the journal, one decoder, the calibration
that stands in the CONFIG record. Of two pressure channels the higher is drawn, as the big number
shows it. Only samples, flags and the expected band come from here, never a state word.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import numpy as np

from daq.channels.calibration import Calibration
from daq.channels.envelope import Envelope
from daq.console.readings import Status
from daq.console.source import EMPTY, Flag, Floats, Name, Outlook, Source, Trace
from daq.journal.follower import Follower
from daq.journal.format import RecordType
from daq.journal.recover import Record
from daq.journal.tap import is_repeat
from firmware_protocol.link import Link, Received
from firmware_protocol.messages import Identity, Samples

KEEP_S: Final = 240.0
BEFORE_S: Final = 2.0
AFTER_S: Final = 60.0
DENSE: Final = 2
"""Bins asked per pixel column: the envelope's levels are four apart, so half of it may be coarser."""
IGNITION_SPREAD_S: Final = 0.3
"""First pressure comes up to this long after GO (common practice, no source): it widens the band."""
LINE_WORDS: Final = {"line off", "line open"}
WORDS: Final = {
    "GO": "GO",
    "LIT": "lit",
    "LINE_OFF": "line off",
    "LINE_OPENED": "line open",
    "TRIP": "trip",
    "BURN_OUT": "burn-out",
}
NAMES: Final[tuple[Name, ...]] = ("pressure", "thrust")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a channel's counts stand in a block."""

    name: str
    group: int
    index: int
    calibration: Calibration
    zero_counts: float | None = None

    def si(self, counts: Floats) -> Floats:
        """Pa as the calibration says; N from the zero, as the big number shows it."""
        value = self.calibration.to_si(counts)
        if self.zero_counts is None or self.calibration.unit != "n":
            return value
        return value - self.calibration.to_si(self.zero_counts)


@dataclass(slots=True, kw_only=True)
class Line:
    """One drawn quantity: its envelope and the tick of a known sample."""

    envelope: Envelope
    step: int = 1
    index: int = 0
    tick: int = 0

    def at_s(self, index: float, zero_tick: float, hz: float) -> float:
        """Seconds of a sample index after `zero_tick`."""
        return (self.tick + (index - self.index) * self.step - zero_tick) / hz

    def index_at(self, seconds: float, zero_tick: float, hz: float) -> int:
        return int(self.index + (zero_tick + seconds * hz - self.tick) / self.step)


@dataclass(slots=True, kw_only=True)
class JournalSource:
    """Feeds the charts from a journal folder; `poll` reads what is new."""

    follower: Follower
    link: Link = field(default_factory=lambda: Link("host", reader=True))
    hz: float = 1e6
    places: dict[Name, list[Place]] = field(default_factory=dict)
    lines: dict[Name, Line] = field(default_factory=dict)
    burns: dict[Name, Line] = field(default_factory=dict)
    outlooks: dict[Name, Outlook] = field(default_factory=dict)
    zero_tick: int | None = None
    marks: list[tuple[int, str]] = field(default_factory=list)
    boot: int | None = None

    def poll(self) -> None:
        for record in self.follower.poll():
            self.take(record)

    def take(self, record: Record) -> None:
        """One record; what is not for charts is passed over, what is broken too."""
        try:
            if record.kind == RecordType.RX:
                if not is_repeat(record, self.link):
                    self._bytes(record.body)
            elif record.kind == RecordType.CONFIG:
                self._config(record.json())
            elif record.kind == RecordType.FACT:
                self._fact(Status(record.json()))
        except (ValueError, TypeError, KeyError, AttributeError):
            return

    def strip(self, name: Name, seconds: float, columns: int) -> Trace:
        line = self.lines.get(name)
        if line is None:
            return EMPTY
        newest = line.tick + (line.envelope.end - 1 - line.index) * line.step
        return self._trace(line, newest, -seconds, 0.0, columns)

    def burn(self, name: Name, begin_s: float, end_s: float, columns: int) -> Trace:
        line = self.burns.get(name)
        if line is None or self.zero_tick is None:
            return EMPTY
        return self._trace(line, self.zero_tick, begin_s, end_s, columns)

    def flags(self) -> tuple[Flag, ...]:
        if self.zero_tick is None:
            return ()
        return tuple(Flag((tick - self.zero_tick) / self.hz, word) for tick, word in self.marks)

    def outlook(self, name: Name) -> Outlook | None:
        return self.outlooks.get(name)

    def adopt(self, session: int) -> None:
        if self.link.session is None:
            self.link.set_session(session)

    def close(self) -> None:
        self.follower.close()

    def _trace(self, line: Line, zero: float, begin_s: float, end_s: float, columns: int) -> Trace:
        begin = line.index_at(begin_s, zero, self.hz)
        end = line.index_at(end_s, zero, self.hz) + 1
        view = line.envelope.query(begin, end, DENSE * columns)
        at = (line.tick + (view.middle - line.index) * line.step - zero) / self.hz
        gaps = tuple(
            (line.at_s(a, zero, self.hz), line.at_s(b, zero, self.hz))
            for a, b in line.envelope.gaps(begin, end)[:64]
        )
        return Trace(at, np.asarray(view.low, np.float64), np.asarray(view.high, np.float64), gaps)

    def _bytes(self, chunk: bytes) -> None:
        for event in self.link.receive(chunk):
            if not isinstance(event, Received):
                continue
            if isinstance(event.message, Samples):
                self._samples(event.message)
            elif isinstance(event.message, Identity):
                self._identity(event.message)

    def _identity(self, who: Identity) -> None:
        """A new boot of the board: its ticks and indices start anew, so do the charts."""
        self.hz = float(who.tick_hz)
        if self.boot not in {None, who.boot_nonce}:
            self.lines.clear()
            self._forget_burn()
        self.boot = who.boot_nonce

    def _samples(self, block: Samples) -> None:
        for name in NAMES:
            here = [place for place in self.places.get(name, ()) if place.group == block.group]
            if here and here[0] is self.places[name][0]:
                self._add(name, block, here)

    def _add(self, name: Name, block: Samples, here: list[Place]) -> None:
        columns = [at for at in range(8) if block.mask >> at & 1]
        counts = np.asarray(block.flat(), dtype=np.float64).reshape(-1, block.channels)
        values = [
            place.si(counts[:, columns.index(place.index)])
            for place in here
            if place.index in columns
        ]
        if not values:
            return
        line = self.lines.get(name)
        if line is None:
            keep = int(KEEP_S * self.hz / max(1, block.step))
            line = self.lines[name] = Line(envelope=Envelope(keep=keep))
        drawn = np.max(values, axis=0)
        for each in (line, self._burn_of(name, block)):
            if each is not None:
                each.step, each.index, each.tick = block.step, block.first_index, block.tick
                each.envelope.append(block.first_index, drawn)

    def _burn_of(self, name: Name, block: Samples) -> Line | None:
        """The kept burn, while this block belongs to it; a stepped clock cannot push it out."""
        zero = self.zero_tick
        if zero is None or not -BEFORE_S <= (block.tick - zero) / self.hz <= AFTER_S:
            return None
        if name not in self.burns:
            self.burns[name] = Line(envelope=Envelope())
        return self.burns[name]

    def _begin_burn(self, tick: int) -> None:
        """T-0 is known: what was received in the seconds before it is copied into the kept burn."""
        self.zero_tick = tick
        for name, line in self.lines.items():
            begin = max(line.index_at(-BEFORE_S, tick, self.hz), line.envelope.first or 0)
            count = line.envelope.end - begin
            if count <= 0:
                continue
            raw = line.envelope.query(begin, line.envelope.end, count)
            kept = Line(envelope=Envelope(), step=line.step, index=line.index, tick=line.tick)
            kept.envelope.append(raw.first, raw.high)
            self.burns[name] = kept

    def _forget_burn(self) -> None:
        self.zero_tick = None
        self.marks.clear()
        self.burns.clear()

    def _fact(self, fact: Status) -> None:
        name, tick = fact.text("fact"), fact.number("tick")
        if name == "PHASE" and fact.text("to") == "ARM":
            self._forget_burn()
        if name == "TARE":
            self._tare(fact.text("channel"), fact.number("counts"))
        if tick is None or name not in {*WORDS, "LINE_ON"}:
            return
        if self.zero_tick is None:
            self._begin_burn(int(tick))
        word = WORDS.get(name)
        if word is not None and not self._is_told(word, int(tick)):
            self.marks.append((int(tick), word))

    def _is_told(self, word: str, tick: int) -> bool:
        """Each word once; of line off and line open within 0.1 s only the first."""
        near = 0.1 * self.hz
        return any(
            known == word or ({known, word} == LINE_WORDS and abs(at - tick) <= near)
            for at, known in self.marks
        )

    def _tare(self, channel: str, counts: float | None) -> None:
        for name, places in self.places.items():
            self.places[name] = [
                replace(place, zero_counts=counts) if place.name == channel else place
                for place in places
            ]

    def _config(self, body: Any) -> None:
        config = Status(body)
        found = places_of(config)
        self.places = {
            "pressure": [place for place in found if place.calibration.unit == "pa"],
            "thrust": [place for place in found if place.calibration.unit == "n"],
        }
        made = outlooks_of(config)
        same = made.keys() == self.outlooks.keys() and all(
            np.array_equal(made[name].high, self.outlooks[name].high) for name in made
        )
        if not same:
            self.outlooks = made


def places_of(config: Status) -> list[Place]:
    """Channels with a calibration and their place, from wherever the record names it."""
    cards = config.at("calibration")
    if not isinstance(cards, dict):
        return []
    told = {
        row.text("name"): row
        for path in (
            ("channels",),
            ("settings", "stand", "pressure"),
            ("settings", "stand", "thrust"),
        )
        for row in config.rows(*path)
    }
    made = []
    for number, (name, card) in enumerate(cards.items()):
        row = told.get(name, Status({}))
        group, index = row.number("group"), row.number("index")
        made.append(
            Place(
                name=name,
                group=int(group or 0),
                index=number if index is None else int(index),
                calibration=Calibration.from_json(card),
                zero_counts=row.number("zero_counts"),
            )
        )
    return made


def outlooks_of(config: Status) -> dict[Name, Outlook]:
    """The expected band: the predicted curve, up to the highest believable and as far below."""
    rows = config.rows("prediction", "curve") or config.rows("prediction", "points")
    if len(rows) < 2:
        return {}
    at = np.asarray([row.number("at_s") or 0.0 for row in rows])
    peak = config.number("prediction", "peak_pa")
    most = config.number("limits", "expected_max_pa")
    ratio = most / peak if most and peak else 1.0
    made: dict[Name, Outlook] = {}
    keys: tuple[tuple[Name, str], ...] = (("pressure", "pressure_pa"), ("thrust", "thrust_n"))
    for name, key in keys:
        curve = np.asarray([row.number(key) or 0.0 for row in rows])
        if curve.any():
            made[name] = widened(at, curve, ratio)
    return made


def widened(at_s: Floats, curve: Floats, ratio: float) -> Outlook:
    """Highest and lowest of the curve begun anywhere from 0 to IGNITION_SPREAD_S after GO."""
    at = np.arange(0.0, float(at_s[-1]) + IGNITION_SPREAD_S + 0.05, 0.02)
    shifted = np.asarray(
        [
            np.interp(at - shift, at_s, curve, left=0.0, right=0.0)
            for shift in np.linspace(0.0, IGNITION_SPREAD_S, 7)
        ]
    )
    return Outlook(at, shifted.min(axis=0) * max(0.0, 2 - ratio), shifted.max(axis=0) * ratio)


def follow(folder: Path) -> Source:
    """Charts of a running engine's journal, from its newest segment on."""
    return JournalSource(follower=Follower(folder, newest=True))
