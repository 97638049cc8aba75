"""The command `berm`: verbs, their options, exit codes. Heavy imports happen inside a verb.

Exit 0 done, 1 found something wrong, 2 wrong use, 3 refused for safety. Every `--help` shows one
worked example. Nothing here decides anything about a stand.
"""

import argparse
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from daq.errors import StandError

ABOUT: Final = (
    "Test-stand data acquisition and range-safety controller for experimental solid-propellant "
    "motors. It drives an igniter beside a pressure vessel: local law, the range's own code and "
    "licensed people come first. An abort opens the igniter line; a motor that burns, burns on."
)
Verb = Callable[[argparse.Namespace], int]


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(prog="berm", description=ABOUT)
    top.add_argument("--version", action="version", version="berm 0.1.0")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    _rehearse_options(verbs)
    _run_options(verbs)
    _site_options(verbs)
    _record_options(verbs)
    _ledger_options(verbs)
    return top


def _verb(
    verbs: "argparse._SubParsersAction[argparse.ArgumentParser]",
    name: str,
    what: str,
    example: str,
    do: Verb,
) -> argparse.ArgumentParser:
    made = verbs.add_parser(
        name,
        help=what,
        description=what,
        epilog=f"example:  {example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    made.set_defaults(do=do)
    return made


def _rehearse_options(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    made = _verb(
        verbs,
        "rehearse",
        "play one whole firing on the simulated stand",
        "berm rehearse --headless --scenario overpressure --out /tmp/bad-day",
        rehearse,
    )
    made.add_argument(
        "--scenario", default="nominal", metavar="NAME", help="which day (see --list)"
    )
    made.add_argument("--list", action="store_true", help="list the days and end")
    made.add_argument("--stand", choices=("fast", "avr"), default="fast", help="which demo stand")
    made.add_argument("--auto", action="store_true", help="script every member of the crew")
    made.add_argument("--headless", action="store_true", help="terminal view, no window")
    made.add_argument(
        "--out", type=Path, metavar="DIR", help="new or empty folder for what comes out"
    )
    made.add_argument("--seed", type=int, default=1, help="seed of the simulated noise")
    made.add_argument(
        "--virtual", action="store_true", help="in lockstep, in virtual time, no view"
    )
    made.add_argument("--dark", action="store_true", help="dark window")
    made.add_argument(
        "--tcp", action="store_true", help="loopback port instead of a pseudo-terminal"
    )
    made.add_argument("--json", action="store_true", help="print result.json at the end")


def _run_options(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    made = _verb(
        verbs, "run", "run the real stand", "berm run --site ~/site --port /dev/ttyUSB0", run
    )
    _site(made)
    made.add_argument("--port", metavar="DEVICE", help="serial device, else the one in stand.toml")
    made.add_argument("--dry", action="store_true", help="real board, dummy load, no motor")
    made.add_argument("--headless", action="store_true", help="engine and terminal view, no window")
    made.add_argument("--second", type=Path, metavar="DIR", help="second medium for the copies")
    made.add_argument(
        "--mirror", type=Path, metavar="DIR", help="folder on another disk: a second record, live"
    )
    made.add_argument("--dark", action="store_true", help="dark window")
    made = _verb(
        verbs,
        "console",
        "open the window on a running engine",
        "berm console --site ~/site",
        console,
    )
    _site(made)
    made.add_argument("--dark", action="store_true", help="dark window")


def _site(made: argparse.ArgumentParser) -> None:
    made.add_argument("--site", type=Path, required=True, metavar="DIR", help="the site folder")


def _site_options(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    made = _verb(
        verbs, "new-site", "make a site folder from the examples", "berm new-site ~/site", new_site
    )
    made.add_argument("dir", type=Path, metavar="DIR")
    made.add_argument(
        "--stand", choices=("fast", "avr"), default="fast", help="which example stand"
    )
    made = _verb(
        verbs, "rate", "rate the casing and derive the trip", "berm rate --site ~/site", rate_casing
    )
    made.add_argument(
        "assembly", type=Path, nargs="?", metavar="ASSEMBLY.toml", help="a casing file"
    )
    made.add_argument("--site", type=Path, metavar="DIR", help="a site; without one the examples")
    made.add_argument("--stand", choices=("fast", "avr"), help="example stand")
    made.add_argument("--json", action="store_true", help="as JSON")
    made.add_argument(
        "--conventions", action="store_true", help="published factors to compare with"
    )
    made = _verb(
        verbs,
        "check",
        "say what works on this machine and in this site",
        "berm check --site ~/site --settings",
        check,
    )
    made.add_argument("--site", type=Path, metavar="DIR", help="a site")
    made.add_argument("--settings", action="store_true", help="show each setting in both units")
    made = _verb(
        verbs, "procedure", "show the procedure's table", "berm procedure --json", procedure
    )
    made.add_argument("--json", action="store_true", help="as JSON")


def _ledger_options(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    made = _verb(
        verbs,
        "ledger",
        "the life of every part: add, list, show, verify, export, import",
        "berm ledger add anomaly serial=CA-07-A text='scratch at the land' --site ~/site --by Mara",
        ledger,
    )
    made.add_argument(
        "action",
        choices=("start", "add", "list", "show", "verify", "export", "import", "close"),
        help="start: enter the parts of the settings; close: enter runs from the record",
    )
    made.add_argument(
        "words", nargs="*", metavar="WORD", help="kind and NAME=VALUE, serial or file"
    )
    _site(made)
    made.add_argument("--by", metavar="NAME", help="who writes the entry")
    made.add_argument("--json", action="store_true", help="as JSON")


def _record_options(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    made = _verb(
        verbs,
        "recover",
        "say what a record holds, what is missing, what is damaged",
        "berm recover ~/site --out /tmp/clean",
        recover,
    )
    made.add_argument("path", type=Path, metavar="PATH", help="run folder, site or journal folder")
    made.add_argument("--out", type=Path, metavar="DIR", help="write a clean copy there")
    made.add_argument("--json", action="store_true", help="as JSON")
    made = _verb(
        verbs,
        "verify",
        "read a record back against its sums",
        "berm verify ~/site/runs/R-0001",
        verify,
    )
    made.add_argument("path", type=Path, metavar="PATH")
    made.add_argument("--json", action="store_true", help="as JSON")
    made = _verb(
        verbs, "results", "figures and picture of a run", "berm results ~/site/runs/R-0001", results
    )
    made.add_argument("path", type=Path, metavar="PATH", help="run folder, site or journal folder")
    made.add_argument("--out", type=Path, metavar="DIR", help="folder for result.json and picture")
    made.add_argument("--json", action="store_true", help="as JSON")


# ---- verbs ---------------------------------------------------------------------------------------


def rehearse(wanted: argparse.Namespace) -> int:
    from daq.trials import evening

    if wanted.list:
        return evening.list_scenarios()
    return evening.rehearse(wanted)


def run(wanted: argparse.Namespace) -> int:
    from daq.trials import day

    return day.run(wanted)


def console(wanted: argparse.Namespace) -> int:
    from daq.trials import day

    return day.console(wanted)


def new_site(wanted: argparse.Namespace) -> int:
    from daq.trials import day

    return day.new_site(wanted.dir, wanted.stand)


def rate_casing(wanted: argparse.Namespace) -> int:
    from daq.trials import sheets

    return sheets.rate(wanted)


def check(wanted: argparse.Namespace) -> int:
    from daq.trials import machine

    return machine.check(wanted.site, settings_shown=wanted.settings)


def ledger(wanted: argparse.Namespace) -> int:
    from daq.trials import parts

    return parts.ledger(wanted)


def procedure(wanted: argparse.Namespace) -> int:
    from daq.procedure import describe

    print(json.dumps(describe.as_json(), indent=1) if wanted.json else describe.describe())
    return 0


def recover(wanted: argparse.Namespace) -> int:
    from daq.journal import report_text

    return _tell(report_text.recover(wanted.path, wanted.out), as_json=wanted.json)


def verify(wanted: argparse.Namespace) -> int:
    from daq.journal import report_text

    return _tell(report_text.verify(wanted.path), as_json=wanted.json)


def _tell(description: "object", *, as_json: bool) -> int:
    from daq.journal.report_text import Description

    assert isinstance(description, Description)
    print(json.dumps(description.facts, indent=1) if as_json else description.text)
    return description.exit_code


def results(wanted: argparse.Namespace) -> int:
    from daq.trials import evening

    return evening.results(wanted.path, wanted.out, as_json=wanted.json)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; a StandError becomes its sentence, never a traceback."""
    wanted = parser().parse_args(arguments)
    try:
        return int(wanted.do(wanted))
    except StandError as fault:
        print(f"berm {wanted.verb}: {fault}", file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1


if __name__ == "__main__":
    sys.exit(main())
