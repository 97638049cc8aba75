"""What a key press means at this desk: pure, key and newest status in, wishes out.

Space goes out at once, whatever else is going on. F and J only set the grip that the beat carries.
P calls HOLD at once (a mark in FIRE and BURNING), a digit after it tells why. Enter confirms the one
blue frame, after the values and the code that the frame asks for. Every other key, and every key
that has no meaning in this phase, does nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from daq.console.keys import DIGITS, Key, TwoHands
from daq.console.moment import QUIET, WAITS, Local, Moment
from daq.console.people import LAST_HOLD_S, framed_line
from daq.console.readings import Status

Json = dict[str, Any]
AFTER_P_NS: Final = 5_000_000_000
IDLE_NS: Final = 1_000_000_000
"""An alarm takes the frame only when no key has been pressed for this long."""
CODE_DIGITS: Final = 4
MOST_TYPED: Final = 24
STEP_S: Final = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to type: a code of a name, or a value with its unit (no unit: a text)."""

    kind: str
    key: str
    prompt: str
    unit: str = ""


@dataclass(slots=True, kw_only=True)
class Entry:
    """What is being typed for one frame; `owner` tells which frame, so that a new one starts clean."""

    owner: str = ""
    steps: tuple[Step, ...] = ()
    at: int = 0
    typed: str = ""
    values: Json = field(default_factory=dict)
    codes: list[str] = field(default_factory=list)

    @property
    def step(self) -> Step | None:
        return self.steps[self.at] if self.at < len(self.steps) else None

    def clear(self) -> None:
        self.at, self.typed = 0, ""
        self.values.clear()
        self.codes.clear()


