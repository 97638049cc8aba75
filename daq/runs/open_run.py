"""Open a finished run: from a run folder, a site or a journal folder to arrays and facts.

    run = open_run(Path("runs/R-0001"))
    trace = run.traces("pressure")[0]        # SI against seconds from T-0

Rules: the same decoder as live; raw counts are kept and SI is derived through the calibration that
is stored in the record's CONFIG; the tare is the reduction's business, not this file's. Everything
that is not there is said in `findings`, `gaps` and `lost`. T-0 is the line current that the board
sensed (practice 6.17); without it, times count from lit, or from the first sample.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, pi
from pathlib import Path
from typing import Any, Final

import numpy as np

from daq.channels.calibration import Calibration
from daq.errors import JournalError
from daq.journal.format import RecordType, SegmentFlag
from daq.journal.recover import Reading, Record, read_folder
from daq.runs.align import offsets
from daq.runs.burn import Context
from daq.runs.facts import Fact, Part, facts_of, part_of
from daq.runs.missing import SampleGap, gap_between, gaps_inside
from daq.runs.series import MISSING, Series, merge
from daq.runs.span import Seen
from daq.runs.trace import Trace, voted
from daq.runs.wire_record import Epoch, WireReading, read_wire
from firmware_protocol.numbers import COUNT_OVER

RAIL_SHARE: Final = 0.02
U_T0_S: Final = 0.001  # the board looks at the line current once a millisecond
U_ALIGN_S: Final = 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class RunChannel:
    """Where a channel stands in its group, and its calibration; rails in counts."""

    name: str
    quantity: str
    group: int
    column: int
    trip_counts: int | None
    calibration: Calibration
    lo_rail: int
    hi_rail: int
    lag_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One run. Times in s on one axis whose zero is T-0 (`t0_from` says what that is)."""

    path: Path
    run_id: str
    config: dict[str, Any]
    channels: tuple[RunChannel, ...]
    series: tuple[Series, ...]
    epochs: tuple[Epoch, ...]
    zeros_s: dict[int, float]
    facts: tuple[Fact, ...]
    gaps: tuple[SampleGap, ...]
    t0_s: float | None
    t0_tick: int | None
    t0_epoch: int | None
    t0_from: str
    t0_engine_s: float
    is_rehearsal: bool
    findings: tuple[str, ...]
    wire: WireReading
    reading: Reading
    status_records: tuple[Record, ...] = field(repr=False, default=())

    @property
    def mode(self) -> str:
        """Mode word of the CONFIG; a journal flagged as rehearsal is one whatever CONFIG says."""
        said = str(self.config.get("mode", ""))
        return "REHEARSAL" if self.is_rehearsal else (said or "UNKNOWN")

    @property
    def watermark(self) -> str | None:
        """What must stand across every picture of this run."""
        return self.mode if self.mode in ("REHEARSAL", "DRY", "PROOF") else None

    def statuses(self) -> list[dict[str, Any]]:
        """The status JSON objects of the run, in order."""
        return [record.json() for record in self.status_records]

    def named(self, name: str) -> list[Fact]:
        """Facts of one name, in order."""
        return [fact for fact in self.facts if fact.name == name]

    def time_of(self, fact: Fact) -> float:
        """Seconds on the run's axis: by tick where there is one, else by the engine's clock."""
        for epoch in self.epochs:
            if fact.tick is not None and fact.nonce == epoch.nonce:
                return self.zeros_s[epoch.number] + fact.tick * epoch.tick_s
        return fact.t - self.t0_engine_s

    def traces(self, quantity: str) -> list[Trace]:
        """SI traces of all channels of "pressure" or "thrust"; samples at the lower rail left out."""
        found = [self.trace(each) for each in self.channels if each.quantity == quantity]
        return [each for each in found if each is not None]

    def trace(self, channel: RunChannel) -> Trace | None:
        """One channel over all epochs; None if it has no samples."""
        parts = [each for each in self.series if each.group == channel.group]
        if not parts:
            return None
        tick_s = {epoch.number: epoch.tick_s for epoch in self.epochs}
        t = np.concatenate([self.zeros_s[p.epoch] + p.tick * tick_s[p.epoch] for p in parts])
        counts = np.concatenate([p.counts[:, channel.column] for p in parts])
        order = np.argsort(t, kind="stable")
        t, counts = t[order], counts[order]
        dead = voted(counts < channel.lo_rail) & (counts < channel.lo_rail)
        seen = (counts != MISSING) & ~dead
        counts = counts[seen]
        gauge = channel.calibration
        return Trace(
            channel=channel.name,
            unit=gauge.unit,
            t_s=t[seen],
            value=gauge.to_si(np.minimum(counts, channel.hi_rail * 2).astype(np.float64)),
            step_s=parts[0].step * tick_s[parts[0].epoch],
            u_scale_rel=gauge.u_scale_rel,
            u_zero=gauge.u_zero,
            saturated=counts >= channel.hi_rail,
            lag_s=channel.lag_s,
        )

    def context(self) -> Context:
        """What the reduction should know beside the traces."""
        motor = self.config.get("settings", {}).get("motor", {})
        prediction = self.config.get("prediction", {})
        lit = self.named("LIT")
        throat = motor.get("throat_m")
        return Context(
            t0_s=self.t0_s,
            u_t0_s=U_T0_S if self.t0_epoch is not None else U_ALIGN_S,
            lit_s=self.time_of(lit[0]) if lit else None,
            seen=self._seen(),
            trip_pa=self.config.get("limits", {}).get("trip_pa"),
            expected_pa=prediction.get("peak_pa"),
            expected_thrust_n=prediction.get("thrust_n"),
            propellant_kg=motor.get("propellant_kg"),
            u_propellant_kg=float(motor.get("u_propellant_kg") or 0.0),
            c_f=motor.get("thrust_coefficient"),
            throat_m2=None if throat is None else pi / 4.0 * float(throat) ** 2,
        )

    def _seen(self) -> Seen:
        """What engine and board said live; nothing after the release or a check load is a burn."""
        ended = [self.time_of(f) for f in self.facts if f.name in ("RELEASED", "ZERO_BEFORE_LOAD")]
        lit = [self.time_of(fact) for fact in self.named("LIT")]
        told = any(fact.name in ("PHASE", "RELEASED", "OUTCOME") for fact in self.facts)
        if self.t0_from == "first tick" and told and self.reading.is_whole:
            return Seen(until_s=-inf)  # the engine was there all the time and saw nothing
        after = [t for t in ended if t > 0.0 and self.t0_from != "first tick"]
        until = min([t for t in after if not lit or t > lit[-1]], default=inf)
        outs = [
            self.time_of(fact)
            for fact in self.facts
            if fact.name == "BURN_OUT"
            or (fact.name, fact.body.get("kind")) == ("EVENT", "BURN_OUT")
        ]
        last = max([t for t in lit if t < until], default=-inf)
        return Seen(last_lit_s=last, outs_s=tuple(sorted(outs)), until_s=until)


