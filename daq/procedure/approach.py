"""The approach latch: may people go forward? OPEN or CLOSED, and nothing else opens it.

It is CLOSED from the checklist line "people clear" and after every start. Only the release opens
it (`ask_open`), with two names, one of them the range safety officer's; the one exception is the
cold start that finds OPEN on record and a board that proves nothing happened since. A dead circuit
beside a hung motor opens nothing: the circuit is another word on the screen.

The wait runs only while the key is out, data arrive and nothing burns; otherwise its full length
stands still. Time counts on a clock seen running unbroken: the board's ticks under one boot nonce,
or the clock of one engine process without a break; with both, the shorter of the two answers.
Anybody may lengthen the wait, nobody shortens it.

Pure: time, evidence and names are arguments. Give `note` what happened and `tick` what is measured
at least ten times a second; `to_json` goes into the journal whenever `note`, `tick` or `ask_open`
changed something, and into the CONFIG of every segment.
"""

from dataclasses import dataclass
from typing import Any, Final

from daq.procedure import release
from daq.procedure.coldstart import innermost, settle
from daq.procedure.phases import Refusal
from daq.procedure.release import BLIND_S, Evidence, LatchView, Opened, ReleaseItem
from daq.procedure.waits import NO_RESTART, TIMED, History, LatchEvent, WaitClass, Waits, Word

CLOSING: Final = frozenset(
    {
        LatchEvent.PEOPLE_CLEAR,
        LatchEvent.GO,
        LatchEvent.LINE_ON,
        LatchEvent.LINE_OPENED,
        LatchEvent.LIT,
        LatchEvent.UNEXPLAINED_RISE,
        LatchEvent.OUTCOME_UNKNOWN,
        LatchEvent.FLAME_REPORTED,
        LatchEvent.SMOKE_REPORTED,
        LatchEvent.SOUND_REPORTED,
    }
)


@dataclass(slots=True)
class _Anchor:
    """Where the wait started, on each clock that has run unbroken since."""

    engine_ns: int | None
    tick: int | None

    def elapsed_s(self, evidence: Evidence, now_ns: int) -> float | None:
        """Seconds on the proven clocks, the smaller of two; None if neither is proven."""
        answers = []
        if self.engine_ns is not None:
            answers.append((now_ns - self.engine_ns) / 1e9)
        if self.tick is not None:
            answers.append((evidence.tick - self.tick) / evidence.tick_hz)
        return max(0.0, min(answers)) if answers else None


