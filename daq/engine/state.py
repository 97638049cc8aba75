"""Everything the engine holds while it runs, and the one place where a phase changes.

`happen` is the only caller of the procedure: it takes an event, records what came of it and does
what entering a phase demands. Whoever looks for "what makes the line go dead" looks at `want_off`.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal

from daq.channels.witness import Witness, WitnessLimits
from daq.engine.actions import Ask, Outbox
from daq.engine.alarms import Notices
from daq.engine.arming import Arming
from daq.engine.attempt import Attempt
from daq.engine.backfill import BackfillKeeper
from daq.engine.board_view import BoardView
from daq.engine.count import CountClock
from daq.engine.live import LiveChannels
from daq.engine.measure import LoadTest, TareTest, ZeroTest
from daq.engine.plan import Plan
from daq.engine.upkeep import LimitsKeeper, SelftestKeeper
from daq.journal.format import RecordType
from daq.procedure.approach import Latch
from daq.procedure.checklist import holders
from daq.procedure.conditions import Condition  # noqa: TC001 - one import block reads better
from daq.procedure.machine import Procedure, Step, firing
from daq.procedure.phases import BOARD_AGREES, Event, Phase, Refusal
from daq.procedure.signatures import Signatures
from daq.procedure.waits import LatchEvent
from firmware_protocol.link import Link
from firmware_protocol.messages import BoardState, LimitsStage, Out, Output, ProcedureKind

ARMED_PHASES = frozenset({Phase.ARM, Phase.COUNTDOWN, Phase.HOLD, Phase.FIRE})
DISAGREE_NS = 200_000_000
ATTEMPT_PHASES = frozenset({Phase.BURNING, Phase.WAIT, Phase.MISFIRE, Phase.ABORT})
FILL_NS = 15_000_000_000
"""So long after a change of phase a rehearsal waits for the board's memory to be read."""
OPEN_PHASES = frozenset({Phase.SAFE, Phase.INSPECT})


@dataclass(slots=True)
class RecorderView:
    """What the recorder says of itself; the loop refreshes it before each step."""

    word: str = "running"
    synced_ms_ago: float = 0.0
    queue_s: float = 0.0
    disk_min: float | None = None
    folder: str = ""
    segment: str = ""
    offset: int = 0
    seq: int = 0
    trouble: str = ""
    mirror: str = "none"


@dataclass(slots=True)
class Surroundings:
    """What the platform says; refreshed now and then by the loop, never by the core."""

    utc: str = "1970-01-01T00:00:00Z"
    power_text: str = "not known"
    power_ok: bool = True
    sleep_ok: bool = True
    port_text: str = ""


@dataclass(slots=True)
class Grip:
    """The newest console beat and what it says of the fire control."""

    client: int | None = None
    beat_ns: int | None = None
    held: bool = False
    painted_n: int = -1
    n: int = 0
    lost_told: bool = False
    gone_told: bool = False

    def age_s(self, now_ns: int) -> float:
        return float("inf") if self.beat_ns is None else (now_ns - self.beat_ns) / 1e9


@dataclass(slots=True)
class OffOrder:
    """SAFE or ABORT that is repeated until a newer STATUS agrees."""

    kind: Literal["SAFE", "ABORT"]
    status_n: int
    sent_ns: int = -(1 << 62)


@dataclass(slots=True)
class Marks:
    """When the perishable facts were last renewed, engine time; None is never."""

    people_clear_ns: int | None = None
    range_clear_ns: int | None = None
    warning_ns: int | None = None
    long_warning_ns: int | None = None
    poll_ns: int | None = None
    tare_ns: int | None = None
    warm_since_ns: int | None = None
    storm_ns: int | None = None
    ambient_since_ns: int | None = None
    check_load_n: float | None = None
    post_zero: bool = False
    foul: bool = False

    def age_s(self, name: str, now_ns: int) -> float:
        at = getattr(self, f"{name}_ns")
        return float("inf") if at is None else (now_ns - at) / 1e9


