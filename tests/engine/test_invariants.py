"""The invariants of design.md, each a named test, on the engine joined to the board and the stand.

Under random operators they run again at the end of the file (hypothesis); the procedure and the
board alone are walked breadth-first in their own tests.
"""

import pytest
from bench import Bench
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from daq.engine.core import Engine
from daq.procedure.approach import Latch
from daq.procedure.signatures import Signatures
from firmware_protocol.messages import BoardState
from simulators.acts import act


def fire(bench):
    """Play on to FIRE with the line energised."""
    return bench.until(lambda b: b.energised(), 15.0)


# 1 ------------------------------------------------------------------------------------------------


def test_line_energised_only_in_fire_with_key_in_and_a_fresh_grip(counting):
    seen = []

    def watch(bench):
        if bench.energised():
            seen.append((bench.rig.true_state()["key_in"], bench.state.grip.held))

    counting.run(14.0, watch)
    assert seen
    assert all(key and grip for key, grip in seen)
    assert "FIRE" in counting.phases


def test_go_is_sent_once_per_arming(counting):
    counting.run(16.0)
    assert [f["fact"] for f in counting.facts].count("GO") == 1


# 2 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cut", "within_ms"),
    [
        ("key", 60), ("stop", 60), ("let go", 260), ("safe", 60), ("abort", 60), ("silence", 260),
        ("cable", 260), ("board reset", 5),
    ],
)  # fmt: skip
def test_any_one_of_them_opens_the_line_in_time(counting, cut, within_ms):
    bench = fire(counting)
    act(bench.rig, "igniter_dud", {})
    bench.crew_plays = cut not in ("let go", "silence")
    if cut == "key":
        bench.hands.key(is_in=False)
    elif cut == "stop":
        bench.hands.stop(is_in=True)
    elif cut == "safe":
        bench.line.wish("safe")
    elif cut == "abort":
        bench.line.wish("abort")
    elif cut == "cable":
        bench.hands.ask("cable", **{"in": False})
    elif cut == "board reset":
        from firmware_protocol.messages import ResetCause

        bench.rig.reset(ResetCause.WATCHDOG)
    bench.run(within_ms / 1000)
    assert not bench.energised()
    bench.run(1.0)
    assert not bench.energised()
    assert bench.state.board.state is not BoardState.ARMED


@pytest.mark.parametrize("cut", ["key", "stop", "safe", "cable", "board reset"])
def test_a_cut_in_the_count_needs_a_new_arming_from_the_first_step(counting, cut):
    counting.crew_plays = True
    if cut == "key":
        counting.hands.key(is_in=False)
        counting.run(0.3)
        counting.hands.key(is_in=True)
    elif cut == "stop":
        counting.hands.stop(is_in=True)
        counting.run(0.3)
        counting.hands.stop(is_in=False)
    elif cut == "safe":
        counting.line.wish("safe")
    elif cut == "cable":
        counting.hands.ask("cable", **{"in": False})
        counting.run(1.0)
        counting.hands.ask("cable", **{"in": True})
    else:
        from firmware_protocol.messages import ResetCause

        counting.rig.reset(ResetCause.BROWN_OUT)
    counting.crew_plays = False
    counting.run(1.5)
    assert counting.phase == "SAFE"
    assert not counting.armed()
    assert counting.state.arming.state == "none"
    assert not counting.state.signatures.is_signed("E6")


# 3 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("wish", ["safe", "abort"])
def test_safe_and_abort_are_accepted_in_every_phase_from_anybody(tmp_path, wish):
    bench = Bench(tmp_path)
    wanted = ["SAFE", "ARM", "COUNTDOWN", "FIRE", "BURNING", "WAIT", "INSPECT"]
    for phase in wanted:
        bench.until_phase(phase)
        copy = bench.snapshot()
        copy.line.answers.clear()
        copy.crew_plays = False
        copy.line.wishes = []
        copy.line.wish(wish)
        copy.line.wishes = [type(w)(kind=w.kind, client=99, data={}) for w in copy.line.wishes]
        copy.step()
        assert copy.line.answers[-1]["ok"], phase
        copy.run(0.1)
        assert not copy.energised()
        if wish == "abort":
            assert copy.phase == "ABORT", phase


def test_safe_goes_out_again_every_20_ms_until_the_board_agrees(counting):
    counting.crew_plays = False
    counting.hands.ask("cable", **{"in": False})
    counting.line.wish("safe")
    before = len(counting.sent)
    counting.run(0.4)
    assert len([s for s in counting.sent[before:] if len(s) < 14]) >= 15


# 4 ------------------------------------------------------------------------------------------------


def test_a_stale_wish_is_refused(counting):
    counting.crew_plays = False
    counting.line.wishes = []
    old = counting.line.status["n"]
    counting.run(0.5)
    counting.line.wish("mark", text="late", seen=old)
    counting.step()
    assert "old picture" in counting.line.answers[-1]["text"]


