"""Example settings: where they lie, and a ready folder of them for rehearsals and new sites."""

import re
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final

from daq.errors import ConfigError

STANDS: Final = ("fast", "avr")
CASING: Final = "casings/case_a.toml"
MOTOR: Final = "motors/bates_64.toml"
CHECKLIST: Final = "checklists/fire.toml"


def config_root() -> Path:
    """The folder of example settings: in the installed package, or at the top of the source tree."""
    here = Path(__file__).resolve().parent
    for folder in (here / "handbook" / "config", here.parent / "config"):
        if (folder / "range.toml").is_file():
            return folder
    raise ConfigError("config: expected the example settings beside the program, got none")


def demo_settings(stand: str, out: Path, today: date | None = None) -> Path:
    """Put the example settings of a stand ("fast" or "avr") into the folder `out`; returns it.

    The examples' calibrations are invented, so they are dated to be good on `today` (default: the
    computer's date, UTC).
    """
    root = config_root()
    if stand not in STANDS:
        raise ConfigError(f"stand: expected one of {', '.join(STANDS)}, got {stand!r}")
    out.mkdir(parents=True, exist_ok=True)
    wanted = {
        "stand.toml": f"stands/{stand}.toml",
        "casing.toml": CASING,
        "motor.toml": MOTOR,
        "crew.toml": "crew.toml",
        "range.toml": "range.toml",
        "checklist.toml": CHECKLIST,
        "phrases.toml": "phrases.toml",
    }
    for name, source in wanted.items():
        if (root / source).is_file():
            shutil.copyfile(root / source, out / name)
    _date_calibrations(out / "stand.toml", today or datetime.now(UTC).date())
    return out


def _date_calibrations(stand: Path, today: date) -> None:
    text = stand.read_text(encoding="utf-8")
    for key, day in (
        ("made", today - timedelta(days=25)),
        ("valid_until", today + timedelta(days=340)),
    ):
        text = re.sub(rf"(?m)^{key} = \d{{4}}-\d\d-\d\d$", f"{key} = {day}", text)
    stand.write_text(text, encoding="utf-8")
