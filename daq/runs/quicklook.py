"""`python -m daq.runs.quicklook JOURNAL RUN_ID`: the figures of a run as the screen shows them, as JSON.

A process of its own, because a reduction takes a second and nothing may wait for it. PRELIMINARY.
"""

import json
import sys
from pathlib import Path
from typing import Any

from daq.errors import StandError
from daq.runs.figures import SHOWN, shown
from daq.runs.open_run import open_run
from daq.runs.result import result_of


def quicklook(journal: Path, run_id: str) -> dict[str, Any]:
    """{"figures": [{"name", "text", "definition"}]}; the metric text only, a screen is narrow."""
    figures = result_of(open_run(journal, run_id))["figures"]
    rows = []
    for name, (label, _) in SHOWN.items():
        figure = figures[name]
        if figure["value"] is not None:
            text = shown(name, figure["value"], figure["expanded_uncertainty"], figure["bound"])
            rows.append(
                {
                    "name": label,
                    "text": text.partition(" = ")[0],
                    "definition": figure["definition"],
                }
            )
    return {"figures": rows}


def main(arguments: list[str]) -> int:
    if len(arguments) != 2:
        print(__doc__, file=sys.stderr)
        return 2
    try:
        print(json.dumps(quicklook(Path(arguments[0]), arguments[1])))
    except StandError as fault:
        print(fault, file=sys.stderr)
        return fault.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
