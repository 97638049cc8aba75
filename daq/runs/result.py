"""`result.json` and the outcome in words: the quick look, minutes after the burn (practice 7.1).

Rules: it is PRELIMINARY and stays so; every figure carries its uncertainty and definition; a trip
says what it did and never more: it opened the line, the burn went on.
"""

import json
import os
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any, Final

import numpy as np

from daq.channels.vote import NEEDED, OF
from daq.runs.burn import Burn, reduce_burn
from daq.runs.facts import Fact
from daq.runs.figures import SHOWN, shown
from daq.runs.missing import SampleGap
from daq.runs.open_run import Run, RunChannel
from daq.runs.series import Series
from daq.units import both

FORMAT: Final = 1
OUTCOMES: Final[dict[str, str]] = {
    "burnt": "The motor burnt.",
    "aborted": "The motor lit and the attempt was aborted. An abort does not end a burn.",
    "misfire": "Misfire: energy was given, no burn was seen.",
    "not fired": "Not fired: no energy was given.",
    "unknown": "Outcome unknown: nobody saw whether it burnt. Treat it as the worst that fits.",
}


def software_version() -> str:
    """Version of this package; "source" when it runs from its tree without being installed."""
    try:
        return version("berm")
    except PackageNotFoundError:
        return "source"


def result_of(run: Run) -> dict[str, Any]:
    """Reduce a run to what result.json holds."""
    return result_from(run, reduce_run(run))


def reduce_run(run: Run) -> Burn:
    """The figures of an opened run."""
    return reduce_burn(run.traces("thrust"), run.traces("pressure"), run.context())


def result_from(run: Run, burn: Burn) -> dict[str, Any]:
    """The same, of a burn that was reduced already."""
    return {
        "format": FORMAT,
        "preliminary": True,
        "run_id": run.run_id,
        "mode": run.mode,
        "watermark": run.watermark,
        "setup_id": run.config.get("setup_id"),
        "outcome": outcome_of(run, burn),
        "figures": {name: figure.as_json() for name, figure in burn.figures.items()},
        "t0": {"from": run.t0_from, "tick": run.t0_tick, "epoch": run.t0_epoch},
        "marks": _marks(run, burn),
        "trip": trip_of(run, burn),
        "pulses": _pulses(run),
        "gaps": [gap.as_json() for gap in burn_gaps(run, burn)],
        "lost": {
            "samples": sum(gap.count or 0 for gap in run.gaps),
            "bad_frames": run.wire.bad_frames,
            "records": run.reading.missing_count,
            "lost_for_good": sum(epoch.lost_for_good for epoch in run.epochs),
        },
        "limits": run.config.get("limits", {}),
        "prediction": {
            name: value
            for name, value in run.config.get("prediction", {}).items()
            if name != "curve"
        },
        "findings": [*burn.findings, *run.findings],
        "record": {
            "segments": [segment.name for segment in run.reading.segments],
            "whole": run.reading.is_whole,
            "samples": int(sum(len(series.indices) for series in run.series)),
            "filled": int(sum(series.filled.sum() for series in run.series)),
            "duplicates": int(sum(series.duplicates for series in run.series)),
        },
        "software": {"name": "berm", "version": software_version()},
    }


def write_result(result: dict[str, Any], path: Path) -> None:
    """Write result.json whole or not at all."""
    text = json.dumps(result, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, path)  # noqa: PTH105 - one rename, also over an older result


def outcome_of(run: Run, burn: Burn) -> str:
    """The engine's word where it gave one; a burn in the record overrules "not fired"."""
    said = run.named("OUTCOME")
    word = str(said[-1].body.get("outcome", "")) if said else ""
    if burn.lit and word in ("", "not fired", "misfire", "unknown"):
        return "aborted" if run.named("TRIP") else "burnt"
    if word:
        return word
    if run.named("LIT"):
        return "aborted" if run.named("TRIP") else "burnt"
    gave = run.named("GO") or run.named("LINE_ON")
    return "misfire" if gave else "not fired"


def burn_gaps(run: Run, burn: Burn) -> list[SampleGap]:
    """Gaps of the record from the arming to the release (all, if nothing was armed or released)."""
    ended = [run.time_of(fact) for fact in run.named("RELEASED")]
    until = max([t for t in ended if t > 0.0], default=float("inf"))
    if burn.span is not None:
        until = max(until, burn.span.end_s)
    return [gap for gap in run.gaps if gap.begin_s <= until]


def trip_of(run: Run, burn: Burn) -> dict[str, Any]:
    """The first trip: who saw it, when, at what, how long after the first sample over."""
    trips = run.named("TRIP")
    if not trips:
        return {"tripped": False, "where": None, "time_s": None, "detection_delay_ms": None,
                "pressure_pa": None, "text": "No trip.", "burn_went_on": None}  # fmt: skip
    first = min(trips, key=run.time_of)
    seconds = run.time_of(first)
    went_on = burn.span is not None and burn.span.quiet_from_s > seconds + 0.05
    pressure = first.body.get("pa")
    delay = _delay_ms(run, trips, seconds)
    return {
        "tripped": True,
        "where": first.body.get("where"),
        "by": sorted({str(fact.body.get("where")) for fact in trips}),
        "time_s": seconds,
        "detection_delay_ms": delay,
        "pressure_pa": pressure,
        "burn_went_on": went_on,
        "text": _trip_text(run, first, seconds, delay, burn if went_on else None),
    }