def open_run(path: Path, run_id: str | None = None) -> Run:
    """Read a run, site or journal folder; JournalError if it holds no journal.

    Of a journal with several runs: `run_id`, else the last one begun.
    """
    reading = read_folder(path)
    if not reading.records:
        raise JournalError(
            f"{path}: expected a run, site or journal folder, found no records in it"
        )
    part = part_of(reading.records, run_id)
    if run_id is not None and part.run_id != run_id:
        raise JournalError(f"{path}: expected a run {run_id}, found {part.run_id or 'none'}")
    wire = read_wire(record for record in reading.records if record.seq <= part.end)
    return _assembled(path, reading, part, wire)


def _assembled(path: Path, reading: Reading, part: Part, wire: WireReading) -> Run:
    findings = [*part.findings, *_damage(reading)]
    facts = facts_of(reading.records, part)
    engine = offsets(wire.epochs, reading.records, facts)
    t0_engine, t0_epoch, t0_tick, t0_from = _t_zero(facts, wire.epochs, engine)
    zeros = {number: zero - t0_engine for number, zero in engine.items()}
    series = _series(wire.epochs, findings)
    if len({each.epoch for each in series}) > 1:
        findings.append("the board restarted: times across the restart are good to a few ms")
    gaps = _gaps(series, wire.epochs, zeros, reading.records)
    begin = [fact for fact in facts if part.armed is not None and fact.seq >= part.armed]
    since = begin[0].t - t0_engine if begin else float("-inf")
    return Run(
        path=path,
        run_id=part.run_id,
        config=part.config,
        channels=tuple(_channels(part.config, wire.epochs, findings)),
        series=tuple(series),
        epochs=tuple(wire.epochs),
        zeros_s=zeros,
        facts=tuple(facts),
        gaps=tuple(gap for gap in gaps if gap.end_s >= since),
        t0_s=0.0 if t0_from in ("line current", "GO") else None,
        t0_tick=t0_tick,
        t0_epoch=t0_epoch,
        t0_from=t0_from,
        t0_engine_s=t0_engine,
        is_rehearsal=_rehearsal(reading),
        findings=tuple(findings),
        wire=wire,
        reading=reading,
        status_records=tuple(
            record
            for record in reading.records
            if record.kind == RecordType.STATUS and part.begin <= record.seq <= part.end
        ),
    )


