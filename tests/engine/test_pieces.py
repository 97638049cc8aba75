"""Small parts of the engine: count, clock fit, arming dialogue, alarms, upkeep, history of a site."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.engine.alarms import Notices
from daq.engine.arming import Arming
from daq.engine.attempt import Attempt, TripFact
from daq.engine.clockfit import ClockFit, lower_hull
from daq.engine.count import CountClock
from daq.engine.history import read_history
from daq.engine.upkeep import LimitsKeeper, SelftestKeeper, may_keep
from daq.journal.format import RecordType
from daq.journal.writer import JournalWriter
from daq.procedure.checks import ACTS, TOOL_CHECKS
from daq.procedure.phases import Phase
from firmware_protocol.messages import LimitsEcho, Offer

S = 1_000_000_000


def test_every_tool_check_has_an_answer_and_every_act_a_deed():
    from daq.engine.acts import ACT_OF
    from daq.engine.tools import ANSWERS

    assert set(ANSWERS) == set(TOOL_CHECKS)
    assert set(ACT_OF) == set(ACTS)


# ---- count ---------------------------------------------------------------------------------------


def test_the_count_stands_in_a_hold_and_goes_on_from_there():
    count = CountClock()
    count.start("count", 60.0, 0)
    count.stand(20 * S)
    assert count.left_s(500 * S) == 40.0
    count.go_on(500 * S)
    assert count.left_s(510 * S) == 30.0


def test_the_planned_clock_stops_at_its_mark():
    count = CountClock()
    count.start("planned", 600.0, 0, floor_s=60.0)
    assert count.left_s(540 * S) == 60.0
    assert count.left_s(10_000 * S) == 60.0


# ---- clock fit -----------------------------------------------------------------------------------


@settings(max_examples=20, deadline=None)
@given(st.floats(-150e-6, 150e-6), st.integers(0, 10**9), st.randoms())
def test_the_fit_follows_drift_and_ignores_lateness(drift, offset, random):
    fit = ClockFit()
    for ms in range(0, 60_000, 100):
        tick = ms * 1000
        true = offset + round(tick * 1000 * (1 + drift))
        assert not fit.note(tick, true + random.randrange(0, 16_000_000))
    predicted = fit.host_ns(60_000_000)
    assert predicted is not None
    assert abs(predicted - (offset + round(60e9 * (1 + drift)))) < 20_000_000


def test_a_jump_above_100_ms_for_2_s_is_a_break_and_a_shorter_one_is_not():
    fit = ClockFit()
    for ms in range(0, 1000, 50):
        fit.note(ms * 1000, ms * 1_000_000)
    late = [fit.note(ms * 1000, ms * 1_000_000 + 300_000_000) for ms in range(1000, 2500, 50)]
    assert not any(late)
    assert not fit.note(2_500_000, 2_500_000_000)
    broke = [fit.note(ms * 1000, ms * 1_000_000 + 300_000_000) for ms in range(3000, 6000, 50)]
    assert broke.count(True) == 1
    assert fit.breaks == 1


def test_the_lower_hull_lies_under_every_point():
    points = [(0, 3.0), (1, 1.0), (2, 2.0), (3, 0.5), (4, 4.0)]
    assert lower_hull(points) == [(0, 3.0), (1, 1.0), (3, 0.5), (4, 4.0)]


# ---- arming --------------------------------------------------------------------------------------


def arming():
    made = Arming(conductor="Jonas", officer="Marta", setup_id=48172093, limits_crc=5)
    made.ask(0)
    assert not made.note_offer(
        Offer(challenge=9, limits_crc=5, setup_id=48172093, expires_ms=60_000), 0
    )
    return made


def test_four_digits_each_by_the_right_person():
    made = arming()
    assert "Jonas types" in made.type_digits("4817", "Marta")
    assert made.type_digits("4817", "Jonas") == ""
    assert made.take(1) is None
    assert "Marta types" in made.type_digits("2093", "Jonas")
    assert made.type_digits("2093", "Marta") == ""
    take = made.take(1)
    assert take is not None
    assert take.challenge == 9


def test_wrong_digits_fall_back_to_the_start_of_the_group():
    made = arming()
    made.type_digits("48", "Jonas")
    assert "not the digits" in made.type_digits("99", "Jonas")
    assert made.typed == ""


def test_nobody_types_across_the_groups():
    made = arming()
    made.type_digits("48", "Jonas")
    assert "first four" in made.type_digits("1720", "Jonas")


def test_an_offer_for_another_set_up_is_not_taken():
    made = Arming(conductor="Jonas", officer="Marta", setup_id=1, limits_crc=5)
    made.ask(0)
    offer = Offer(challenge=9, limits_crc=5, setup_id=2, expires_ms=60_000)
    assert "another set-up" in made.note_offer(offer, 0)


def test_the_offer_runs_out():
    made = arming()
    assert not made.is_overdue(59 * S)
    assert made.is_overdue(60 * S)


# ---- alarms --------------------------------------------------------------------------------------


def test_answering_stops_the_sound_and_not_the_alarm():
    notices = Notices()
    notices.raise_("trip", "URGENT", "Over.", "Stay.", "T+1")
    assert notices.answer(Phase.ABORT, "Marta") == ""
    assert notices.shown()[0].answered_by == "Marta"
    notices.clear("trip")
    assert notices.shown() == []


def test_an_alarm_that_cleared_stays_until_it_is_answered():
    notices = Notices()
    notices.raise_("near", "HIGH", "Near.", "Call.", "T+1")
    notices.clear("near")
    assert notices.shown()
    notices.answer(Phase.WAIT, "Marta")
    assert not notices.shown()


@pytest.mark.parametrize("phase", ["COUNTDOWN", "HOLD", "FIRE", "BURNING"])
def test_no_alarm_is_answered_from_the_count_to_burn_out(phase):
    notices = Notices()
    notices.raise_("near", "HIGH", "Near.", "Call.", "T+1")
    assert "after burn-out" in notices.answer(Phase(phase), "Marta")


def test_the_urgent_one_is_shown_first():
    notices = Notices()
    notices.raise_("a", "HIGH", "A.", "Do.", "1")
    notices.raise_("b", "URGENT", "B.", "Do.", "2")
    assert [alarm.key for alarm in notices.shown()] == ["b", "a"]


# ---- upkeep --------------------------------------------------------------------------------------


def test_limits_are_loaded_again_until_the_echo_is_equal(fresh):
    fresh.crew_plays = False
    fresh.run(0.5)
    status = fresh.state.board.status
    keeper = LimitsKeeper(fresh.plan.bench_limits)
    assert len(keeper.tick(status, 0)) == 2
    assert keeper.tick(status, S // 2) == []
    assert len(keeper.tick(status, S)) == 2
    keeper.note_echo(LimitsEcho(body=fresh.plan.fire_limits.pack()), S)
    assert keeper.trouble
    keeper.note_echo(LimitsEcho(body=fresh.plan.bench_limits.pack()), S)
    assert keeper.is_equal(status)


def test_nothing_is_loaded_with_the_key_in(fresh):
    fresh.crew_plays = False
    fresh.hands.key(is_in=True)
    fresh.run(0.5)
    assert not may_keep(fresh.state.board.status)
    assert SelftestKeeper().ask(fresh.state.board.status, 10 * S) == []


# ---- attempt -------------------------------------------------------------------------------------


def test_the_outcome_says_what_is_known():
    assert Attempt().outcome() == "not fired"
    assert Attempt(go_ns=1).outcome() == "misfire"
    assert Attempt(go_ns=1, unknown=True).outcome() == "unknown"
    assert Attempt(go_ns=1, lit_tick=5).outcome() == "burnt"
    trip = TripFact(where="board", tick=1, pa=1.0, counts=1, delay_ms=None)
    assert Attempt(go_ns=1, lit_tick=5, trips=[trip]).outcome() == "aborted"


def test_a_line_that_opens_under_current_is_told_once():
    attempt = Attempt()
    assert attempt.note_line(True, 5000, 10, 1) == "on"
    assert attempt.note_line(True, 5000, 11, 2) == ""
    assert attempt.note_line(True, 0, 12, 3) == "opened"
    assert attempt.note_line(True, 0, 13, 4) == ""
    assert attempt.t0_ns == 1


# ---- history -------------------------------------------------------------------------------------


def test_an_empty_site_has_no_history(tmp_path):
    history = read_history(tmp_path / "journal", tmp_path / "runs")
    assert history.is_empty
    assert history.latch is None
    assert history.next_run == 1


def test_the_last_latch_fact_and_the_run_numbers_are_read(tmp_path):
    writer = JournalWriter(tmp_path / "journal", rehearsal=True)
    writer.start()
    for word in ("CLOSED", "OPEN"):
        writer.put(
            RecordType.FACT,
            json.dumps({"fact": "LATCH", "latch": {"word": word}, "tick": 77}).encode(),
            1,
        )
    writer.put(RecordType.RUN, json.dumps({"run": "begin", "id": "H-0007"}).encode(), 2)
    assert writer.close()
    (tmp_path / "runs" / "H-0003").mkdir(parents=True)
    history = read_history(tmp_path / "journal", tmp_path / "runs")
    assert history.latch == {"word": "OPEN"}
    assert history.last_tick == 77
    assert history.next_run == 8