def _delay_ms(run: Run, trips: list[Fact], seconds: float) -> float | None:
    """From the first of the voted samples over the trip to the one that decided, out of the record."""
    first = min(trips, key=run.time_of)
    for epoch in run.epochs:
        if epoch.nonce != first.nonce:
            continue
        known = [
            _vote_ticks(series, channel, first.tick)
            for series in run.series
            for channel in run.channels
            if (series.epoch, series.group) == (epoch.number, channel.group)
        ]
        if any(known):
            return max(ticks for ticks in known if ticks) * epoch.tick_s * 1000.0
    told = [f.body.get("delay_ms") for f in trips if abs(run.time_of(f) - seconds) < 0.05]
    return next((float(each) for each in told if each is not None), None)


def _vote_ticks(series: Series, channel: RunChannel, tick: int | None) -> int | None:
    if channel.trip_counts is None or tick is None:
        return None
    at = int(np.searchsorted(series.tick, tick, side="right"))
    over = series.counts[max(0, at - OF) : at, channel.column] >= channel.trip_counts
    hits = np.flatnonzero(over)
    if len(hits) < NEEDED:
        return None
    return tick - int(series.tick[max(0, at - OF) + int(hits[0])])


def _trip_text(run: Run, trip: Fact, seconds: float, delay: float | None, burn: Burn | None) -> str:
    said = [f"Trip by the {trip.body.get('where')} at T{_signed(seconds)} s"]
    if trip.body.get("pa") is not None:
        said.append(f"at {both(float(trip.body['pa']), 'pressure')}")
    limit = run.config.get("limits", {}).get("trip_pa")
    if limit:
        said.append(f"(limit {both(float(limit), 'pressure')})")
    text = " ".join(said)
    if delay is not None:
        text += f", {delay:.2f} ms after the first sample over it"
    text += ". It opened the line and sounded the siren"
    if burn is not None and burn.span is not None:
        return f"{text}; the motor burned on for {burn.span.quiet_from_s - seconds:.1f} s."
    return f"{text}; it does not stop a burn."


def _marks(run: Run, burn: Burn) -> dict[str, float | None]:
    def first(name: str) -> float | None:
        facts = run.named(name)
        return run.time_of(facts[0]) if facts else None

    return {
        "go_s": first("GO"),
        "line_off_s": first("LINE_OFF"),
        "lit_seen_s": first("LIT"),
        "ignition_s": burn.ignition_s,
        "web_burn_out_s": burn.web_s,
        "action_end_s": burn.action_end_s,
        "burn_out_seen_s": first("BURN_OUT"),
        "begin_s": burn.span.begin_s if burn.span else None,
        "quiet_from_s": burn.span.quiet_from_s if burn.span else None,
    }


def _pulses(run: Run) -> int:
    known = [
        int(fact.body.get("pulse") or 1) for fact in run.facts if fact.name in ("LIT", "CHUFF")
    ]
    return max(known, default=0)


def outcome_text(result: dict[str, Any]) -> str:
    """The outcome for the terminal: plain, aligned, PRELIMINARY."""
    return "\n".join(_lines(result)) + "\n"


def _lines(result: dict[str, Any]) -> Iterator[str]:
    mark = f"  {result['mode']}" if result["mode"] else ""
    yield f"PRELIMINARY{mark}  run {result['run_id'] or '(none)'}"
    yield OUTCOMES.get(result["outcome"], str(result["outcome"]))
    if result["pulses"] > 1:
        yield f"It lit {result['pulses']} times; the figures run over all of it."
    if result["trip"]["tripped"]:
        yield result["trip"]["text"]
    figures = result["figures"]
    if any(each["value"] is not None for each in figures.values()):
        yield ""
        yield from _figure_lines(figures)
        yield "Uncertainties are expanded (k = 2). Definitions are in result.json."
    yield ""
    yield from _gap_lines(result)
    for finding in result["findings"]:
        yield f"Found: {finding}"


def _figure_lines(figures: dict[str, Any]) -> Iterator[str]:
    for name, (label, _) in SHOWN.items():
        figure = figures[name]
        if figure["value"] is None:
            text = f"not given: {figure['note']}"
        else:
            text = shown(name, figure["value"], figure["expanded_uncertainty"], figure["bound"])
            text += f"  ({figure['note']})" if figure["note"] else ""
        yield f"{label:<18} {figure['definition']:<5} {text}"


def _gap_lines(result: dict[str, Any]) -> Iterator[str]:
    gaps, lost = result["gaps"], result["lost"]
    if not gaps:
        yield "Samples: none missing."
    for gap in gaps[:5]:
        count = f"{gap['count']} samples" if gap["count"] else "samples"
        yield (
            f"Gap: {count} of group {gap['group']} missing from T{_signed(gap['begin_s'])} s to "
            f"T{_signed(gap['end_s'])} s, {gap['why']}."
        )
    if len(gaps) > 5:
        yield f"Gap: {len(gaps) - 5} more, all in result.json."
    if lost["bad_frames"] or lost["records"]:
        yield f"Lost: {lost['bad_frames']} damaged frames, {lost['records']} records."


def _signed(seconds: float) -> str:
    sign = "+" if seconds >= 0 else "\u2212"
    return f"{sign}{abs(seconds):.3f}"