class Desk:
    """The keys of one console."""

    def __init__(self) -> None:
        self.hands = TwoHands()
        self.notice = ""
        self.size_ok = True
        self.watching = False
        """Another console is in control: this one may look, hold and stop."""
        self._entry = Entry()
        self._digits = ""
        self._line: str | None = None
        self._crew: tuple[str, ...] = ()
        self._on_alarm = False
        self._key_ns = -IDLE_NS
        self._p_ns: int | None = None

    # ---- what goes in ------------------------------------------------------------------------

    def press(self, key: Key, now_ns: int, now: Moment) -> list[Json]:
        """A key went down (no auto-repeat); the wishes to send, in order."""
        self._key_ns = now_ns
        s = now.status
        if key is Key.SPACE:
            self._forget()
            return [{"wish": "safe" if s.text("keys", "space") == "SAFE" else "abort"}]
        if key in {Key.F, Key.J}:
            self.hands.press(key, now_ns)
            return []
        if key is Key.P:
            return self._hold(now, now_ns)
        if now.stale or self.watching:
            return []
        self.notice = ""
        if key in DIGITS and self._p_ns is not None and now_ns - self._p_ns < AFTER_P_NS:
            return self._why(key, s)
        match key:
            case Key.ENTER:
                return self._enter(now)
            case Key.UP | Key.DOWN:
                self._move(s, 1 if key is Key.DOWN else -1)
            case Key.RIGHT if s.text("mode") == "REHEARSAL":
                return [{"wish": "step", "seconds": STEP_S}]
            case Key.BACK:
                self._entry.typed = self._entry.typed[:-1]
                self._digits = self._digits[:-1]
            case _ if key in DIGITS or key in {Key.POINT, Key.MINUS}:
                return self._type(str(key), now)
        return []

    def letter(self, text: str, now: Moment) -> None:
        """A printable character; it counts only where the frame asks for a text. `_` is a gap."""
        step = self._entry.step
        is_text = step is not None and step.kind == "value" and not step.unit
        if is_text and text.isprintable() and text != " " and not now.stale:
            self._entry.typed = (self._entry.typed + text.replace("_", " "))[:MOST_TYPED]

    @property
    def wants_text(self) -> bool:
        """Whether letters are being typed now, in SAFE or a wait, never from ARM to burn-out."""
        step = self._entry.step
        return step is not None and step.kind == "value" and not step.unit

    def release(self, key: Key) -> None:
        if key in {Key.F, Key.J}:
            self.hands.release(key)

    def let_go(self) -> None:
        """Focus lost, minimised, hidden, locked: every release counts as let go."""
        self.hands.let_go()

    def reply(self, answer: Json) -> None:
        """An answer of the engine: a refusal stands in the frame until the next key."""
        if answer.get("ok") is False and self._entry.owner:
            self.notice = str(answer.get("text", ""))[:120]
            self._entry.clear()
            self._digits = ""

    def follow(self, now: Moment, now_ns: int) -> Local:
        """Keep up with the newest status; what the fold needs to know of this desk."""
        self._follow_frame(now)
        self._follow_alarm(now.status, now_ns)
        if now.phase != "ARM" or len(now.status.text("arming", "typed")) not in {0, 4}:
            self._digits = ""
        return Local(
            f_down=self.hands.f_ns is not None,
            j_down=self.hands.j_ns is not None,
            gripped=self.hands.gripped,
            prompt=self._prompt(),
            shown=self._shown(),
            digits=self._digits,
            line=self._line,
            on_alarm=self._on_alarm,
            notice=self.notice,
            crew=self._crew,
            size_ok=self.size_ok,
            watching=self.watching,
        )

    # ---- hold --------------------------------------------------------------------------------

    def _hold(self, now: Moment, now_ns: int) -> list[Json]:
        if now.phase in {"FIRE", "BURNING"}:
            self._p_ns = now_ns
            return [{"wish": "mark", "text": "P"}]
        counts = now.phase in {"COUNTDOWN", "HOLD"}
        if not counts and now.status.text("keys", "hold") != "HOLD now":
            return []
        self._p_ns = now_ns
        return [{"wish": "hold"}]

    def _why(self, key: Key, s: Status) -> list[Json]:
        self._p_ns = None
        if s.text("phase") in {"FIRE", "BURNING"}:
            return [{"wish": "mark", "text": f"P {key}"}]
        return [{"wish": "hold", "digit": int(key)}]

    # ---- enter and typing --------------------------------------------------------------------

    def _enter(self, now: Moment) -> list[Json]:
        s = now.status
        if self._on_alarm:
            return [{"wish": "answer"}]
        if now.phase in QUIET - {"HOLD"} or not s.text("keys", "enter"):
            return []
        step = self._entry.step
        if step is not None and not self._finish(step):
            return []
        if self._entry.step is not None:
            return []
        wish = self._confirmed(now)
        self._entry.clear()
        return [wish]

    def _finish(self, step: Step) -> bool:
        """Take the typed text of one step; a sentence in the frame when it is not complete."""
        typed = self._entry.typed
        if step.kind == "code":
            if len(typed) != CODE_DIGITS:
                self.notice = f"{step.key}: four digits, then Enter."
                return False
            self._entry.codes.append(typed)
        else:
            value = as_value(typed, step.unit)
            if value is None:
                self.notice = f"{step.prompt}: type it, then Enter."
                return False
            self._entry.values[step.key] = value
        self._entry.at += 1
        self._entry.typed = ""
        return True

    def _confirmed(self, now: Moment) -> Json:
        row, codes = framed_line(now), self._entry.codes
        if row is None:
            return self._without_frame(now)
        name = row.text("id")
        who = row.text("needs_code_of") or row.text("who")
        if name == "resume":
            return {"wish": "resume", "by": names_of(row), "codes": list(codes)}
        if name == "recycle":
            return {"wish": "recycle", "to_s": row.number("to_s") or STEP_S, "by": who}
        if name == "scrub":
            return {"wish": "scrub", "by": who}
        wish: Json = {"wish": "enter", "line": name, "by": who}
        if codes:
            wish["code"] = codes[0]
        if self._entry.values:
            wish["values"] = dict(self._entry.values)
        return wish

    def _without_frame(self, now: Moment) -> Json:
        """Enter in ARM after the eighth digit, and in a hold for which no frame was given."""
        if now.phase != "HOLD":
            return {"wish": "enter"}
        seconds = now.status.number("clock", "seconds")
        if seconds is not None and seconds < LAST_HOLD_S:
            return {"wish": "recycle", "to_s": STEP_S}
        return {"wish": "resume", "by": list(self._crew), "codes": list(self._entry.codes)}

    def _type(self, mark: str, now: Moment) -> list[Json]:
        if now.phase == "ARM":
            return self._type_setup(mark, now.status)
        step = self._entry.step
        if step is None or self._on_alarm or not now.status.text("keys", "enter"):
            return []
        most = CODE_DIGITS if step.kind == "code" else MOST_TYPED
        if step.kind == "code" and not mark.isdigit():
            return []
        self._entry.typed = (self._entry.typed + mark)[:most]
        return []

    def _type_setup(self, mark: str, s: Status) -> list[Json]:
        """Digits of the echoed set-up number; each complete group of four goes out by itself."""
        if not mark.isdigit() or s.text("arming", "state") not in {"offered", "typing"}:
            return []
        if not self.size_ok:
            self.notice = "Window smaller than 1280 × 720: enlarge it to arm."
            return []
        step = self._entry.step
        if step is not None and len(self._digits) == CODE_DIGITS:
            self._entry.typed = (self._entry.typed + mark)[:CODE_DIGITS]
            return self._send_setup(s) if len(self._entry.typed) == CODE_DIGITS else []
        self._digits = (self._digits + mark)[:CODE_DIGITS]
        is_whole = len(self._digits) == CODE_DIGITS
        return self._send_setup(s) if is_whole and step is None else []

    def _send_setup(self, s: Status) -> list[Json]:
        wish: Json = {"wish": "digits", "text": self._digits, "by": s.text("arming", "typist")}
        if self._entry.typed:
            wish["code"] = self._entry.typed
        self._digits = ""
        self._entry.clear()
        return [wish]

    # ---- keeping up --------------------------------------------------------------------------

    def _follow_frame(self, now: Moment) -> None:
        self._know_crew(now.status)
        steps, owner = steps_of(now, self._crew)
        if owner != self._entry.owner:
            self._entry = Entry(owner=owner, steps=steps)
            self.notice = ""
        if now.phase not in WAITS | {"SAFE"}:
            self._line = None

    def _know_crew(self, s: Status) -> None:
        """Conductor and range safety officer: as the status names them, or as they typed in ARM."""
        told = [name for role in ("TC", "RSO") if (name := s.text("crew", role))]
        typist = s.text("arming", "typist")
        if len(told) == 2:
            self._crew = tuple(told)
        elif typist and s.text("phase") == "ARM" and typist not in self._crew:
            self._crew = (*self._crew, typist)[-2:]

    def _follow_alarm(self, s: Status, now_ns: int) -> None:
        if self.watching:
            return
        is_open = any(not row.text("answered_by") for row in s.rows("alarms"))
        if not is_open or s.text("phase") in QUIET:
            self._on_alarm = False
        elif now_ns - self._key_ns >= IDLE_NS and not self._entry.typed and not self._digits:
            self._on_alarm = True

    def _move(self, s: Status, step: int) -> None:
        if s.text("phase") not in WAITS | {"SAFE"}:
            return
        still_open = [
            row.text("id") for row in s.rows("checklist", "lines") if row.text("state") != "signed"
        ]
        if not still_open:
            return
        here = self._line or s.text("checklist", "frame", "id")
        at = still_open.index(here) if here in still_open else 0
        self._line = still_open[max(0, min(len(still_open) - 1, at + step))]

    def _forget(self) -> None:
        self._entry.clear()
        self._digits, self.notice, self._p_ns = "", "", None

    def _prompt(self) -> str:
        step = self._entry.step
        if step is None or (step.kind == "code" and not self._entry.typed and not self._entry.at):
            return ""
        return step.prompt

    def _shown(self) -> str:
        step, typed = self._entry.step, self._entry.typed
        if step is None:
            return ""
        if step.kind == "code":
            return "●" * len(typed) + "○" * (CODE_DIGITS - len(typed))
        if not step.unit and not typed:
            return "letters, _ for a gap"
        return f"{typed}_ {step.unit}".strip()


