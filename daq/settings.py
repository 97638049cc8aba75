"""The settings of one test: five files of a folder, read and checked together, values in SI.

`checklist.toml` of the same folder belongs to daq.procedure. Everything wrong in all five files is
reported at once, one sentence a line: `stand.toml [circuit] pulse_ms: expected ..., got ...`.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from daq.errors import ConfigError
from daq.settings_casing import Casing
from daq.settings_crew import Crew
from daq.settings_motor import Motor
from daq.settings_range import RangeRules
from daq.settings_stand import Stand
from daq.settings_table import TableReader, as_json, read_file, shown

FILES: Final[dict[str, type]] = {
    "stand": Stand,
    "casing": Casing,
    "motor": Motor,
    "crew": Crew,
    "range": RangeRules,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings of one test, checked."""

    stand: Stand
    casing: Casing
    motor: Motor
    crew: Crew
    rules: RangeRules

    def shown(self) -> list[tuple[str, str]]:
        """Every setting as (dotted name, text), measured ones in both unit systems; no codes."""
        rows = [
            row
            for name in ("stand", "casing", "motor", "crew", "rules")
            for row in shown(getattr(self, name), name)
        ]
        return [(name, "****" if name.endswith(".code") else text) for name, text in rows]

    def to_json(self, *, codes: bool = False) -> dict[str, Any]:
        """Plain JSON values in SI for the record; the crew's codes are left out unless asked."""
        body: dict[str, Any] = as_json(self)
        if not codes:
            for number, person in enumerate(body["crew"]["people"]):
                person["code"] = f"{number:04d}"
        return body


def settings_from_json(body: dict[str, Any], *, source: str = "CONFIG") -> Settings:
    """Settings from what `Settings.to_json` wrote (codes are placeholders); ConfigError if not."""
    reader = TableReader(source)
    settings = reader.record(Settings, body, "")
    if settings is None:
        raise ConfigError("\n".join(reader.faults))
    return settings


def load_settings(folder: Path) -> Settings:
    """Read stand, casing, motor, crew and range of a settings folder; ConfigError names all faults."""
    faults: list[str] = []
    read: dict[str, Any] = {}
    for name, cls in FILES.items():
        read["rules" if name == "range" else name] = read_file(folder / f"{name}.toml", cls, faults)
    if faults:
        raise ConfigError("\n".join(faults))
    return Settings(**read)
