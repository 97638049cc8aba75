"""Imports go down only (the module map); the files that must not do I/O do none."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("daq", "firmware_protocol", "simulators")

LAYER = {
    "daq.units": 0,
    "daq.errors": 0,
    "daq.settings": 0.5,
    "daq.settings_table": 0.5,
    "daq.settings_stand": 0.5,
    "daq.settings_casing": 0.5,
    "daq.settings_motor": 0.5,
    "daq.settings_crew": 0.5,
    "daq.settings_range": 0.5,
    "daq.settings_demo": 0.5,
    "firmware_protocol": 1,
    "daq.assembly": 1,
    "daq.channels": 1.5,
    "daq.procedure": 2,
    "daq.journal.format": 2,
    "daq.journal.recover": 2,
    "daq.journal.standby": 2,
    "daq.journal.tap": 2,
    "daq.journal.walk": 2,
    "daq.ledger.events": 2,
    "daq.ledger.fold": 2,
    "daq.ledger.checks": 2,
    "daq.ledger.serials": 2,
    "daq.journal": 3,
    "daq.ledger": 3,
    "daq.stand": 3,
    "daq.runs": 3,
    **{
        f"daq.engine.{name}": 2.5
        for name in (
            "actions",
            "acts",
            "alarms",
            "arming",
            "attempt",
            "backfill",
            "board_view",
            "clockfit",
            "conditions_now",
            "core",
            "count",
            "incoming",
            "live",
            "measure",
            "outgoing",
            "plan",
            "prepare",
            "state",
            "status",
            "tools",
            "upkeep",
            "watch",
            "wish_desk",
            "wishes",
        )
    },
    "daq.engine": 4,
    "daq.report": 5,
    "daq.console": 5,
    "simulators": 5,
    "daq.handbook": 0,
    "daq.trials": 6,
    "daq.cli": 6,
}


def layer_of(module: str) -> float:
    name = module
    while name:
        if name in LAYER:
            return LAYER[name]
        name = name.rpartition(".")[0]
    raise AssertionError(f"{module} has no layer: add it to the module map")


def modules() -> dict[str, Path]:
    found = {}
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            if path.name != "__init__.py":
                found[".".join(path.relative_to(ROOT).with_suffix("").parts)] = path
    return found


def imports(path: Path, known: dict[str, Path]) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names & set(known)


def test_init_files_are_empty():
    for package in PACKAGES:
        for path in (ROOT / package).rglob("__init__.py"):
            assert not path.read_text(encoding="utf-8").strip(), path


def test_imports_go_down_only():
    known = modules()
    upward = [
        f"{name} imports {target}"
        for name, path in known.items()
        for target in imports(path, known)
        if layer_of(target) > layer_of(name)
    ]
    assert not upward


def test_no_import_is_circular():
    known = modules()
    edges = {name: imports(path, known) for name, path in known.items()}
    done: set[str] = set()

    def walk(name, trail):
        assert name not in trail, f"circular: {' > '.join([*trail, name])}"
        if name not in done:
            for target in edges[name]:
                walk(target, [*trail, name])
            done.add(name)

    for name in known:
        walk(name, [])


def test_simulators_are_an_independent_witness():
    known = modules()
    for name, path in known.items():
        targets = imports(path, known)
        if name.startswith("simulators"):
            bad = {t for t in targets if t.startswith("daq") and t != "daq.units"}
            assert not bad, f"{name} imports {bad}"
        if name.startswith("firmware_protocol"):
            assert not {t for t in targets if t.startswith(("daq", "simulators"))}, name
        if name.startswith("daq.") and not name.startswith(("daq.trials", "daq.cli")):
            assert not {t for t in targets if t.startswith("simulators")}, name
