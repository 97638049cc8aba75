"""A scripted crew: signs, speaks no word, moves key and plugs, holds the fire control.

It is a program of its own beside engine and stand, with the same two doors that people have: the
engine's socket (wishes, as WISHES.md says) and its hands on the simulated stand. It knows the
checklist only by what the status shows, and does what a crew does at each line. A scenario's
[crew] table makes it deviate: let go, hold, abort, leave the key in.
"""

import contextlib
import json
import socket
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Protocol

from simulators.control_client import StandControl

BEAT_S: Final = 0.05
POLL_S: Final = 0.01
RETRY_S: Final = 0.35
GRIP_FROM_S: Final = 2.8
RELEASE_AFTER_LIT_S: Final = 0.3
STUCK_AFTER: Final = 25
HOLDS_MOST: Final = 4
RESUME_FROM_S: Final = 10.0
STEP_AFTER_S: Final = 1.1
VENTED_S: Final = 63.0
LOOK_S: Final = 3.0
PAUSE_S: Final = {
    "B1": 1.2, "B6": 0.3, "B7": 1.2, "B8": 1.4, "C2": 0.4, "D3": 2.3, "E3": 1.3, "E4": 0.7,
    "G4": 1.2, "G5": 2.0,
}  # fmt: skip
"""Lines whose first Enter sets something off, and how long a crew waits before the second."""
HOLD_DIGITS: Final = {"range foul": 1, "weather": 2, "data": 3, "pad": 4}

Json = dict[str, Any]


class Line(Protocol):
    """A way to the engine: newest status, answers in order, wishes."""

    status: Json
    answers: list[Json]
    is_open: bool

    def poll(self) -> bool:
        """Read what is there; True if a newer status came."""

    def wish(self, wish: str, **more: Any) -> None:
        """Send one wish with the number of the newest status."""


class Hands(Protocol):
    """A way to the stand; `StandControl` is one."""

    def ask(self, do: str, **args: Any) -> dict[str, Any]:
        """Do one order; its answer."""

    def key(self, *, is_in: bool) -> None: ...
    def stop(self, *, is_in: bool) -> None: ...
    def line(self, *, joined: bool, load: str | None = None) -> None: ...


class EngineLine:
    """The crew's connection to the engine's socket."""

    def __init__(self, path: str) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.connect(path)
        self._socket.setblocking(False)
        self._rest = b""
        self.status: Json = {}
        self.answers: list[Json] = []
        self.is_open = True

    def poll(self) -> bool:
        """Read what is there; True if a newer status came."""
        before = self.status.get("n")
        while self.is_open:
            try:
                data = self._socket.recv(1 << 16)
            except BlockingIOError:
                break
            except OSError:
                data = b""
            if not data:
                self.is_open = False
                break
            self._rest += data
        *lines, self._rest = self._rest.split(b"\n")
        for line in lines:
            found = json.loads(line)
            if "phase" in found:
                self.status = found
            else:
                self.answers.append(found)
        return self.status.get("n") != before

    def wish(self, wish: str, **more: Any) -> None:
        """Send one wish with the number of the newest status."""
        line = json.dumps({"wish": wish, "seen": self.status.get("n", -1), **more})
        self._socket.setblocking(True)
        try:
            self._socket.sendall(line.encode() + b"\n")
        except OSError:
            self.is_open = False
        finally:
            with contextlib.suppress(OSError):
                self._socket.setblocking(False)

    def close(self) -> None:
        self._socket.close()


@dataclass(frozen=True, slots=True, kw_only=True)
class Script:
    """What this crew does otherwise; seconds from T-0, negative before it."""

    let_go_at: float | None = None
    hold_at: float | None = None
    hold_reason: str = "range foul"
    abort_at: float | None = None
    key: str = ""

    @classmethod
    def of(cls, raw: Mapping[str, Any]) -> "Script":
        """ValueError names a key no crew knows."""
        known = set(cls.__dataclass_fields__)
        unknown = set(raw) - known
        if unknown:
            raise ValueError(f"[crew] unknown key {min(unknown)!r}; known are {sorted(known)}")
        return cls(**raw)


