"""A rehearsal in lockstep: engine core, simulated stand and crew in one process, in virtual time.

The same code as in `rehearse`, but for the processes, the port and the socket between them: bytes
go straight from the rig to the core, a millisecond at a time, about ten times faster than the
wall clock. Used where many days have to be played; what only processes can show (a killed engine,
an unplugged port) is played for real.
"""

import json
from typing import Any, Final

from daq.engine.actions import Send
from daq.engine.main import Opened, Order, open_site
from daq.engine.perform import House, Performer, host_now_ns, see_house, see_recorder
from daq.engine.plan import REHEARSAL
from daq.engine.wishes import BadWish, Wish, read_wish
from daq.errors import DeviceFault, StandError
from daq.journal.format import RecordType
from daq.runs.bundle import seal_run
from daq.runs.quicklook import quicklook
from daq.stand.clock import ManualClock
from daq.trials.rehearse import CREW_VALUES, Played, Wanted, prepared
from simulators.control import obey
from simulators.crew import Crew, Script
from simulators.rig import Rig
from simulators.setup import StandSetup
from simulators.site import start_message
from simulators.truth import truth

ENGINE_EVERY_MS: Final = 5
MOST_S: Final = 400.0
CREW: Final = 1


class NearLine:
    """The crew's way to an engine in the same process."""

    def __init__(self) -> None:
        self.status: dict[str, Any] = {}
        self.answers: list[dict[str, Any]] = []
        self.is_open = True
        self.wishes: list[Wish] = []
        self._fresh = False

    def poll(self) -> bool:
        fresh, self._fresh = self._fresh, False
        return fresh

    def wish(self, wish: str, **more: Any) -> None:
        line = json.dumps({"wish": wish, "seen": self.status.get("n", -1), **more}).encode()
        found = read_wish(line, CREW)
        assert not isinstance(found, BadWish), found.text
        self.wishes.append(found)

    def publish(self, line: bytes) -> None:
        self.status, self._fresh = json.loads(line), True

    def reply(self, _client: int, ok: bool, text: str) -> None:
        self.answers.append({"ok": ok, "text": text})


class NearHands:
    """The crew's hands on a rig in the same process."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    def ask(self, do: str, **args: Any) -> dict[str, Any]:
        answer = obey(self._rig, {"do": do, **args})
        if not answer.get("ok"):
            raise ValueError(str(answer.get("text")))
        return answer

    def key(self, *, is_in: bool) -> None:
        self.ask("key", **{"in": is_in})

    def stop(self, *, is_in: bool) -> None:
        self.ask("stop", **{"in": is_in})

    def line(self, *, joined: bool, load: str | None = None) -> None:
        self.ask("line", joined=joined, **({} if load is None else {"load": load}))


class VirtualDay:
    """One day in lockstep."""

    def __init__(self, wanted: Wanted, played: Played) -> None:
        settings = prepared(wanted, played.folder)
        message = start_message(
            settings.to_json(), out_dir=str(played.folder), seed=wanted.seed, port="pty"
        )
        self.played = played
        self.rig = Rig(StandSetup.from_json(played.scenario.apply(message)), played.folder)
        self.site: Opened = open_site(
            Order(site=played.folder, mode=REHEARSAL, port="", control="")
        )
        self.clock = ManualClock()
        self.house = House()
        self.line = NearLine()
        self.to_board = b""
        self.crew = Crew(
            self.line,
            NearHands(self.rig),
            [
                {"name": p.name, "roles": list(p.roles), "code": p.code}
                for p in settings.crew.people
            ],
            Script.of(played.scenario.crew),
            {**CREW_VALUES, "check_load_n": settings.rules.check_load_n},
            clock=lambda: self.real_s,
        )
        self.real_s = 0.0
        self.performer = Performer(
            self.site.engine,
            writer=self.site.writer,
            clock=self.clock,
            house=self.house,
            config=self.site.config,
            step_time=self._step,
            send=self._send,
            publish=self.line.publish,
            reply=self.line.reply,
        )

    def _step(self, seconds: float) -> tuple[float, int]:
        return self.rig.step(seconds), self.rig.board_tick

    def _send(self, send: Send) -> None:
        if send.lane == "urgent":
            self.to_board = b""
        self.to_board += send.data
        self.site.writer.put(RecordType.TX, send.data, host_now_ns())

    def run(self) -> None:
        """Until the crew is done; the run is then copied as on a real day."""
        self.crew.begin()
        try:
            while not self.crew.finished and self.real_s < MOST_S:
                self._turn()
            if not self.crew.finished:
                self.crew.gave_up = f"not finished in {MOST_S:.0f} s, phase {self.crew.phase}"
            self._settle()
        except DeviceFault as fault:
            self.played.engine["fault"] = str(fault)
        self._close()

    def _settle(self) -> None:
        """What a slow adapter still holds: half a second without wishes."""
        for _ in range(100):
            self._turn()

    def _turn(self) -> None:
        """Five milliseconds of the day."""
        state, chunk = self.site.engine.state, b""
        for _ in range(ENGINE_EVERY_MS):
            to_board, self.to_board = self.to_board, b""
            chunk += self.rig.advance_ms(to_board)
        self.clock.step(ENGINE_EVERY_MS / 1000)
        self.real_s += ENGINE_EVERY_MS / 1000
        if not self.crew.finished:
            self.crew.turn()
        wishes, self.line.wishes = self.line.wishes, []
        host_ns = host_now_ns()
        see_recorder(state, self.site.writer, host_ns)
        see_house(state, self.house)
        if chunk:
            self.site.writer.put(RecordType.RX, chunk, host_ns)
        now_ns = self.clock.now_ns()
        self.performer.do(self.site.engine.step(chunk, wishes, now_ns), host_ns)
        self._copy()

    def _figures(self, run_id: str) -> dict[str, Any] | None:
        """As the housekeeping of an engine process; what is written so far is reduced."""
        try:
            return quicklook(self.site.places.journal, run_id)
        except StandError:
            return None

    def _copy(self) -> None:
        while self.house.jobs:
            what, run_id = self.house.jobs.pop(0)
            if what == "figures":
                self.house.results = self._figures(run_id)
                continue
            self.site.writer.set_sync_period(0.05)
            try:
                seal_run(self.site.places.journal, self.site.places.runs, run_id)
                self.house.copied = True
            except StandError as fault:
                self.house.copied, self.house.trouble = False, str(fault)

    def _close(self) -> None:
        state, played = self.site.engine.state, self.played
        whole = self.site.writer.close()
        self.house.jobs.append(("end", state.run_id))
        if state.runs:
            self._copy()
        self.site.lock.close()
        told = truth(self.rig)
        (played.folder / "truth.json").write_text(
            json.dumps(told, indent=1) + "\n", encoding="utf-8"
        )
        self.rig.close()
        played.crew = {"finished": self.crew.finished, "gave_up": self.crew.gave_up}
        played.engine.setdefault("fault", None)
        played.engine |= {"ended": state.phase.value, "run_id": state.run_id, "whole": whole}
        played.engine["copied"] = self.house.copied