def as_value(typed: str, unit: str) -> float | str | None:
    """A number where the ask has a unit, else the text; None when it is neither."""
    if not typed:
        return None
    if not unit:
        return typed
    try:
        return float(typed)
    except ValueError:
        return None


def names_of(row: Status) -> list[str]:
    """Who must give a code for this frame, in order."""
    named = row.words("names")
    one = row.text("needs_code_of")
    return named or ([one] if one else [])


def steps_of(now: Moment, crew: tuple[str, ...] = ()) -> tuple[tuple[Step, ...], str]:
    """What the frame asks for, and a name for the frame that changes whenever the asking does."""
    s = now.status
    if now.phase == "ARM" and s.text("arming", "state") in {"offered", "typing"}:
        typist = s.text("arming", "code_of")
        steps = code_steps([typist] if typist else [])
        return steps, f"arming {len(s.text('arming', 'typed')) // 4}"
    row = framed_line(now)
    if row is None and now.phase == "HOLD":
        seconds = s.number("clock", "seconds")
        is_late = seconds is not None and seconds < LAST_HOLD_S
        return () if is_late else code_steps(crew), f"HOLD {crew} {is_late}"
    if row is None:
        return (), now.phase
    asks = [
        Step(
            kind="value",
            key=ask.text("key"),
            prompt=ask.text("text") or ask.text("key"),
            unit=ask.text("unit"),
        )
        for ask in row.rows("asks")
    ]
    names = names_of(row)
    owner = f"{now.phase} {row.text('id')} {names} {[ask.key for ask in asks]}"
    return (*asks, *code_steps(names)), owner


def code_steps(names: Sequence[str]) -> tuple[Step, ...]:
    return tuple(Step(kind="code", key=name, prompt=f"Code of {name}") for name in names)