def test_nothing_but_the_control_token_advances(counting):
    counting.crew_plays = False
    counting.line.wishes = []
    for kind in ("enter", "digits", "resume", "recycle", "scrub", "mark", "answer"):
        counting.line.answers.clear()
        counting.line.wish(kind, **{"enter": {"line": "E6"}, "digits": {"text": "1"}}.get(kind, {}))
        counting.line.wishes = [
            type(w)(kind=w.kind, client=42, data=w.data) for w in counting.line.wishes
        ]
        counting.step()
        assert "in control" in counting.line.answers[-1]["text"], kind


def test_a_beat_on_an_old_picture_gives_no_grip(counting):
    counting.crew_plays = False
    counting.line.wishes = []
    counting.until(lambda b: b.state.count.left_s(b.now_ns) < 2.9 or b.phase != "COUNTDOWN", 12.0)
    assert not counting.state.grip.held


# 5, 7 ---------------------------------------------------------------------------------------------


def test_only_the_release_opens_the_latch(tmp_path):
    bench = Bench(tmp_path)
    opened = []

    def watch(b):
        if b.state.latch.word.value == "OPEN":
            opened.append(b.state.latch.names)

    bench.until_phase("INSPECT", 90.0)
    bench.run(0.1, watch)
    assert opened
    assert all(len(set(names)) == 2 for names in opened)
    wait = [f for f in bench.facts if f["fact"] == "RELEASED"][-1]
    assert wait["wait"] == "normal"


def test_after_a_start_the_board_is_safe_and_the_latch_closed(fresh):
    fresh.crew_plays = False
    fresh.run(1.0)
    assert fresh.phase == "SAFE"
    assert fresh.line.status["board"]["state"] == "DISARMED"
    assert fresh.line.status["approach"]["word"] == "CLOSED"


# 6 ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("phase", ["SAFE", "ARM", "COUNTDOWN", "WAIT", "ABORT"])
def test_the_procedure_follows_the_motor(tmp_path, phase):
    bench = Bench(tmp_path)
    if phase == "ABORT":
        bench.until_count(12.0)
        bench.crew_plays = False
        bench.line.wish("abort")
        bench.until_phase("ABORT")
        bench.run(0.5)
    elif phase == "SAFE":
        bench.until(lambda b: b.state.tared and b.state.limits.is_equal(b.state.board.status))
    elif phase == "WAIT":
        bench.until_phase("WAIT", 90.0)
        bench.rig.plant.weight_n = 900.0
    else:
        bench.until_phase(phase)
    bench.crew_plays = False
    if phase != "WAIT":
        bench.rig.plant.ignite()
    bench.until_phase("BURNING", 3.0)
    assert bench.line.status["approach"]["word"] == "CLOSED" or bench.run(0.1) is None
    bench.run(0.2)
    assert bench.line.status["approach"]["word"] == "CLOSED"
    assert not bench.energised()


def test_an_engine_that_starts_beside_a_burning_motor_says_burning(counting):
    """Invariant 6: the bench limits of a new engine make no check load out of a motor."""
    bench = counting
    bench.until_phase("BURNING", 20.0)
    old = bench.engine
    bench.engine = Engine(
        bench.plan,
        Signatures(old.state.signatures.checklist, old.state.signatures.crew, {}),
        Latch(old.state.latch.waits, saved=old.state.latch.to_json()),
        host_nonce=lambda: 77,
    )
    bench.crew_plays = False
    bench.run(0.6)
    assert bench.phase == "BURNING"
    assert bench.state.latch.word.value == "CLOSED"


# 8 ------------------------------------------------------------------------------------------------


def test_trip_uses_the_counts_received_and_acts_once_the_vote_stands(tmp_path):
    fault = {"at": "lit+0.6", "do": "over_pressure", "throat_factor": 0.78, "over_s": 0.05}
    bench = Bench(tmp_path, faults=[fault])
    bench.until_phase("ABORT", 90.0)
    bench.run(0.2)
    trips = [f for f in bench.facts if f["fact"] == "TRIP"]
    assert {t["where"] for t in trips} == {"board", "engine"}
    board, engine = (next(t for t in trips if t["where"] == w) for w in ("board", "engine"))
    assert abs(board["tick"] - engine["tick"]) <= 2_000
    assert engine["pa"] >= bench.plan.redline.trip_pa - 1.0
    assert not bench.energised()


# random operators ---------------------------------------------------------------------------------

ACTS = st.sampled_from(
    ["key out", "key in", "stop in", "stop out", "unplug", "plug", "safe", "abort", "hold",
     "grip", "release", "enter", "digits", "resume", "recycle", "scrub", "crew", "wait", "light",
     "noise", "report"]
)  # fmt: skip


def check(bench):
    """Whatever anybody does: energised only as armed and gripped, and never with the key out."""
    if not bench.energised():
        return
    assert bench.rig.true_state()["key_in"], "energised with the key out"
    assert bench.state.phase.value in ("FIRE", "COUNTDOWN", "BURNING", "MISFIRE", "ABORT")
    assert bench.state.attempt.go_ns is not None, "energised without GO"