class Latch:
    """The approach latch of one engine. Starts CLOSED, whatever the saved word was."""

    def __init__(
        self,
        waits: Waits,
        *,
        saved: dict[str, Any] | None = None,
        last_tick: int | None = None,
        journal_empty: bool = False,
        record_only: bool = False,
    ) -> None:
        """`saved`: the journal's last latch fact (`to_json`), None if it holds none; `last_tick`:
        the newest board tick in the journal; `journal_empty`: this site never held a record.
        """
        self.waits = waits
        self.record_only = record_only
        self.word = Word.CLOSED
        self.since = ""
        self.names: tuple[str, ...] = ()
        self.history = History()
        self.floor_s = 0.0
        self.running_from = "start"
        self.board_uid = ""
        self._saved, self._journal_empty = innermost(saved, journal_empty=journal_empty)
        self._last_tick = last_tick
        self._settled = False
        self._nonce: int | None = None
        self._tick: int | None = None
        self._load = "unknown"
        self._anchor: _Anchor | None = None
        self._blind = False
        self._stepped_s = 0.0
        self._fired_seen_clear = False
        self._early: list[LatchEvent] = []

    # ---- what happened -------------------------------------------------------------------------

    def note(self, event: LatchEvent, *, utc: str = "") -> bool:
        """Take a fact; True if something changed. `utc` labels the closing for the screen."""
        before = self._state()
        if not self._settled:
            self._early.append(event)
        self._take(event, utc)
        return before != self._state()

    def lengthen(self, to_s: float) -> None:
        """Anyone may make the wait at least `to_s` long, restarts included; a shorter one than
        already stands changes nothing.
        """
        self.floor_s = max(self.floor_s, to_s)

    def stepped(self, seconds: float) -> None:
        """The rehearsal clock jumped on command: engine clock and board ticks went together."""
        self._stepped_s += seconds

    def tick(self, evidence: Evidence, now_ns: int, *, utc: str = "") -> bool:
        """Take what is measured now; True if a fact has to be written."""
        before = self._state()
        fresh = evidence.data_age_s <= BLIND_S and evidence.boot_nonce is not None
        if not fresh:
            self._stand_still("data back")
            self._blind = True
        elif not self._settled:
            self._settle(evidence, utc)
        else:
            self._watch_board(evidence, utc)
        if fresh:
            self._watch_load(evidence, utc)
            self._run(evidence, now_ns)
            self._nonce, self._tick = evidence.boot_nonce, evidence.tick
            self.board_uid = evidence.board_uid
            self._blind = False
        return before != self._state()

    # ---- the release ---------------------------------------------------------------------------

    def ask_open(
        self,
        evidence: Evidence,
        names: tuple[str, ...],
        *,
        rso: str,
        now_ns: int,
        utc: str = "",
    ) -> Opened | Refusal:
        """Release the range, or say everything that is missing. An OPEN latch is refused too."""
        if self.word is Word.OPEN:
            return Refusal(text="The approach latch is OPEN already; nothing to release.")
        wait = self.wait_class(evidence)
        checks = [*self.release_items(evidence, now_ns), release.two_names(names, rso)]
        missing = tuple(item.missing for item in checks if not item.done)
        if missing:
            return Refusal(text="Not released. " + " ".join(missing), missing=missing)
        text = f"Range released by {' and '.join(names)}."
        if self.history.unknown or (self.history.lit and not evidence.vented):
            text += " Pressure not proven: open a port before anything else."
        self._open(names, utc)
        return Opened(names=names, wait=wait, text=text)

    def release_items(self, evidence: Evidence, now_ns: int) -> list[ReleaseItem]:
        """Every condition of the release but the names, with its sentence."""
        wait = self.wait_class(evidence)
        told = release.heard(evidence, blind=self._blind, settled=self._settled)
        checks = release.items(wait, evidence, record_only=self.record_only)
        return [self._wait_item(evidence, now_ns), *checks, told]

    def wait_class(self, evidence: Evidence) -> WaitClass:
        """The class that runs by the facts and what is measured now."""
        if not self._settled:
            return self.waits.longest(frozenset(TIMED))
        classes = self.history.classes(vented=evidence.vented, at_ambient=evidence.at_ambient)
        return self.waits.longest(classes)

    def required_s(self, evidence: Evidence) -> float:
        """Length of the wait in seconds, anybody's lengthening included."""
        wait = self.wait_class(evidence)
        timed = wait in TIMED or self.floor_s > 0.0
        return max(self.waits.of(wait), self.floor_s) if timed else 0.0

    def elapsed_s(self, evidence: Evidence, now_ns: int) -> float:
        """Proven seconds of the wait, 0 while it stands still."""
        if self._anchor is None:
            return 0.0
        return self._anchor.elapsed_s(evidence, now_ns) or 0.0

    def left_s(self, evidence: Evidence, now_ns: int) -> float:
        return max(0.0, self.required_s(evidence) - self.elapsed_s(evidence, now_ns))

    def view(self, evidence: Evidence, now_ns: int) -> LatchView:
        """What to show now."""
        if self.word is Word.OPEN:
            return LatchView(
                word=self.word, reason="released", wait=None, left_s=None, running=False, note="",
                since=self.since, names=self.names, release=(),
            )  # fmt: skip
        wait = self.wait_class(evidence)
        timed = self.required_s(evidence) > 0.0
        return LatchView(
            word=self.word,
            reason=self.reason,
            wait=wait,
            left_s=self.left_s(evidence, now_ns) if timed else None,
            running=self._anchor is not None,
            note=self._note() if timed else "",
            since=self.since,
            names=(),
            release=tuple(self.release_items(evidence, now_ns)),
        )

    @property
    def reason(self) -> str:
        """Why it is CLOSED, in the crew's words."""
        h = self.history
        if not self._settled:
            return "history not proven"
        told = {
            "motor burning": h.burning,
            "outcome unknown": h.unknown,
            "aborted, the motor was lit": h.lit and h.aborted,
            "motor has burnt": h.lit,
            "unexplained rise": h.unexplained,
            "dry count": h.dry,
            "misfire, line opened: may still light": h.energy and (h.line_opened or h.sign_seen),
            "misfire: may still light": h.energy,
            "first opening": h.first,
        }
        return next((text for text, holds in told.items() if holds), "people clear")

    # ---- the record ----------------------------------------------------------------------------

    def to_json(self) -> dict[str, Any]:
        """The latch fact: enough for a later start to be no more trusting than this one."""
        if not self._settled:
            return {
                "word": Word.CLOSED.value,
                "reason": self.reason,
                "settled": False,
                "saved": self._saved,
                "journal_empty": self._journal_empty,
                "early": [event.value for event in self._early],
            }
        anchor = None if self._anchor is None else self._anchor.tick
        return {
            "word": self.word.value,
            "reason": "released" if self.word is Word.OPEN else self.reason,
            "since": self.since,
            "names": list(self.names),
            "history": self.history.to_json(),
            "floor_s": self.floor_s,
            "from": self.running_from,
            "board_uid": self.board_uid,
            "boot_nonce": self._nonce,
            "tick": self._tick,
            "started_tick": anchor,
            "settled": True,
        }

    # ---- inside --------------------------------------------------------------------------------

    def _state(self) -> tuple[object, ...]:
        return (self.word, self.history, self._anchor is None, self.running_from, self._settled)

    def _take(self, event: LatchEvent, utc: str) -> None:
        """Facts first; only then the clock, which starts again at the next tick that allows it."""
        if self.word is Word.OPEN and event in CLOSING:
            self._close(utc)
        self.history = self.history.after(event)
        if event is LatchEvent.CLOCK_BREAK:
            self._clock_break()
        elif event not in NO_RESTART and self.word is Word.CLOSED:
            self._restart(event.value)

    def _close(self, utc: str) -> None:
        self.word, self.since, self.names = Word.CLOSED, utc, ()
        self.history = History(igniter=self.history.igniter)

    def _open(self, names: tuple[str, ...], utc: str) -> None:
        self.word, self.since, self.names = Word.OPEN, utc, names
        self.history = History()
        self.floor_s = 0.0
        self._anchor = None
        self._fired_seen_clear = False

    def _restart(self, cause: str) -> None:
        self._anchor, self.running_from = None, cause

    def _stand_still(self, until: str) -> None:
        if self.word is Word.CLOSED and (self._anchor is not None or self.running_from != until):
            self._restart(until)

    def _clock_break(self) -> None:
        """The engine's clock is proven no more; only the board's ticks may carry the wait on."""
        if self._anchor is None:
            return
        self._anchor.engine_ns = None
        if self._anchor.tick is None:
            self._restart(LatchEvent.CLOCK_BREAK.value)

    def _run(self, evidence: Evidence, now_ns: int) -> None:
        """Start, keep or stop the wait by what holds now."""
        if self.word is Word.OPEN:
            return
        if self.history.burning:
            self._stand_still(LatchEvent.BURN_OUT.value)
        elif evidence.key_in is not False and not self.record_only:
            self._stand_still("key-out")
        elif self._anchor is None or self._anchor.elapsed_s(evidence, now_ns) is None:
            self._anchor = _Anchor(engine_ns=now_ns, tick=evidence.tick)

    def _watch_load(self, evidence: Evidence, utc: str) -> None:
        """An igniter on the line, a dummy that went, a change of continuity, a key too early."""
        load = evidence.load
        if load == "igniter" and not self.history.igniter:
            self.history = self.history.with_igniter()
        if load in {"igniter", "open"} and self.history.dry_watch:
            self.history = self.history.without_dummy()
        if load != "unknown":
            if self._load not in {"unknown", load} and self.word is Word.CLOSED:
                self._restart(LatchEvent.CONTINUITY_CHANGED.value)
            self._load = load
        if self.word is Word.OPEN and evidence.key_in and self.history.igniter:
            self._close(utc)

    def _watch_board(self, evidence: Evidence, utc: str) -> None:
        """Another board, a reboot, a gap, or a pulse and a rise that only the board knows of."""
        if evidence.board_uid != self.board_uid:
            self._saved, self._last_tick = self.to_json(), None
            self._settle(evidence, utc)
            return
        same = evidence.boot_nonce == self._nonce
        gap = self._blind or (same and self._gap_s(evidence) > BLIND_S)
        if not same and self._anchor is not None:
            self._anchor.tick = None
        if self.word is Word.OPEN:
            if not same and (self.history.igniter or evidence.load == "igniter"):
                self._unknown("board restarted", utc)
        elif gap or (not same and self.history.dry_watch):
            self.history = self.history.blinded()
            self._restart("data back")
        self._watch_fired(evidence, utc)

    def _gap_s(self, evidence: Evidence) -> float:
        """Seconds by the board's ticks since it was last heard, commanded steps taken off."""
        if self._tick is None:
            return 0.0
        gap_s = (evidence.tick - self._tick) / evidence.tick_hz
        if gap_s > BLIND_S and self._stepped_s > 0.0:
            gap_s -= self._stepped_s
            self._stepped_s = 0.0
        return gap_s

    def _watch_fired(self, evidence: Evidence, utc: str) -> None:
        """The board's fired latch is news if it was seen clear and we know of no pulse or rise."""
        if not evidence.fired_latch:
            self._fired_seen_clear = True
        elif self._fired_seen_clear and not self.history.accounts_for_fired:
            self._unknown("board reports a pulse or a rise", utc)

    def _unknown(self, cause: str, utc: str) -> None:
        if self.word is Word.OPEN:
            self._close(utc)
        self.history = self.history.made_unknown()
        self._restart(cause)

    def _settle(self, evidence: Evidence, utc: str) -> None:
        """First word of a board: take over what the saved fact is worth."""
        saved = self._saved
        settled = settle(
            saved, evidence, journal_empty=self._journal_empty, last_tick=self._last_tick
        )
        self._settled = settled is not None
        if settled is None:
            return
        self._fired_seen_clear = not evidence.fired_latch
        self.word, self.history, self.names = settled.word, settled.history, settled.names
        self.running_from = settled.running_from
        self._anchor = None
        if settled.started_tick is not None:
            self._anchor = _Anchor(engine_ns=None, tick=settled.started_tick)
        if saved is not None:
            self.floor_s = max(self.floor_s, float(saved.get("floor_s", 0.0)))
        self.since = utc if saved is None else str(saved.get("since", "")) or utc
        early, self._early = self._early, []
        for event in early:
            self._take(event, utc)

    def _wait_item(self, evidence: Evidence, now_ns: int) -> ReleaseItem:
        if self.required_s(evidence) == 0.0:
            return release.no_wait(burning=self.history.burning)
        return release.wait_over(
            self.wait_class(evidence),
            self.left_s(evidence, now_ns),
            running=self._anchor is not None,
            since=self.running_from,
        )

    def _note(self) -> str:
        started = f"runs from {self.running_from}"
        return started if self._anchor is not None else f"starts at {self.running_from}"