@dataclass(slots=True)
class Waiting:
    """An Enter that was sent and not answered yet."""

    line: str = ""
    since_s: float = 0.0


@dataclass(slots=True)
class Tally:
    """How often the line that is open now was refused."""

    line: str = ""
    refusals: int = 0
    last_text: str = ""
    done: set[str] = field(default_factory=set)


class Crew:
    """All scripted people. `plays_conductor` is False when a person sits at the window."""

    def __init__(
        self,
        line: Line,
        stand: Hands,
        people: list[Json],
        script: Script,
        values: Mapping[str, Any],
        *,
        plays_conductor: bool = True,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.line, self.stand, self.script = line, stand, script
        self.codes = {person["name"]: person["code"] for person in people}
        self.roles = {person["name"]: person["roles"] for person in people}
        self.values = dict(values)
        self.plays_conductor = plays_conductor
        self.clock = clock
        self.waiting = Waiting()
        self.tally = Tally()
        self.finished = False
        self.gave_up = ""
        self.grip = False
        self.was_in_count = False
        self.scrubbed = False
        self._beat_s = -1.0
        self._next_s = 0.0
        self._lit_s: float | None = None
        self._once: set[str] = set()
        self._looked: dict[str, float] = {}
        self._pause_s = 0.0
        self._from_n = 0
        self._holds = 0

    def named(self, role: str) -> str:
        return next((name for name, roles in self.roles.items() if role in roles), "")

    # ---- the loop ------------------------------------------------------------------------------

    def run(self, deadline_s: float) -> None:
        """Until the day is over, the engine is gone, or `deadline_s` of wall time have passed."""
        started = self.clock()
        self.begin()
        while not self.finished and self.line.is_open:
            self.turn()
            if self.clock() - started > deadline_s:
                self.gave_up = f"not finished in {deadline_s:.0f} s, phase {self.phase}"
                break
            time.sleep(POLL_S)

    def begin(self) -> None:
        self.line.wish("hello", who="crew", control=self.plays_conductor)

    def turn(self) -> None:
        """One look at what came, and what it asks of a crew."""
        fresh = self.line.poll()
        self._read_answers()
        if fresh and self.line.status:
            self.look()
        self._beat()

    @property
    def phase(self) -> str:
        return str(self.line.status.get("phase", ""))

    def _beat(self) -> None:
        now = self.clock()
        if not self.plays_conductor or now - self._beat_s < BEAT_S or not self.line.status:
            return
        self._beat_s = now
        self.line.wish("beat", painted_n=self.line.status["n"], grip=self.grip)

    def _read_answers(self) -> None:
        for answer in self.line.answers:
            if not answer.get("ok"):
                self.tally.refusals += 1
                self.tally.last_text = str(answer.get("text", ""))
                self._next_s = self.clock() + RETRY_S
            self.waiting = Waiting()
            self._from_n = int(self.line.status.get("n", 0)) + 2
        self.line.answers.clear()

    def look(self) -> None:
        """One look at a new status: do what this phase asks of a crew."""
        act = {
            "ARM": self._arm,
            "COUNTDOWN": self._count,
            "HOLD": self._hold,
            "FIRE": self._fire,
            "BURNING": self._burning,
        }.get(self.phase, self._checklist)
        if self.phase in ("COUNTDOWN", "FIRE", "BURNING", "ABORT", "MISFIRE"):
            self.was_in_count = True
        act(self.line.status)

    def _is_free(self) -> bool:
        """No answer outstanding and no retry pause running."""
        now = self.clock()
        if self.waiting.line and now - self.waiting.since_s < 1.0:
            return False
        if self.line.status["n"] < self._from_n:  # look again before the next act
            return False
        return now >= self._next_s

    def _ask(self, wish: str, **more: Any) -> None:
        if wish == "step" and self.line.status.get("may_step_s", 1.0) <= 0.0:
            self._from_n = int(self.line.status["n"]) + 2
            return
        self.waiting = Waiting(line=wish, since_s=self.clock())
        self.line.wish(wish, **more)

    def once(self, name: str) -> bool:
        """True the first time only."""
        if name in self._once:
            return False
        self._once.add(name)
        return True

    # ---- checklist -----------------------------------------------------------------------------

    def _checklist(self, status: Json) -> None:
        self.grip = self.grip and "moving" in self._once and "moved" not in self._once
        if not self._is_free():
            return
        frame = status["checklist"].get("frame")
        if self._is_over(status, frame):
            self._end()
            return
        if frame is None:
            self._wait(status)
            return
        if frame["id"] != self.tally.line:
            self.tally = Tally(line=frame["id"])
        if self.plays_conductor and self.tally.refusals > STUCK_AFTER:
            self._stuck(status)
            return
        self._sign(status, frame)

    def _is_over(self, status: Json, frame: Json | None) -> bool:
        """The range is open again after the attempt, or a scrub was released."""
        if status["phase"] != "SAFE":
            return False
        is_open = status["approach"]["word"] == "OPEN"
        if self.was_in_count or self.scrubbed:
            if is_open and "inspecting" in self._once:
                return True
            if is_open and self.scrubbed:
                return True
            if not self.plays_conductor:
                return False
            if self.was_in_count and not self.scrubbed and status["board"]["state"] == "DISARMED":
                self.scrubbed = True
                self._hands_off()
                self._ask("scrub", by=self.named("TC"))
        return frame is None and self.scrubbed and is_open

    def _end(self) -> None:
        self.line.wish("end")
        self.finished = True

    def _stuck(self, status: Json) -> None:
        """A line that is refused again and again ends the day, as it should."""
        self.gave_up = f"{self.tally.line}: {self.tally.last_text}"
        if not self.scrubbed and status["phase"] == "SAFE":
            self.scrubbed = True
            self._hands_off()
            self.tally = Tally()
            self._ask("scrub", by=self.named("TC"))
            return
        self._hands_off()
        self._end()

    def _hands_off(self) -> None:
        self.stand.key(is_in=False)
        self.stand.stop(is_in=True)

    def _wait(self, status: Json) -> None:
        """Nothing to sign now: let the clock of the rehearsal step."""
        left = status["approach"].get("left_s")
        if status["phase"] in ("WAIT", "MISFIRE", "ABORT") and left:
            self._step_wait(status, float(left))

    def _sign(self, status: Json, frame: Json) -> None:
        line = str(frame["id"])
        self._before(line, status)
        who = str(frame["who"])
        if line == "B3" and not self._moved(status):
            return
        if not self.plays_conductor and who == self.named("TC"):
            self._clock_is_early(status, line)
            return
        if self._clock_is_early(status, line) or not self._ready(line, status):
            return
        if self.clock() < self._pause_s:
            return
        values = {ask["key"]: self._value(ask["key"]) for ask in frame.get("asks", [])}
        self._ask("enter", line=line, by=who, code=self.codes.get(who, ""), values=values)
        self._started(line)

    def _value(self, key: str) -> Any:
        heads, pad = int(self.values.get("heads_in", 4)), 2
        made = {
            "heads_pad": pad,
            "heads_behind": heads - pad,
            "heads_out": heads,
            "heads_in": heads,
        }
        return made.get(key, self.values.get(key, "as rehearsed"))

    def _clock_is_early(self, status: Json, line: str) -> bool:
        """Step the planned clock to the mark of a line; wait for zero, siren and wait likewise."""
        clock = status["clock"]
        mark = {"E3": 300.0, "E4": 60.0}.get(line)
        if mark is not None and clock["kind"] == "planned" and (clock["seconds"] or 0) > mark + 0.4:
            self._ask("step", seconds=clock["seconds"] - mark)
            return True
        if line == "B6" and "started B6" in self._once and self.once("zero step"):
            self._ask("step", seconds=60.5)
            return True
        left = status["approach"].get("left_s")
        if line == "G1" and left:
            self._step_wait(status, float(left))
            return True
        return False

    def _step_wait(self, status: Json, left_s: float) -> None:
        """First the minute in which the pressure is proven vented, then the rest of the wait."""
        if status["phase_s"] < STEP_AFTER_S:
            return
        first = self.once("vented")
        self._ask("step", seconds=VENTED_S if first else left_s + 0.5)

    # ---- hands ---------------------------------------------------------------------------------

    def _before(self, line: str, status: Json) -> None:
        """What hands do before a line is signed."""
        hands = self._hands().get(line)
        if hands is not None and self.once(f"hands {line}"):
            hands()
        if line == "G2":
            self.once("inspecting")
        if line in ("B8", "G5") and self.once(f"weight off {line}"):
            self.stand.ask("weight", n=0.0)
        del status

    def _ready(self, line: str, status: Json) -> bool:
        """Whether what hands did shows on the screen: people look before they sign."""
        circuit = status["circuit"]
        ohm = circuit["continuity_ohm"]
        shows = {
            "A1a": status["n"] > 15 and ohm is None,
            "B2": ohm is not None and ohm > 4.0,
            "C4": ohm is None,
            "D8": True,
            "E6": circuit["key_in"],
            "F3": not circuit["key_in"] and status["stop_in"],
            "F4": not circuit["key_in"],
        }
        if shows.get(line, True):
            return True
        self._looked.setdefault(line, self.clock())
        return self.clock() - self._looked[line] > LOOK_S

    def _started(self, line: str) -> bool:
        """A line whose first Enter sets something off: do the hands' part, then wait for it."""
        pause = PAUSE_S.get(line)
        if pause is None or not self.once(f"started {line}"):
            return False
        if line == "B7" or (line == "G4" and self._lit_s is not None):
            self.stand.ask("weight", n=float(self.values.get("check_load_n", 196.1)))
        if line == "B8":
            self.stand.ask("press", pa=4.0e5, s=0.6)
        self._pause_s = self.clock() + pause
        return True

    def _hands(self) -> dict[str, Callable[[], None]]:
        stand = self.stand
        return {
            "B2": lambda: stand.line(joined=True, load="dummy"),
            "C4": lambda: stand.line(joined=False, load="igniter"),
            "D2": lambda: _ask(stand, "motor", mounted=True),
            "D6": lambda: _ask(stand, "shunt", on=True),
            "D7": lambda: stand.line(joined=True, load="igniter"),
            "D8": lambda: _ask(stand, "shunt", on=False),
            "E6": lambda: stand.key(is_in=True),
            "F3": self._hands_off,
            "F4": lambda: stand.line(joined=False),
        }

    def _moved(self, status: Json) -> bool:
        """Move key, stop button and fire control once each; True when all rest again."""
        del status
        stages: list[tuple[str, Callable[[], None]]] = [
            ("key in", lambda: self.stand.key(is_in=True)),
            ("key out", lambda: self.stand.key(is_in=self.script.key == "left in")),
            ("stop in", lambda: self.stand.stop(is_in=True)),
            ("stop out", lambda: self.stand.stop(is_in=False)),
            ("moving", lambda: self._set_grip(True)),
            ("moved", lambda: self._set_grip(False)),
        ]
        for name, hand in stages if self.plays_conductor else stages[:4]:
            if self.once(name):
                hand()
                self._next_s = self.clock() + 0.2
                return False
        return True

    def _set_grip(self, held: bool) -> None:
        self.grip = held

    # ---- the attempt ---------------------------------------------------------------------------

    def _arm(self, status: Json) -> None:
        arming = status["arming"]
        if not self._is_free() or arming["setup_id"] is None:
            return
        if arming["state"] == "typed":
            if not self.plays_conductor:
                return
            self._ask("enter", line="arm", by=self.named("RSO"), code="")
        elif arming["state"] in ("offered", "typing"):
            typed, digits = len(arming["typed"]), str(arming["setup_id"])
            who = str(arming["typist"])
            if self.plays_conductor or who != self.named("TC"):
                self._ask("digits", text=digits[typed : typed // 4 * 4 + 4], by=who)

    def _count(self, status: Json) -> None:
        left = float(status["clock"]["seconds"] or 0.0)
        script = self.script
        if script.hold_at is not None and left <= -script.hold_at and self.once("hold"):
            self.line.wish("hold", digit=HOLD_DIGITS.get(script.hold_reason, 0), by="crew")
            return
        if script.abort_at is not None and left <= -script.abort_at and self.once("abort"):
            self.line.wish("abort")
            return
        if not self.plays_conductor:
            return
        self.grip = left <= GRIP_FROM_S
        marks = [-at for at in (script.hold_at, script.abort_at) if at is not None and at < 0]
        stop_at = max([10.5, *(mark for mark in marks if mark < left)])
        if left > stop_at + 0.5 and self._is_free():
            self._ask("step", seconds=left - stop_at)

    def _hold(self, status: Json) -> None:
        """Leave a hold by two once its cause is gone, recycle below T-10 s; else scrub the attempt."""
        self.grip = False
        if not self.plays_conductor or not self._is_free():
            return
        if self.once(f"hold seen {self._holds}"):
            self._next_s = self.clock() + 0.6
        elif self.script.hold_at is not None or self._holds >= HOLDS_MOST:
            self._scrub()
        elif float(status["clock"]["seconds"] or 0.0) >= RESUME_FROM_S:
            self._holds += 1
            two = [self.named("TC"), self.named("RSO")]
            self._ask("resume", by=two, codes=[self.codes[name] for name in two])
        else:
            self._holds += 1
            self._recycle()

    def _recycle(self) -> None:
        """Key out, back to T-60 s; the lines of the count are done again."""
        self.stand.key(is_in=False)
        self._once -= {"hands E6", "started E4"}
        self._looked.clear()
        self.was_in_count = False
        self._ask("recycle", to_s=60.0, by=self.named("TC"))

    def _scrub(self) -> None:
        if not self.scrubbed:
            self.scrubbed = True
            self._hands_off()
            self._ask("scrub", by=self.named("TC"))

    def _fire(self, status: Json) -> None:
        since = float(status["clock"]["seconds"] or 0.0)
        self.grip = self.script.let_go_at is None or since < self.script.let_go_at

    def _burning(self, status: Json) -> None:
        del status
        if self._lit_s is None:
            self._lit_s = self.clock()
        self.grip = self.grip and self.clock() - self._lit_s < RELEASE_AFTER_LIT_S


def _ask(stand: Hands, do: str, **args: Any) -> None:
    stand.ask(do, **args)


def main() -> int:
    """`python -m simulators.crew`: one JSON object on the first line of the input says all.

    {"socket", "control", "people": [...], "script": {...}, "values": {...}, "conductor": bool,
    "deadline_s"}; prints one JSON line at the end.
    """
    order = json.loads(sys.stdin.readline())
    stand = StandControl(order["control"])
    crew = Crew(
        EngineLine(order["socket"]),
        stand,
        order["people"],
        Script.of(order.get("script", {})),
        order.get("values", {}),
        plays_conductor=bool(order.get("conductor", True)),
    )
    crew.run(float(order.get("deadline_s", 3600.0)))
    print(json.dumps({"finished": crew.finished, "gave_up": crew.gave_up}), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