def _t_zero(
    facts: Sequence[Fact], epochs: Sequence[Epoch], engine: dict[int, float]
) -> tuple[float, int | None, int | None, str]:
    """(engine time, epoch, tick, what it is): sensed line current, else GO, else lit, else nothing."""
    numbers = {epoch.nonce: epoch for epoch in epochs}
    candidates = (
        ("line current", [f for f in facts if _is_line_on(f)]),
        ("GO", [f for f in facts if f.name == "GO"]),
        ("lit", [f for f in facts if f.name == "LIT"]),
    )
    for word, found in candidates:
        if not found:
            continue
        first = found[0]
        same = [f.tick for f in found if f.nonce == first.nonce and f.tick is not None]
        epoch = numbers.get(first.nonce) if first.nonce is not None else None
        if word == "GO" or epoch is None or not same:
            return first.t, None, None, word
        tick = min(same)
        return engine[epoch.number] + tick * epoch.tick_s, epoch.number, tick, word
    start = min((engine[epoch.number] for epoch in epochs), default=0.0)
    return start, None, None, "first tick"


def _is_line_on(fact: Fact) -> bool:
    return fact.name == "LINE_ON" or (fact.name == "EVENT" and fact.body.get("kind") == "LINE_ON")


def _series(epochs: Sequence[Epoch], findings: list[str]) -> list[Series]:
    merged = []
    for epoch in epochs:
        for group, blocks in sorted(epoch.blocks.items()):
            if group >= len(epoch.identity.groups):
                findings.append(f"samples of a group {group} that the board did not announce")
                continue
            one = merge(group, epoch.number, blocks, epoch.identity.groups[group].channels)
            if one.differing:
                findings.append(
                    f"{len(one.differing)} samples came twice with different counts, first at index "
                    f"{one.differing[0]} of group {group}: the live ones are used"
                )
            merged.append(one)
    return merged


def _gaps(
    series: Sequence[Series],
    epochs: Sequence[Epoch],
    zeros: dict[int, float],
    records: Sequence[Record],
) -> list[SampleGap]:
    steps = _rehearsal_steps(records)
    found: list[SampleGap] = []
    last: dict[int, Series] = {}
    for each in series:
        tick_s = epochs[each.epoch].tick_s
        found += gaps_inside(each, zeros[each.epoch], tick_s, steps)
        before = last.get(each.group)
        if before is not None:
            cause = epochs[each.epoch].identity.reset_cause.name
            both = (zeros[before.epoch], zeros[each.epoch])
            found.append(gap_between(before, each, both, tick_s, cause))
        last[each.group] = each
    return sorted(found, key=lambda gap: gap.begin_s)


def _rehearsal_steps(records: Sequence[Record]) -> list[tuple[int, int]]:
    steps = []
    for record in records:
        if record.kind == RecordType.CLOCK:
            body = record.json()
            if body.get("kind") == "rehearsal step":
                steps.append((int(body["tick_before"]), int(body["tick_after"])))
    return steps


def _channels(
    config: dict[str, Any], epochs: Sequence[Epoch], findings: list[str]
) -> list[RunChannel]:
    found = []
    for each in config.get("channels", ()):
        try:
            gauge = Calibration.from_json(config["calibration"][each["name"]])
        except (KeyError, TypeError, ValueError) as fault:
            findings.append(f"{each.get('name')}: no usable calibration in the record ({fault})")
            continue
        lo, hi = _rails(epochs, int(each["group"]))
        found.append(
            RunChannel(
                name=each["name"],
                quantity=each["quantity"],
                group=int(each["group"]),
                column=int(each["index"]),
                trip_counts=each.get("trip_counts"),
                calibration=gauge,
                lo_rail=lo,
                hi_rail=hi,
                lag_s=_lag(config, each["name"]),
            )
        )
    if not found:
        findings.append("the record names no channels: counts only, no figures")
    return found


def _lag(config: dict[str, Any], name: str) -> float:
    """Declared lag of line and filter, s; 0 where the record does not say."""
    stand = config.get("settings", {}).get("stand", {})
    filter_s = float(stand.get("latency", {}).get("filter_s") or 0.0)
    lines = [each.get("line_lag_s") for each in stand.get("pressure", ()) if each["name"] == name]
    return filter_s + float(lines[0] or 0.0 if lines else 0.0)


def _rails(epochs: Sequence[Epoch], group: int) -> tuple[int, int]:
    """2 and 98 % of the converter, as announced by the board."""
    for epoch in epochs:
        if group < len(epoch.identity.groups):
            known = epoch.identity.groups[group]
            margin = int((known.full_hi - known.full_lo) * RAIL_SHARE)
            return known.full_lo + margin, known.full_hi - margin
    return 0, COUNT_OVER


def _damage(reading: Reading) -> list[str]:
    found = [*reading.findings]
    found += [f"{d.segment}: {d.nbytes} bytes cannot be read ({d.why})" for d in reading.damage]
    found += [f"{each.segment}: lost ({each.why})" for each in reading.lost]
    if reading.missing_count:
        found.append(f"{reading.missing_count} records are missing")
    return found


def _rehearsal(reading: Reading) -> bool:
    return any(
        segment.header is not None and segment.header.flags & SegmentFlag.REHEARSAL
        for segment in reading.segments
    )
