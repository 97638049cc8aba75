"""Scenario files: what goes wrong on the stand, what the crew does otherwise, what must come out.

    [scenario]  title, about, tags
    [start]     optional: what differs before power-on (line_open, key_in, dummy, supply_mv, ...)
    [motor]     optional: motor numbers that differ (SI keys of simulators/motor.py)
    [[fault]]   at, do, ... (simulators/faults.py)
    [crew]      the crew script's deviations; read by the crew, passed on as it is
    [expect]    what a run must show at its end

Unknown keys are errors with a sentence: a misspelled expectation would never fail.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from simulators.faults import Fault

FOLDER: Final = Path(__file__).parent / "scenarios"
SECTIONS: Final = frozenset({"scenario", "start", "motor", "fault", "crew", "expect"})
START_KEYS: Final = frozenset(
    {"key_in", "stop_in", "joined", "load", "shunted", "line", "nv_hex", "test_load_a"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Expect:
    """What must be true at the end. None = not looked at; texts are plain substrings."""

    end_phase: str | None = None
    circuit: str | None = None
    approach: str | None = None
    wait: str | None = None
    outcome: str | None = None
    true_outcome: str | None = None
    trip: bool | None = None
    gaps: bool | None = None
    boots: int | None = None
    line_on: bool | None = None
    phases: tuple[str, ...] = ()
    never_phases: tuple[str, ...] = ()
    says: tuple[str, ...] = ()
    never_says: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One bad (or good) day."""

    name: str
    title: str
    about: str
    tags: tuple[str, ...]
    faults: tuple[Mapping[str, Any], ...] = ()
    start: Mapping[str, Any] = field(default_factory=dict)
    motor: Mapping[str, Any] = field(default_factory=dict)
    crew: Mapping[str, Any] = field(default_factory=dict)
    expect: Expect

    def apply(self, message: Mapping[str, Any]) -> dict[str, Any]:
        """A start message with this scenario's faults and differences in it; a new dict."""
        motor = message.get("motor")
        return {
            **message,
            "stand": {**message["stand"], **self.start},
            "motor": None if motor is None else {**motor, **self.motor},
            "faults": [*message.get("faults", ()), *self.faults],
        }


def names(folder: Path = FOLDER) -> list[str]:
    """Names of all scenarios in a folder, in order."""
    return sorted(path.stem for path in folder.glob("*.toml"))


def load(name: str, folder: Path = FOLDER) -> Scenario:
    """Read and check one scenario; ValueError names the file, the key and what was expected."""
    path = folder / f"{name}.toml"
    if not path.is_file():
        raise ValueError(f"scenario {name!r} is not known; known are {', '.join(names(folder))}")
    try:
        return parse(name, tomllib.loads(path.read_text(encoding="utf-8")))
    except (tomllib.TOMLDecodeError, ValueError) as wrong:
        raise ValueError(f"scenario {name}: {wrong}") from None


def parse(name: str, raw: Mapping[str, Any]) -> Scenario:
    """Check a scenario's content."""
    _only(raw, SECTIONS, "section")
    head = raw.get("scenario", {})
    _only(head, {"title", "about", "tags"}, "[scenario] key")
    for key in ("title", "about", "tags"):
        if not head.get(key):
            raise ValueError(f"[scenario] {key} is missing")
    faults = tuple(raw.get("fault", ()))
    for fault in faults:
        Fault.from_json(fault)
    _only(raw.get("start", {}), START_KEYS, "[start] key")
    return Scenario(
        name=name,
        title=str(head["title"]),
        about=str(head["about"]).strip(),
        tags=tuple(head["tags"]),
        faults=faults,
        start=raw.get("start", {}),
        motor=raw.get("motor", {}),
        crew=raw.get("crew", {}),
        expect=_expect(raw.get("expect")),
    )


def _expect(raw: Mapping[str, Any] | None) -> Expect:
    if not raw:
        raise ValueError("[expect] is missing: a scenario that expects nothing proves nothing")
    _only(raw, frozenset(Expect.__dataclass_fields__), "[expect] key")
    values: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in raw.items()
    }
    return Expect(**values)


def _only(raw: Mapping[str, Any], known: frozenset[str] | set[str], what: str) -> None:
    for key in raw:
        if key not in known:
            raise ValueError(f"unknown {what} {key!r}; known are {', '.join(sorted(known))}")
