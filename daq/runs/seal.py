"""`python -m daq.runs.seal JOURNAL RUNS RUN_ID [SECOND]`: copy one run and read the copies back.

A process of its own, because it reads and hashes megabytes and nothing may wait for it.
"""

import sys
from pathlib import Path

from daq.errors import StandError
from daq.runs.bundle import seal_run


def main(arguments: list[str]) -> int:
    if len(arguments) not in (3, 4):
        print(__doc__, file=sys.stderr)
        return 2
    journal, runs, run_id, *second = arguments
    try:
        sealed = seal_run(
            Path(journal), Path(runs), run_id, second=Path(second[0]) if second else None
        )
    except StandError as fault:
        print(fault, file=sys.stderr)
        return fault.exit_code
    print(sealed.path)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
