"""What is left of a rehearsal or a run: figures, picture, outcome in words, and the debrief."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from daq.errors import ConfigError
from daq.trials.debrief import differences, look
from daq.trials.processes import Refused
from daq.trials.rehearse import Played, Wanted, load_scenario, new_folder, play
from simulators import scenarios_io

if TYPE_CHECKING:
    from daq.runs.open_run import Run

PICTURE = "thrust_pressure.png"


def list_scenarios() -> int:
    """Name, title and tags of every day that can be rehearsed."""
    for name in scenarios_io.names():
        scenario = load_scenario(name)
        print(f"{name:24} {scenario.title}  [{', '.join(scenario.tags)}]")
    return 0


def rehearse(options: argparse.Namespace) -> int:
    """Play a day and say how it went: 0 as the scenario expects, 1 otherwise."""
    wanted = Wanted(
        scenario=options.scenario,
        stand=options.stand,
        out=options.out,
        auto=options.auto,
        headless=options.headless,
        seed=options.seed,
        port_kind="socket" if options.tcp else "pty",
        dark=options.dark,
    )
    played = play_virtual(wanted) if options.virtual else play(wanted)
    if played.engine.get("fault"):
        raise Refused(str(played.engine["fault"]), 3)
    result = report_run(record_of(played), played.folder, quiet=options.json)
    return _debrief(played, result, as_json=options.json)


def play_virtual(wanted: Wanted) -> Played:
    """The same day in lockstep, without processes and without a view."""
    from daq.trials.virtual import VirtualDay

    scenario = load_scenario(wanted.scenario)
    played = Played(folder=new_folder(wanted), scenario=scenario)
    VirtualDay(wanted, played).run()
    return played


def record_of(played: Played) -> Path:
    """The sealed run, or the journal when nothing was ever armed."""
    sealed = played.folder / "runs" / str(played.engine.get("run_id", ""))
    return sealed if sealed.is_dir() else played.folder / "journal"


def report_run(record: Path, out: Path, *, quiet: bool = False) -> dict[str, Any]:
    """Reduce a record, write result.json and the picture into `out`, print the outcome."""
    from daq.runs.open_run import open_run
    from daq.runs.result import outcome_text, result_of, write_result

    run = open_run(record)
    result = result_of(run)
    out.mkdir(parents=True, exist_ok=True)
    write_result(result, out / "result.json")
    picture = draw(run, result, out / PICTURE)
    if not quiet:
        print(outcome_text(result))
        print(f"Record: {record}\nFigures: {out / 'result.json'}\nPicture: {picture}")
    return result


def draw(run: "Run", result: dict[str, Any], path: Path) -> str:
    """Draw the picture; where it lies, or why there is none."""
    try:
        from daq.report.picture import draw_run
    except ModuleNotFoundError as missing:
        return f"not drawn, {missing.name} is not installed: pip install 'berm[report]'"
    draw_run(run, result, path)
    return str(path)


def _debrief(played: Played, result: dict[str, Any], *, as_json: bool) -> int:
    """Hold what was seen against the scenario; print what differs."""
    seen = look(played.folder)
    seen.gaps = bool(result["gaps"])
    found = differences(seen, played.scenario.expect)
    if as_json:
        print(json.dumps(result, indent=1))
    elif not found:
        print(
            f"Scenario {played.scenario.name}: as expected ({' > '.join(seen.phases) or 'SAFE'})."
        )
        if played.wall_s:
            print(f"Wall time {played.wall_s:.1f} s.")
    for text in found:
        print(f"Scenario {played.scenario.name}: {text}", file=sys.stderr)
    return 1 if found else 0


def results(record: Path, out: Path | None, *, as_json: bool) -> int:
    """`berm results`: reduce any record again."""
    if not record.exists():
        raise ConfigError(
            f"results {record}: expected a run, site or journal folder, got nothing there"
        )
    result = report_run(record, out or record, quiet=as_json)
    if as_json:
        print(json.dumps(result, indent=1))
    return 0
