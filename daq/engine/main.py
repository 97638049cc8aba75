"""The engine as a process of its own: `python -m daq.engine.main`.

Reads one JSON object from the first line of its input, answers with one JSON line
{"socket": ...} when it serves, and one {"ended": ...} when it ends. It runs in its own session
and ignores Ctrl-C outside SAFE. One engine per site: `engine.lock` is held, and names the socket.
"""

import gc
import json
import os
import random
import signal
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Self, TextIO

from daq.engine.actions import body
from daq.engine.core import Engine
from daq.engine.history import read_history
from daq.engine.loops import Housekeeping, Places, SafetyLoop
from daq.engine.perform import StepTime, host_now_ns
from daq.engine.plan import DRY, REHEARSAL, Plan
from daq.engine.prepare import RunNames, known_values, make_plan, waits_of
from daq.engine.talk import Talk, new_socket_path
from daq.errors import ConfigError, StandError
from daq.journal.format import RecordType
from daq.journal.mirror import Mirror
from daq.journal.writer import JournalWriter
from daq.ledger.standing import Standing, standing_of
from daq.procedure.approach import Latch
from daq.procedure.checklist import load_checklist
from daq.procedure.phases import Phase
from daq.procedure.signatures import Signatures
from daq.settings import Settings, load_settings
from daq.stand.clock import HostClock, boot_id_hash
from daq.stand.port import SerialPort
from daq.stand.steps import StepClient

