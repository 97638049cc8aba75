"""An engine and a simulated stand in lockstep, without files: the bench of the engine's tests."""

import copy
import json
import random
from datetime import date
from pathlib import Path
from typing import Any

from daq.engine.actions import Ask, Publish, Record, Reply, Send
from daq.engine.core import Engine
from daq.engine.plan import REHEARSAL
from daq.engine.prepare import RunNames, known_values, make_plan, waits_of
from daq.engine.wishes import Wish, read_wish
from daq.journal.format import RecordType
from daq.procedure.approach import Latch
from daq.procedure.checklist import load_checklist
from daq.procedure.signatures import Signatures
from daq.settings import load_settings
from daq.settings_demo import demo_settings
from firmware_protocol.messages import BoardState
from simulators.control import obey
from simulators.crew import Crew, Script
from simulators.rig import Rig
from simulators.setup import StandSetup
from simulators.site import start_message

STEP_MS = 5


class Line:
    """The crew's line to the engine, in memory."""

    def __init__(self):
        self.status: dict[str, Any] = {}
        self.answers: list[dict[str, Any]] = []
        self.is_open = True
        self.wishes: list[Wish] = []
        self.fresh = False

    def poll(self):
        fresh, self.fresh = self.fresh, False
        return fresh

    def wish(self, wish, **more):
        found = read_wish(
            json.dumps({"wish": wish, "seen": self.status.get("n", -1), **more}).encode(), 1
        )
        assert isinstance(found, Wish), found
        self.wishes.append(found)


class Hands:
    def __init__(self, rig):
        self.rig = rig

    def ask(self, do, **args):
        answer = obey(self.rig, {"do": do, **args})
        assert answer["ok"], answer
        return answer

    def key(self, *, is_in):
        self.ask("key", **{"in": is_in})

    def stop(self, *, is_in):
        self.ask("stop", **{"in": is_in})

    def line(self, *, joined, load=None):
        self.ask("line", joined=joined, **({} if load is None else {"load": load}))


class Bench:
    """`run(seconds)` plays; `facts` and `phases` are what was recorded; `deepcopy` is a snapshot."""

    def __init__(
        self, folder: Path, *, stand="fast", script=None, faults=(), mode=REHEARSAL, edit=None
    ):
        made = demo_settings(stand, folder / "settings")
        if edit is not None:
            edit(made)
        settings = load_settings(made)
        self.settings = settings
        names = RunNames(
            mode=mode, site="bench", run_id="H-0001", run_number=1,
            today=date.today(), dry_done=True,
        )  # fmt: skip
        self.plan = make_plan(settings, names)
        nonce = random.Random(7)
        self.engine = Engine(
            self.plan,
            Signatures(
                load_checklist(folder / "settings" / "checklist.toml"),
                settings.crew,
                known_values(settings),
            ),
            Latch(waits_of(settings), journal_empty=True),
            host_nonce=lambda: nonce.randint(1, 0xFFFFFFFF),
        )
        message = start_message(settings.to_json(), out_dir=None, faults=list(faults))
        self.rig = Rig(StandSetup.from_json(message), None)
        self.now_ns = 1_000_000_000
        self.line = Line()
        self.crew = Crew(
            self.line,
            Hands(self.rig),
            [
                {"name": p.name, "roles": list(p.roles), "code": p.code}
                for p in settings.crew.people
            ],
            Script.of(script or {}),
            {"heads_in": 4, "wind_m_s": 2.0, "humidity_percent": 50, "stray_leads_a": 0.0,
             "stray_earth_a": 0.0, "check_load_n": settings.rules.check_load_n},
            clock=self.seconds,
        )  # fmt: skip
        self.real_s = 0.0
        self.crew_plays = True
        self.to_board = b""
        self.facts: list[dict[str, Any]] = []
        self.sent: list[bytes] = []
        self.published = 0
        state = self.engine.state.recorder
        state.disk_min = 100_000.0
        self.crew.begin()

    def seconds(self):
        return self.real_s

    @property
    def state(self):
        return self.engine.state

    @property
    def phase(self):
        return self.engine.state.phase.value

    @property
    def phases(self):
        return [fact["to"] for fact in self.facts if fact["fact"] == "PHASE"]

    @property
    def hands(self):
        return self.crew.stand

    def energised(self):
        """Both switches of the simulated stand really closed."""
        line = self.rig.plant.line
        return bool(line.high_closed and line.low_closed)

    def snapshot(self):
        return copy.deepcopy(self)

    def step(self, each_ms=None):
        """Five milliseconds of the stand, one step of the engine."""
        chunk = b""
        for _ in range(STEP_MS):
            to_board, self.to_board = self.to_board, b""
            chunk += self.rig.advance_ms(to_board)
            if each_ms is not None:
                each_ms(self)
        self.now_ns += STEP_MS * 1_000_000
        self.real_s += STEP_MS / 1000
        if self.crew_plays and not self.crew.finished:
            self.crew.turn()
        wishes, self.line.wishes = self.line.wishes, []
        self.do(self.engine.step(chunk, wishes, self.now_ns))

    def do(self, actions):
        for action in actions:
            match action:
                case Send():
                    if action.lane == "urgent":
                        self.to_board = b""
                    self.to_board += action.data
                    self.sent.append(action.data)
                case Record() if action.kind is RecordType.FACT:
                    self.facts.append(json.loads(action.body))
                case Publish():
                    self.line.status = json.loads(action.line)
                    self.line.fresh = True
                    self.published += 1
                case Reply():
                    self.line.answers.append({"ok": action.ok, "text": action.text})
                case Ask(what="step"):
                    self.jump(action.value)
                case Ask(what="copy"):
                    self.state.copied = True

    def jump(self, seconds):
        before = self.state.board.status.tick
        granted = self.rig.step(seconds)
        if granted > 0:
            self.now_ns += round(granted * 1e9)
            self.do(self.engine.stepped(granted, (before, self.rig.board_tick), self.now_ns))

    def run(self, seconds, each_ms=None):
        for _ in range(round(seconds * 1000 / STEP_MS)):
            self.step(each_ms)

    def until(self, wanted, within_s=60.0, each_ms=None):
        """Play until `wanted(bench)`; AssertionError with the story if it does not come."""
        for _ in range(round(within_s * 1000 / STEP_MS)):
            if wanted(self):
                return self
            self.step(each_ms)
        raise AssertionError(
            f"not reached; phases {self.phases}, refusal {self.state.notices.refusal}"
        )

    def until_phase(self, phase, within_s=60.0):
        return self.until(lambda b: b.phase == phase, within_s)

    def until_count(self, left_s):
        """To T-left_s in COUNTDOWN, the crew then takes its hands off."""
        self.until(lambda b: b.phase == "COUNTDOWN" and b.state.count.left_s(b.now_ns) <= left_s)
        return self

    def wish(self, wish, **more):
        self.line.wish(wish, **more)
        self.step()
        return self.line.answers[-1] if self.line.answers else {}

    def armed(self):
        return self.state.board.state is BoardState.ARMED
