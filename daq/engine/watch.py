"""What time alone brings about: late answers, lapsed grips, silence, the marks of the count.

One `tick` a step, after the bytes and the wishes. Deadlines are plain comparisons against `now`;
no timer object exists.
"""

from typing import Final

from daq.engine.acts import perform
from daq.engine.conditions_now import judge
from daq.engine.incoming import lost_board
from daq.engine.outgoing import send_go
from daq.engine.state import State
from daq.engine.tools import Checks, evidence
from daq.journal.format import RecordType
from daq.procedure.phases import Event, Phase
from daq.procedure.waits import LatchEvent
from firmware_protocol.messages import Out

JUDGE_EVERY_NS: Final = 50_000_000
FIT_EVERY_NS: Final = 5_000_000_000


class Watch:
    """Remembers only when it last looked."""

    def __init__(self) -> None:
        self.judged_ns = self.fit_ns = -(1 << 62)

    def tick(self, state: State, now_ns: int) -> None:
        """Let time do its part."""
        self._link(state, now_ns)
        self._console(state, now_ns)
        self._arming(state, now_ns)
        if state.phase is Phase.COUNTDOWN:
            self._countdown(state, now_ns)
        elif state.phase is Phase.FIRE:
            self._fire(state, now_ns)
        if now_ns - self.judged_ns >= JUDGE_EVERY_NS:
            self.judged_ns = now_ns
            self._slow(state, now_ns)

    # ---- link and console ----------------------------------------------------------------------

    def _link(self, state: State, now_ns: int) -> None:
        heard = state.board.heard_ns
        if state.link_lost or heard is None:
            return
        if (now_ns - heard) / 1e9 > state.plan.timers.link_lost_s:
            link_is_lost(state, now_ns, "nothing heard from the board")

    def _console(self, state: State, now_ns: int) -> None:
        grip, timers = state.grip, state.plan.timers
        age_s = grip.age_s(now_ns)
        if age_s > timers.beat_lapse_s and grip.held:
            grip.held = False
            let_go(state, now_ns, "the console's beat lapsed")
        if age_s > timers.console_hold_s and not grip.lost_told:
            grip.lost_told = True
            if state.phase in (Phase.COUNTDOWN, Phase.FIRE):
                state.happen(Event.CONSOLE_LOST, now_ns, why="no console beat for 0.5 s")
        if age_s > timers.console_gone_s and not grip.gone_told:
            grip.gone_told = True
            if state.phase in (Phase.ARM, Phase.COUNTDOWN, Phase.HOLD, Phase.FIRE):
                state.happen(Event.CONSOLE_GONE, now_ns, why="no console beat for 5 s")

    # ---- arming, count, pulse ------------------------------------------------------------------

    def _arming(self, state: State, now_ns: int) -> None:
        if state.phase is Phase.ARM and state.arming.is_overdue(now_ns):
            state.refuse("The offer ran out or the board did not answer.", now_ns, "ARM")
            state.happen(Event.OFFER_GONE, now_ns, why="no answer in time")

    def _countdown(self, state: State, now_ns: int) -> None:
        left_s = state.count.left_s(now_ns)
        timers = state.plan.timers
        if not state.grip.held and left_s < timers.grip_late_s:
            state.happen(Event.HOLD_CALLED, now_ns, why="fire control not held by T−1.5 s")
        elif left_s <= 0.0:
            self._go(state, now_ns)

    def _go(self, state: State, now_ns: int) -> None:
        judge(state, now_ns)
        if state.phase is not Phase.COUNTDOWN:
            return
        if send_go(state, now_ns):
            state.fact("GO", now_ns, tick=state.board.status.tick if state.board.status else None)
            state.note_latch(LatchEvent.GO, now_ns)
            state.live.forget_peaks()
            state.happen(Event.GO_SENT, now_ns, why="T-0, fire control held")
        else:
            state.happen(Event.HOLD_CALLED, now_ns, why="GO could not be sent")

    def _fire(self, state: State, now_ns: int) -> None:
        attempt, timers = state.attempt, state.plan.timers
        go_ns = attempt.go_ns or now_ns
        if not attempt.go_answered and (now_ns - go_ns) / 1e9 > timers.go_answer_s:
            state.want_off("SAFE")
            state.happen(Event.NOT_ACCEPTED, now_ns, why="GO was not seen accepted in 0.2 s")
        elif (now_ns - (attempt.t0_ns or go_ns)) / 1e9 > timers.lit_within_s:
            state.happen(Event.NOT_LIT, now_ns, why=f"no rise within {timers.lit_within_s:g} s")

    # ---- twenty times a second -----------------------------------------------------------------

    def _slow(self, state: State, now_ns: int) -> None:
        self._ambient(state, now_ns)
        self._latch(state, now_ns)
        self._measure(state, now_ns)
        self._siren(state, now_ns)
        self._sign_by_tool(state, now_ns)
        judge(state, now_ns)
        self._witness(state, now_ns)
        self._alarms(state, now_ns)
        if now_ns - self.fit_ns > FIT_EVERY_NS:
            self.fit_ns = now_ns
            self._record_fit(state)

    def _ambient(self, state: State, now_ns: int) -> None:
        """Since when every pressure channel has been at ambient within its U."""
        holds = all(
            live.steady_value is not None
            and abs(live.steady_value - live.plan.zero_si) <= live.plan.zero_u
            for live in state.live.channels.values()
            if live.plan.is_pressure
        )
        if not holds or state.link_lost:
            state.marks.ambient_since_ns = None
        elif state.marks.ambient_since_ns is None:
            state.marks.ambient_since_ns = now_ns

    def _latch(self, state: State, now_ns: int) -> None:
        if state.latch.tick(evidence(state, now_ns), now_ns, utc=state.around.utc[11:16]):
            state.record_latch(now_ns)

    def _measure(self, state: State, now_ns: int) -> None:
        if state.zero.tick(state.live, now_ns):
            state.fact("ZERO", now_ns, faults=state.zero.faults)
            state.tell("Zero and noise measured", now_ns)
        if state.tare_test.tick(now_ns):
            state.tare(now_ns)
        live, _ = state.live.highest("thrust", now_ns)
        least_n = 0.02 * state.plan.redline.expected_thrust_n
        if state.load_test.tick(None if live is None else live.value, least_n, now_ns):
            state.marks.check_load_n = state.load_test.seen_n
            state.marks.post_zero = state.phase is Phase.INSPECT
            state.fact("CHECK_LOAD", now_ns, n=state.load_test.seen_n)
            state.tell(f"Check load reads {state.load_test.seen_n:.1f} N", now_ns)

    def _siren(self, state: State, now_ns: int) -> None:
        status = state.board.status
        if state.siren_until_ns is not None and status is not None and status.reads(Out.SIREN):
            if state.siren_kind == "long":
                state.marks.long_warning_ns = now_ns
            elif state.siren_kind == "short":
                state.marks.warning_ns = now_ns
        if state.siren_until_ns is not None and now_ns >= state.siren_until_ns:
            state.siren_until_ns = None
            state.set_output(Out.SIREN, False)

    def _sign_by_tool(self, state: State, now_ns: int) -> None:
        checks = Checks(state, now_ns)
        signed = state.signatures.sign_by_tool(
            state.phase, checks, now_ns, lambda act, names: perform(state, act, names, now_ns)
        )
        for each in signed:
            state.fact("SIGNED", now_ns, line=each.line, names=list(each.names), values={})

    def _witness(self, state: State, now_ns: int) -> None:
        if not state.attempt.burning:
            return
        thrust, _ = state.live.highest("thrust", now_ns)
        pressure, _ = state.live.highest("pressure", now_ns)
        if thrust is None or pressure is None or thrust.value is None or pressure.value is None:
            return
        before = state.witness.word
        tick = max(state.live.last_tick.values(), default=0)
        word = state.witness.push(tick, thrust.value, pressure.value)
        if word is not before and word.value == "BLIND":
            state.note_latch(LatchEvent.PRESSURE_HIDDEN, now_ns)
            state.fact(
                "SENSOR",
                now_ns,
                channel=pressure.plan.name,
                word="BLIND",
                text="thrust without its pressure",
            )
        if state.witness.over_trip:
            state.set_output(Out.SIREN, True)

    def _alarms(self, state: State, now_ns: int) -> None:
        stamp = state.stamp(now_ns)
        self._near_trip(state, now_ns, stamp)
        state.notices.set(
            "link", "URGENT", state.link_lost and state.board.uid is not None,
            "Board not heard. UNKNOWN, treat as armed.", "Key out. Stay back. Check cable and board.",
            stamp,
        )  # fmt: skip
        state.notices.set(
            "recorder", "HIGH", state.recorder.word != "running",
            f"Recorder {state.recorder.word}. {state.recorder.trouble}".strip(),
            "Data: find the disk's fault; no arming until it runs.", stamp,
        )  # fmt: skip
        state.notices.set(
            "mirror", "HIGH", state.recorder.mirror in ("behind", "failed"),
            f"Second record {state.recorder.mirror}. The first one goes on.",
            "Data: look at the second medium.", stamp,
        )  # fmt: skip
        state.notices.set(
            "blind", "HIGH", state.witness.word.value == "BLIND",
            "NO PRESSURE PROTECTION: thrust without its pressure.",
            "Stay behind cover; prove it vented by opening a port.", stamp,
        )  # fmt: skip
        state.notices.set(
            "misfire", "URGENT", state.phase is Phase.MISFIRE,
            "MISFIRE. It may still light.", "Key out. Everybody stays behind cover.", stamp,
        )  # fmt: skip
        state.notices.set(
            "hold", "HIGH", state.phase is Phase.HOLD,
            f"HOLD. {state.hold_why}".strip(), "Nobody moves. Clear the cause, then resume by two.",
            stamp,
        )  # fmt: skip
        self._two_words(state, now_ns, stamp)

    def _near_trip(self, state: State, now_ns: int, stamp: str) -> None:
        live, _ = state.live.highest("pressure", now_ns)
        value = live.value if live is not None else None
        near = value is not None and value >= state.plan.redline.near_trip_pa
        if not near:
            state.near_ns = None
        elif state.near_ns is None:
            state.near_ns = now_ns
        stands = state.near_ns is not None and now_ns - state.near_ns >= 100_000_000
        state.notices.set(
            "near", "HIGH", stands, "Pressure near trip.", "Stay behind cover, call it.", stamp
        )

    def _two_words(self, state: State, now_ns: int, stamp: str) -> None:
        """The board's state and the engine's phase must agree within 200 ms."""
        if state.board_agrees() or state.link_lost:
            state.disagree_ns = None
        elif state.disagree_ns is None:
            state.disagree_ns = now_ns
        state.notices.set(
            "words", "HIGH", state.disagrees(now_ns),
            f"Board says {state.board.state.name if state.board.state is not None else '?'}, "
            f"engine {state.phase.value}.",
            "Key out. Trust the more dangerous word.", stamp,
        )  # fmt: skip

    def _record_fit(self, state: State) -> None:
        line = state.board.fit.line()
        identity = state.board.identity
        if line is not None and identity is not None:
            a, tick0, ns0 = line
            state.out.record(
                RecordType.CLOCK,
                {"kind": "fit", "nonce": identity.boot_nonce, "a": a, "tick0": tick0, "ns0": ns0},
            )


def link_is_lost(state: State, now_ns: int, why: str) -> None:
    """Nothing is heard, or the port is gone: the board's session is over for us."""
    if state.link_lost:
        return
    state.link_lost = True
    state.fact("LINK", now_ns, word="lost", why=why)
    state.tell("Link lost", now_ns)
    state.want_off("SAFE")
    lost_board(state, now_ns, Event.LINK_LOST)
    state.board.forget()


def let_go(state: State, now_ns: int, why: str) -> None:
    """The fire control is not held any more: HOLD before GO, line off after it, nothing once lit."""
    left_s = state.count.left_s(now_ns)
    gate_s = state.plan.timers.grip_gate_s
    if state.phase is Phase.FIRE:
        state.want_off("SAFE")
        state.happen(Event.LET_GO, now_ns, why=why)
    elif state.phase is Phase.COUNTDOWN and left_s < gate_s:
        state.happen(Event.LET_GO, now_ns, why=why)
