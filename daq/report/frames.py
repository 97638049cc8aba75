"""Pandas frames of a run, for people who go on from here (pandas only in this package)."""

import numpy as np
import pandas as pd

from daq.runs.open_run import Run


def to_frame(run: Run) -> pd.DataFrame:
    """All samples of the run's first group: time, tick, index, epoch, counts and SI per channel.

    Columns: `time_s` (from T-0), `epoch`, `tick`, `index`, `filled` and per channel `NAME_counts`
    and `NAME_pa` or `NAME_n`. Samples that were not received have no row.
    """
    return to_frames(run).get(min((s.group for s in run.series), default=0), pd.DataFrame())


def to_frames(run: Run) -> dict[int, pd.DataFrame]:
    """One frame per group, each at its own rate."""
    ticks = {epoch.number: epoch.tick_s for epoch in run.epochs}
    frames: dict[int, list[pd.DataFrame]] = {}
    for series in run.series:
        columns: dict[str, object] = {
            "time_s": run.zeros_s[series.epoch] + series.tick * ticks[series.epoch],
            "epoch": np.full(len(series.tick), series.epoch),
            "tick": series.tick,
            "index": series.indices,
            "filled": series.filled,
        }
        for channel in run.channels:
            if channel.group == series.group:
                counts = series.counts[:, channel.column]
                columns[f"{channel.name}_counts"] = counts
                unit = channel.calibration.unit
                columns[f"{channel.name}_{unit}"] = channel.calibration.to_si(counts)
        frames.setdefault(series.group, []).append(pd.DataFrame(columns))
    return {group: pd.concat(parts, ignore_index=True) for group, parts in frames.items()}