def perform(bench, name_of_act):
    name = bench.crew.named
    match name_of_act:
        case "key out" | "key in":
            bench.hands.key(is_in=name_of_act == "key in")
        case "stop in" | "stop out":
            bench.hands.stop(is_in=name_of_act == "stop in")
        case "unplug" | "plug":
            bench.hands.ask("cable", **{"in": name_of_act == "plug"})
        case "grip" | "release":
            bench.crew.grip = name_of_act == "grip"
        case "enter":
            bench.line.wish("enter", line="E6", by=name("TC"), code=bench.crew.codes[name("TC")])
        case "digits":
            bench.line.wish("digits", text="0000", by=name("TC"))
        case "crew":
            bench.crew_plays = not bench.crew_plays
        case "wait":
            bench.run(1.0, check)
        case "light":
            bench.rig.plant.ignite()
        case "noise":
            bench.to_board += bytes(range(256))
        case "report":
            bench.line.wish("report", what="smoke")
        case _:
            bench.line.wish(name_of_act)


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(acts=st.lists(ACTS, min_size=1, max_size=12))
def test_random_operators_never_energise_and_never_open_the_range(counting_once, acts):
    bench = counting_once.snapshot()
    bench.until_count(4.0)
    for each in acts:
        perform(bench, each)
        bench.run(0.15, check)
        if bench.state.attempt.gave_energy or bench.state.attempt.burning:
            released = [f for f in bench.facts if f["fact"] == "RELEASED"]
            assert len(released) <= 1 or bench.phase in ("INSPECT", "SAFE", "BURNING", "ABORT")
    bench.crew_plays = False
    bench.crew.grip = False
    bench.run(2.5)
    assert not bench.energised()


def test_the_board_is_on_the_bench_before_the_check_load_after_the_burn(tmp_path):
    """The weight of G4 must not read as a rise: the board's fired latch would close the range."""
    bench = Bench(tmp_path)
    bench.until(lambda b: b.phase == "INSPECT" and b.rig.plant.weight_n > 0, 120.0)
    assert bench.state.board.status.limits_crc == bench.plan.bench_limits.crc
    bench.until(lambda b: b.crew.finished, 30.0)
    assert bench.line.status["approach"]["word"] == "OPEN"


def test_another_board_on_the_port_gets_no_session(counting):
    """Bad day 25: the same board id is required; another one is a link loss, and nothing re-arms."""
    from dataclasses import replace

    counting.crew_plays = False
    counting.rig.setup = replace(counting.rig.setup, uid=b"other-01")
    from firmware_protocol.messages import ResetCause

    counting.rig.reset(ResetCause.POWER)
    counting.run(2.0)
    assert counting.phase == "SAFE"
    assert counting.state.link_lost
    assert "Another board answers" in counting.state.notices.refusal[1]
    assert counting.line.status["circuit"]["word"] == "UNKNOWN"
    counting.run(2.0)
    assert not counting.energised()


@pytest.mark.parametrize("wrong", ["real", "uid"])
def test_the_wrong_kind_of_board_ends_the_engine_with_a_sentence(fresh, wrong):
    from dataclasses import replace

    from daq.errors import DeviceFault

    if wrong == "uid":
        fresh.state.plan = replace(fresh.state.plan, board_uid=b"expected")
    else:
        fresh.state.plan = replace(fresh.state.plan, mode="REAL STAND")
    with pytest.raises(DeviceFault, match="expected"):
        fresh.run(1.0)


def test_a_trip_tells_the_delay_of_its_own_vote_and_is_told_once(tmp_path):
    fault = {"at": "lit+0.6", "do": "over_pressure", "throat_factor": 0.78, "over_s": 0.05}
    bench = Bench(tmp_path, faults=[fault])
    bench.until_phase("ABORT", 90.0)
    bench.run(1.2)
    trips = [f for f in bench.facts if f["fact"] == "TRIP" and f["where"] == "engine"]
    assert 0.5 <= trips[0]["delay_ms"] <= 1.5
    assert len(trips) <= 3


def test_a_run_that_falls_back_to_safe_ends(counting):
    counting.crew_plays = False
    counting.hands.key(is_in=False)
    counting.until_phase("SAFE", 2.0)
    assert not counting.state.run_open
    assert [f for f in counting.facts if f["fact"] == "OUTCOME"][-1]["outcome"] == "not fired"


def test_a_quiet_start_raises_no_alarm(fresh):
    fresh.until(lambda b: b.state.tared, 60.0)
    assert fresh.state.notices.shown() == []


def test_a_motor_that_lights_in_the_inspection_after_a_misfire_is_burning(tmp_path):
    """Invariant 6: beside an unburnt motor nothing is a check load; the range closes again."""
    bench = Bench(tmp_path, faults=[{"at": 0, "do": "igniter_dud"}])
    bench.until_phase("INSPECT", 120.0)
    bench.until(lambda b: b.state.signatures.is_signed("G4") or b.phase == "SAFE", 30.0)
    for _ in range(2):
        copy = bench.snapshot()
        copy.crew_plays = False
        assert copy.line.status["approach"]["word"] == "OPEN"
        copy.rig.plant.ignite()
        copy.until_phase("BURNING", 3.0)
        copy.run(0.2)
        assert copy.line.status["approach"]["word"] == "CLOSED"
        bench.until(lambda b: b.phase == "SAFE", 30.0)
        bench.run(0.3)