LETTER: Final = {REHEARSAL: "H", DRY: "D"}
COLLECT_S: Final = 60.0
STARTER_S: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What the starter asks for; `control` and `may_be_real` belong to a rehearsal only."""

    site: Path
    mode: str
    port: str
    control: str | None = None
    may_be_real: bytes | None = None
    second: Path | None = None
    mirror: Path | None = None

    @classmethod
    def from_json(cls, text: str) -> Self:
        """ConfigError if the line is not what the starter of an engine sends."""
        try:
            raw = json.loads(text)
            return cls(
                site=Path(raw["site"]),
                mode=str(raw["mode"]),
                port=str(raw["port"]),
                control=raw.get("control"),
                may_be_real=bytes.fromhex(raw["may_be_real"]) if raw.get("may_be_real") else None,
                second=Path(raw["second"]) if raw.get("second") else None,
                mirror=Path(raw["mirror"]) if raw.get("mirror") else None,
            )
        except (ValueError, KeyError, TypeError) as fault:
            raise ConfigError(
                f"engine: expected a start message, got a bad one ({fault})"
            ) from fault


class SiteLock:
    """`engine.lock` of a site, held as long as the process lives."""

    def __init__(self, site: Path) -> None:
        self._path = site / "engine.lock"
        self._file: TextIO = self._path.open("a+", encoding="utf-8")
        try:
            self._take()
        except OSError as fault:
            raise ConfigError(f"{self._path}: another engine runs on this site") from fault

    def _take(self) -> None:
        if os.name == "posix":
            import fcntl

            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def close(self) -> None:
        self._file.close()

    def name(self, socket: Path) -> None:
        self._file.seek(0)
        self._file.truncate()
        self._file.write(f"{socket}\n{os.getpid()}\n")
        self._file.flush()


@dataclass(slots=True)
class Built:
    """Everything of one engine process, wired together."""

    plan: Plan
    engine: Engine
    loop: SafetyLoop
    writer: JournalWriter
    talk: Talk
    house: Housekeeping
    lock: SiteLock


def parts_of(order: Order, settings: Settings) -> Standing:
    """What the ledger knows of the parts; a rehearsal never asks it, only a real run is barred."""
    if order.mode == REHEARSAL:
        return Standing(settings=settings, unreconciled=(), barred=())
    standing = standing_of(order.site, settings, datetime.now(UTC).date())
    return standing if order.mode != DRY else replace(standing, unreconciled=(), barred=())


def plan_of(order: Order, parts: Standing, next_run: int, dry: frozenset[int]) -> Plan:
    """The plan of the next run of this site."""
    settings = parts.settings
    names = RunNames(
        mode=order.mode,
        site=settings.rules.site.name,
        run_id=f"{LETTER.get(order.mode, 'R')}-{next_run:04d}",
        run_number=next_run,
        today=datetime.now(UTC).date(),
        dry_done=True,
        may_be_real=order.may_be_real,
        unreconciled=parts.unreconciled,
        barred=parts.barred,
    )
    plan = make_plan(settings, names)
    if order.mode in (REHEARSAL, DRY) or plan.setup_id in dry:
        return plan
    return make_plan(settings, RunNames(**{**_fields(names), "dry_done": False}))


def _fields(names: RunNames) -> dict[str, Any]:
    return {name: getattr(names, name) for name in names.__slots__}


@dataclass(slots=True)
class Opened:
    """A site that is locked, its record open, its engine made; nothing runs yet."""

    settings: Settings
    plan: Plan
    engine: Engine
    writer: JournalWriter
    places: Places
    lock: SiteLock

    @property
    def config(self) -> Callable[[dict[str, Any]], bytes]:
        """The CONFIG body for a latch fact."""
        return lambda latch: body({**self.plan.config, "latch": latch})


def open_site(order: Order) -> Opened:
    """Read the site, open its record, make the engine; StandError with a sentence if it cannot."""
    folder = order.site / "settings"
    settings = load_settings(folder)
    checklist = load_checklist(folder / "checklist.toml")
    gaps = checklist.gaps(settings.crew)
    if gaps:
        raise ConfigError("\n".join(f"checklist.toml {gap}" for gap in gaps))
    lock = SiteLock(order.site)
    places = Places(journal=order.site / "journal", runs=order.site / "runs", second=order.second)
    history = read_history(places.journal, places.runs)
    parts = parts_of(order, settings)
    settings = parts.settings
    plan = plan_of(order, parts, history.next_run, history.dry_setups)
    latch = Latch(
        waits_of(settings),
        saved=history.latch,
        last_tick=history.last_tick,
        journal_empty=history.is_empty,
    )
    engine = Engine(
        plan,
        Signatures(checklist, settings.crew, known_values(settings)),
        latch,
        host_nonce=lambda: random.SystemRandom().randint(1, 0xFFFFFFFF),
    )
    is_rehearsal, boot_id = order.mode == REHEARSAL, f"{boot_id_hash():016x}"
    writer = JournalWriter(
        places.journal,
        rehearsal=is_rehearsal,
        boot_id=boot_id,
        mirror=_mirror(order, is_rehearsal, boot_id),
    )
    opened = Opened(
        settings=settings, plan=plan, engine=engine, writer=writer, places=places, lock=lock
    )
    writer.start()
    writer.put(RecordType.CONFIG, opened.config(latch.to_json()), host_now_ns())
    return opened


def _mirror(order: Order, is_rehearsal: bool, boot_id: str) -> Mirror | None:
    """The second record, if a folder on another medium is named for it."""
    if order.mirror is None:
        return None
    if not order.mirror.is_dir():
        raise ConfigError(f"{order.mirror}: the medium of the second record is not there")
    return Mirror(order.mirror, rehearsal=is_rehearsal, boot_id=boot_id, host_ns=host_now_ns)


def build(order: Order) -> Built:
    """An engine process, wired together."""
    site = open_site(order)
    talk = Talk(new_socket_path())
    site.lock.name(talk.path)
    loop = SafetyLoop(
        site.engine,
        open_port=lambda: SerialPort(order.port, site.settings.stand.port.baud),
        clock=HostClock(),
        writer=site.writer,
        talk=talk,
        config=site.config,
        step_time=_steps(order),
    )
    return Built(
        plan=site.plan,
        engine=site.engine,
        loop=loop,
        writer=site.writer,
        talk=talk,
        house=Housekeeping(
            loop.house,
            site.places,
            recorder=lambda: site.writer.state,
            idle=lambda: site.engine.state.phase is Phase.SAFE,
        ),
        lock=site.lock,
    )


def _steps(order: Order) -> StepTime | None:
    """Only a rehearsal has a clock that can step."""
    if order.control is None or order.mode != REHEARSAL:
        return None
    return StepClient(order.control).step


def serve(order: Order) -> int:
    """Run one engine to its end; the exit code says whose fault an early end was."""
    built = build(order)
    _mind_signals(built)
    built.talk.start()
    built.house.start()
    _say({"socket": str(built.talk.path), "run_id": built.plan.run_id})
    gc.freeze()
    gc.disable()
    stop = threading.Event()
    threading.Thread(target=_collect, args=(built, stop), daemon=True).start()
    if order.mode == REHEARSAL:
        threading.Thread(target=_end_with_starter, args=(built, stop), daemon=True).start()
    try:
        built.loop.run()
    finally:
        stop.set()
        built.talk.stop()
        built.house.stop()
        built.house.join(5.0)
        whole = built.writer.close()
        built.house.do_jobs()
        fault = built.loop.fault
        _say(
            {
                "ended": built.engine.state.phase.value,
                "fault": None if fault is None else str(fault),
                "run_id": built.engine.state.run_id,
                "copied": built.loop.house.copied,
                "trouble": built.loop.house.trouble or None,
                "whole": whole,
            }
        )
    return 0 if fault is None else 3


def _end_with_starter(built: Built, stop: threading.Event) -> None:
    """A rehearsal without its starter ends; a real run outlives everything that started it."""
    starter = os.getppid()
    while not stop.wait(STARTER_S):
        if os.getppid() != starter:
            built.loop.stop()


def _collect(built: Built, stop: threading.Event) -> None:
    """Collect garbage in SAFE only: nothing may hold the safety thread up in the count."""
    while not stop.wait(COLLECT_S):
        if built.engine.state.phase is Phase.SAFE:
            gc.collect()


def _mind_signals(built: Built) -> None:
    def asked(_number: int, _frame: object) -> None:
        if built.engine.state.phase is Phase.SAFE:
            built.loop.stop()

    signal.signal(signal.SIGINT, asked)
    signal.signal(signal.SIGTERM, asked)


def _say(what: dict[str, Any]) -> None:
    print(json.dumps(what), flush=True)


def main() -> int:
    try:
        return serve(Order.from_json(sys.stdin.readline()))
    except StandError as fault:
        _say({"error": str(fault), "code": fault.exit_code})
        return fault.exit_code


if __name__ == "__main__":
    sys.exit(main())