class State:
    """All of it. Only the safety thread touches this."""

    def __init__(
        self, plan: Plan, signatures: Signatures, latch: Latch, host_nonce: Callable[[], int]
    ) -> None:
        self.plan = plan
        self.signatures = signatures
        self.latch = latch
        self.new_nonce = host_nonce
        self.procedure: Procedure[Phase, Event] = firing()
        self.link = Link("host")
        self.board = BoardView(host_nonce())
        self.live = LiveChannels(plan)
        self.limits = LimitsKeeper(plan.bench_limits)
        self.selftest = SelftestKeeper()
        self.backfill = BackfillKeeper()
        self.arming = self.new_arming()
        self.attempt = Attempt()
        self.count = CountClock()
        self.witness = Witness(witness_limits(plan))
        self.notices = Notices()
        self.recorder = RecorderView()
        self.around = Surroundings()
        self.grip = Grip()
        self.marks = Marks()
        self.out = Outbox()
        self.off: OffOrder | None = None
        self.outputs: dict[Out, bool] = {}
        self.phase_ns = 0
        self.link_lost = True
        self.hello_due = True
        self.run_open = False
        self.runs = 0
        self.run_id = plan.run_id
        self.unplugged_by: list[str] = []
        self.resume_by: dict[str, int] = {}
        self.moved: set[str] = set()
        self.zero = ZeroTest()
        self.load_test = LoadTest()
        self.tare_test = TareTest()
        self.tared = False
        self.copied: bool | None = None
        self.hold_why = ""
        self.siren_until_ns: int | None = None
        self.siren_kind = ""
        self.started: dict[str, int] = {}
        self.near_ns: int | None = None
        self.disagree_ns: int | None = None
        self.thrust_waived_by = ""
        self.conditions: list[Condition] = []
        self.results: dict[str, Any] | None = None
        self.status_n = 0
        self.published: dict[int, int] = {}
        self.step_sum_s = 0.0
        self.ending = False

    @property
    def phase(self) -> Phase:
        return self.procedure.phase

    @property
    def is_bench(self) -> bool:
        """Fire switches locked on the board and no igniter known: a rise is a check load or a puff.

        An engine that starts anew carries the bench limits too, maybe beside a burning motor: with
        an igniter, a pulse or a rise on record, or firing limits on the board, a rise is a motor.
        """
        status, history = self.board.status, self.latch.history
        if self.limits.wanted.procedure != ProcedureKind.BENCH:
            return False
        if status is not None and (
            status.fired_latched or status.procedure in (ProcedureKind.FIRE, ProcedureKind.DRY)
        ):
            return False
        return not (history.igniter or history.accounts_for_fired)

    @property
    def fire_limits(self) -> LimitsStage:
        """The limits to fire with: lit thresholds stand on the zero taken with the motor mounted."""
        plan = self.plan
        channels = tuple(
            replace(limits, lit=limits.lit + self.live.channels[each.name].zero - each.health.zero)
            if limits.lit
            else limits
            for limits, each in zip(plan.fire_limits.channels, plan.channels, strict=True)
        )
        return replace(plan.fire_limits, channels=channels)

    def after_signing(self, line_id: str, act: str | None) -> None:
        """Until the motor is mounted and tared the board stays on the bench limits, in which it
        cannot fire: the firing limits were loaded once to be read back, and come again by the tare.
        """
        line = self.signatures.checklist.line(line_id)
        loads = act == "load_limits" or (line is not None and line.start == "load_limits")
        if loads and not self.tared:
            self.limits.want(self.plan.bench_limits)
        following = self.signatures.next_line(self.phase)
        if (
            self.phase is Phase.INSPECT
            and self.attempt.was_lit
            and following is not None
            and following.start == "check_load"
        ):  # burnt out, parted, port open: from here a load on the stand is a load, and no motor
            self.limits.want(self.plan.bench_limits)

    def new_arming(self) -> Arming:
        return Arming(
            conductor=self.holder("TC"),
            officer=self.holder("RSO"),
            setup_id=self.plan.setup_id,
            limits_crc=self.fire_limits.crc,
        )

    def holder(self, role: str) -> str:
        """Who holds a role; the settings make sure that somebody does."""
        return next(iter(holders(self.signatures.crew, (role,))), "")

    # ---- telling -------------------------------------------------------------------------------

    def stamp(self, now_ns: int) -> str:
        """How an event is dated on the screen: T+ when there is a T-0, T- in the count, else UTC."""
        t0 = self.attempt.t0_ns
        if t0 is not None and self.phase is not Phase.SAFE:
            return f"T+{(now_ns - t0) / 1e9:.2f} s"
        if self.count.kind == "count":
            return f"T−{self.count.left_s(now_ns):.1f} s"
        return self.around.utc[11:19]

    def fact(self, name: str, now_ns: int, **more: Any) -> None:
        """Record one FACT."""
        self.out.record(RecordType.FACT, {"fact": name, "t": round(now_ns / 1e9, 6), **more})

    def tell(self, text: str, now_ns: int) -> None:
        self.notices.tell(self.stamp(now_ns), text)

    def refuse(self, text: str, now_ns: int, asked: str = "") -> str:
        """Show and record a refusal; returns the sentence."""
        self.notices.refuse(self.stamp(now_ns), text)
        self.fact("REFUSED", now_ns, text=text, asked=asked)
        return text

    # ---- the procedure -------------------------------------------------------------------------

    def happen(self, event: Event, now_ns: int, why: str = "", by: str = "") -> str:
        """Step the procedure; "" or the sentence that refused the event."""
        step = self.procedure.step(event)
        if isinstance(step, Refusal):
            return self.refuse(step.text, now_ns, event.value)
        if step.moved:
            self.fact(
                "PHASE",
                now_ns,
                **{"from": step.before.value, "to": step.after.value},
                event=event.value,
                why=why,
                by=by,
            )
            self.tell(f"{step.after.value}{': ' + why if why else ''}", now_ns)
            self._enter(step, now_ns)
        return ""

    def _enter(self, step: Step[Phase, Event], now_ns: int) -> None:
        self.phase_ns = now_ns
        after = step.after
        if after in ATTEMPT_PHASES:
            self.begin_run(now_ns)
            self.count.clear()
        if after in (Phase.SAFE, Phase.WAIT, Phase.MISFIRE):
            self.want_off("SAFE")
        if after is Phase.BURNING and step.before is not Phase.FIRE:
            self.want_off("SAFE")
        if after is Phase.ABORT:
            self.want_off("ABORT")
            self.note_latch(LatchEvent.ABORTED, now_ns)
        if after is Phase.INSPECT and self.attempt.was_lit:
            self.out.ask(Ask(what="figures"))
        if after is Phase.SAFE:
            self._back_to_safe(step, now_ns)
        elif after is Phase.HOLD:
            self.count.stand(now_ns)
        elif after is Phase.COUNTDOWN:
            self._count_on(step, now_ns)
        elif after is Phase.BURNING and step.before is not Phase.FIRE:
            self.set_output(Out.SIREN, True)
        self._record_rate(after)

    def _back_to_safe(self, step: Step[Phase, Event], now_ns: int) -> None:
        self.arming.drop()
        self.count.clear()
        if step.event is Event.OFFER_GONE:
            arm = self.signatures.checklist.with_act("arm")
            self.signatures.reopen([] if arm is None else [arm.id])
            self.count.start("planned", self.plan.timers.count_s, now_ns, self.plan.timers.count_s)
        elif step.before in (Phase.ARM, Phase.COUNTDOWN, Phase.HOLD):
            self.end_run(now_ns)
            self.signatures.recycle(self.plan.timers.count_s)
            self.count.start("planned", self.plan.timers.count_s, now_ns, self.plan.timers.count_s)
        if step.before is Phase.INSPECT:
            self.signatures.begin_release()  # people were forward: the list goes on where they left
            self.signatures.end_release()
            if self.attempt.was_lit:  # an unburnt motor stays a motor: no bench beside it
                self.tared = False
                self.limits.want(self.plan.bench_limits)
            self.end_run(now_ns)

    def _count_on(self, step: Step[Phase, Event], now_ns: int) -> None:
        if step.before is Phase.HOLD:
            self.count.go_on(now_ns)
        else:
            self.count.start("count", self.plan.timers.count_s, now_ns)

    def _record_rate(self, phase: Phase) -> None:
        fast = phase not in OPEN_PHASES or self.count.kind == "planned"
        self.out.ask(Ask(what="sync", value=0.050 if fast else 1.0))
        self.out.ask(Ask(what="rotate", value=float(phase not in (Phase.FIRE, Phase.BURNING))))

    # ---- the line ------------------------------------------------------------------------------

    def want_off(self, kind: Literal["SAFE", "ABORT"]) -> None:
        """Order the line off; repeated until the board agrees. ABORT is never weakened to SAFE."""
        if self.off is not None and self.off.kind == "ABORT":
            return
        number = self.board.status.number if self.board.status is not None else -1
        self.off = OffOrder(kind=kind, status_n=number)

    def off_is_agreed(self) -> bool:
        """A STATUS newer than the order says that the line is off (and, for ABORT, latched)."""
        status, off = self.board.status, self.off
        if off is None or status is None or status.number <= off.status_n + 1:
            return False
        if off.kind == "ABORT":
            return status.state is BoardState.TRIPPED or not status.key_in
        return status.state not in (BoardState.ARMED, BoardState.ENERGISED)

    def tare(self, now_ns: int) -> None:
        """Take the zero with the motor mounted; from now on the board carries the firing limits."""
        for name, live in self.live.channels.items():
            if not live.plan.is_pressure:
                window = self.live.tare(name)
                self.fact("TARE", now_ns, channel=name, counts=live.zero, sigma=window.sigma)
        self.marks.tare_ns = now_ns
        self.tared = True
        self.live.lit.reset()
        self.limits.want(self.fire_limits)

    def set_output(self, out: Out, level: bool) -> None:
        """Order an auxiliary output (siren, lamp and horn, dump); repeated until STATUS shows it."""
        if self.outputs.get(out) is not level and self.link.session is not None:
            self.outputs[out] = level
            self.out.send(self.link.send(Output(output=out, level=int(level))))

    def board_agrees(self) -> bool:
        """Whether the board's state is one that fits this phase."""
        state = self.board.state
        return state is None or state.name in BOARD_AGREES[self.phase]

    def disagrees(self, now_ns: int) -> bool:
        """Board and engine have disagreed for 200 ms."""
        return self.disagree_ns is not None and now_ns - self.disagree_ns > DISAGREE_NS

    def may_step_s(self, now_ns: int) -> float:
        """How far a rehearsal clock may jump now: never from T−10 s to 1 s after the burn."""
        attempt = self.attempt
        quiet = not attempt.burning and self.off is None
        filling = self.backfill.waiting > 0 and now_ns - self.phase_ns < FILL_NS
        if filling and self.board.in_session and self.phase is not Phase.COUNTDOWN:
            return 0.0
        if self.selftest.under_way(now_ns) or self.tare_test.is_running:
            return 0.0
        if self.phase is Phase.COUNTDOWN:
            return max(0.0, self.count.left_s(now_ns) - 10.5)
        if self.phase in (Phase.SAFE, Phase.INSPECT) and quiet:
            return 3600.0
        if self.phase in (Phase.WAIT, Phase.MISFIRE, Phase.ABORT) and quiet:
            return 7200.0 if (now_ns - self.phase_ns) / 1e9 >= 1.0 else 0.0
        return 0.0

    def stepped(self, seconds: float, ticks: tuple[int, int], now_ns: int) -> None:
        """The rehearsal clock jumped: ages of real traffic move along, the record says so."""
        self.step_sum_s += seconds
        jump = round(seconds * 1e9)
        self.board.shift(seconds)
        self.latch.stepped(seconds)
        self.live.stepped(jump)
        self.backfill.stepped(ticks[1])
        self.published = {n: at + jump for n, at in self.published.items()}
        if self.grip.beat_ns is not None:
            self.grip.beat_ns += jump
        self.out.record(
            RecordType.CLOCK,
            {
                "kind": "rehearsal step",
                "seconds": seconds,
                "tick_before": ticks[0],
                "tick_after": ticks[1],
            },
        )
        self.fact("STEP", now_ns, seconds=seconds)

    # ---- latch and run -------------------------------------------------------------------------

    def note_latch(self, event: LatchEvent, now_ns: int) -> None:
        if self.latch.note(event, utc=self.around.utc[11:16]):
            self.record_latch(now_ns)

    def record_latch(self, now_ns: int) -> None:
        self.out.ask(Ask(what="config"))
        self.fact("LATCH", now_ns, latch=self.latch.to_json())

    def new_attempt(self) -> Attempt:
        """Facts of the next arming; peaks and witness begin anew with it."""
        self.live.forget_peaks()
        self.live.lit.reset()
        self.witness.reset()
        return Attempt()

    def begin_run(self, now_ns: int) -> None:
        if not self.run_open:
            self.run_open = True
            self.runs += 1
            self.run_id = self.plan.run_id + (f".{self.runs}" if self.runs > 1 else "")
            self.out.record(RecordType.RUN, {"run": "begin", "id": self.run_id, "t": now_ns / 1e9})

    def end_run(self, now_ns: int) -> None:
        if self.run_open:
            self.run_open = False
            self.fact("OUTCOME", now_ns, **self.attempt.to_json())
            self.out.record(RecordType.RUN, {"run": "end", "id": self.run_id, "t": now_ns / 1e9})
            self.out.ask(Ask(what="run over"))


def witness_limits(plan: Plan) -> WitnessLimits:
    """Thrust as a witness for pressure, from the plan's numbers."""
    return WitnessLimits(
        c_f=plan.thrust_coefficient,
        c_f_min=plan.least_thrust_coefficient,
        throat_m2=plan.throat_m2,
        expected_thrust_n=plan.redline.expected_thrust_n,
        expected_pa=plan.redline.expected_peak_pa,
        trip_pa=plan.redline.trip_pa,
    )
