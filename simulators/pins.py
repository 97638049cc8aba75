"""Log of what the board's output pins did, written and flushed as it happens.

One line a change: `tick,time_s,pin,level`. `tick` is the board's own tick (it starts again at a
reset), `time_s` the stand's time since start. Nothing is joined or smoothed: this is the witness
that the line was on, or was not.
"""

from pathlib import Path
from typing import Final

HEADER: Final = "tick,time_s,pin,level\n"


class PinLog:
    """Changes of named pins; keeps the newest levels and, when given a folder, `pins.csv`."""

    def __init__(self, folder: Path | None) -> None:
        self.levels: dict[str, bool] = {}
        self.changes: list[tuple[int, float, str, bool]] = []
        self._file = None
        if folder is not None:
            folder.mkdir(parents=True, exist_ok=True)
            self._file = (folder / "pins.csv").open("w", encoding="utf-8", newline="\n")
            self._file.write(HEADER)
            self._file.flush()

    def put(self, tick: int, time_s: float, pin: str, level: bool) -> None:
        """Note a level; only a change is written."""
        if self.levels.get(pin, False) == level:
            return
        self.levels[pin] = level
        self.changes.append((tick, time_s, pin, level))
        if self._file is not None:
            self._file.write(f"{tick},{time_s:.6f},{pin},{int(level)}\n")
            self._file.flush()

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
