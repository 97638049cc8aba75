"""What never came is asked from the board's memory, by index, when the motor is quiet."""

import json

import pytest

from daq import cli
from daq.engine.backfill import MOST_TRIES, PATIENCE_NS, PIECE, BackfillKeeper
from daq.journal.recover import read_folder
from daq.runs.open_run import open_run
from firmware_protocol.messages import Backfill, BackfillData, Samples


def block(first, n=10, group=0, tick=None):
    return Samples.of(group, first, first * 250 if tick is None else tick, 250, [(first,)] * n)


def filled(first, n):
    return BackfillData(lost=0, block=block(first, n))


def lost(first, n):
    empty = Samples(group=0, first_index=first, tick=0, step=250, n=0, mask=1, data=b"")
    return BackfillData(lost=n, block=empty)


@pytest.fixture
def keeper():
    made = BackfillKeeper()
    made.heard(7)
    made.note(block(0))
    return made


def test_an_unbroken_row_of_blocks_asks_nothing(keeper):
    keeper.note(block(10))
    assert keeper.ask(0) is None
    assert keeper.summary() is None


def test_a_jump_of_the_index_is_asked_and_told_once_filled(keeper):
    keeper.note(block(30))
    assert keeper.ask(0) == Backfill(group=0, first_index=10, count=20)
    assert keeper.ask(1) is None, "one question at a time"
    keeper.answer(filled(5, 10), 2)
    assert keeper.summary() is None
    keeper.answer(lost(15, 15), 3)
    assert keeper.summary() == {"nonce": 7, "filled": 5, "lost": 15}
    assert keeper.summary() is None
    assert keeper.ask(4) is None


def test_a_long_range_is_asked_in_pieces(keeper):
    keeper.note(block(10 + 2 * PIECE))
    first = keeper.ask(0)
    assert (first.first_index, first.count) == (10, PIECE)
    keeper.answer(filled(10, PIECE), 1)
    second = keeper.ask(2)
    assert (second.first_index, second.count) == (10 + PIECE, PIECE)


def test_without_an_answer_it_asks_again_and_at_last_gives_that_piece_up(keeper):
    keeper.note(block(30))
    asked = [keeper.ask(n * (PATIENCE_NS + 1)) for n in range(MOST_TRIES + 1)]
    assert [a is not None for a in asked] == [True] * MOST_TRIES + [False]
    assert keeper.summary() == {"nonce": 7, "filled": 0, "lost": 20}


def test_a_board_that_says_not_now_is_asked_for_ever(keeper):
    keeper.note(block(30))
    for n in range(3 * MOST_TRIES):
        assert keeper.ask(n * (PATIENCE_NS + 1)) is not None
        keeper.refused(n * (PATIENCE_NS + 1))


def test_another_boot_nonce_fills_nothing(keeper):
    keeper.note(block(30))
    assert keeper.heard(8) == 20
    assert keeper.ask(0) is None
    assert keeper.heard(8) == 0
    keeper.note(block(500))
    assert keeper.ask(0) is None, "the first block of a boot begins its row"


def test_the_same_nonce_after_a_lost_link_goes_on_with_its_row(keeper):
    assert keeper.heard(7) == 0
    keeper.note(block(20))
    assert keeper.waiting == 10


def test_a_block_that_comes_again_or_out_of_order_is_no_gap(keeper):
    keeper.note(block(10))
    keeper.note(block(0))
    keeper.note(block(20))
    assert keeper.waiting == 0


def test_groups_do_not_mix(keeper):
    keeper.note(block(100, group=1))
    keeper.note(block(300, group=1))
    keeper.answer(filled(110, 190), 0)
    assert keeper.waiting == 190, "the answer was of group 0"


def test_what_a_rehearsal_step_jumped_over_was_never_measured(keeper):
    keeper.stepped(1_000_000)
    keeper.note(block(10, tick=2500))
    keeper.note(block(4000, tick=1_000_000))
    assert keeper.waiting == 0


@pytest.mark.parametrize(("scenario", "boots"), [("link-lost-burn", 1), ("logger-brownout", 2)])
def test_after_a_bad_day_no_instant_comes_twice_and_every_gap_is_stated(
    tmp_path, capsys, scenario, boots
):
    """Practice bad day 1 and 8: a cable out for 8 s in the burn is filled; a brownout cannot be."""
    out = tmp_path / "day"
    assert cli.main(["rehearse", "--virtual", "--scenario", scenario, "--out", str(out)]) == 0
    capsys.readouterr()
    run = open_run(out / "journal")
    assert len(run.epochs) == boots
    for series in run.series:
        assert (series.tick[1:] > series.tick[:-1]).all()
        assert (series.indices[1:] > series.indices[:-1]).all()
        assert not len(series.differing)
    facts = [
        body
        for record in read_folder(out / "journal").records
        if record.kind == 4 and (body := json.loads(record.body))["fact"] == "BACKFILL"
    ]
    if scenario == "link-lost-burn":
        (fact,) = facts
        (gap,) = run.gaps  # the memory froze 8 s after light-up, the cable was back 0.4 s later
        assert fact["filled"] > 30_000
        assert fact["lost"] == gap.count
        lit = run.time_of(run.named("LIT")[0])
        assert gap.begin_s == pytest.approx(lit + 8.0, abs=0.02)
    else:
        (gap,) = [g for g in run.gaps if "restarted" in g.why]
        assert gap.why == "the board restarted (BROWN_OUT)"
        assert gap.from_tick > 0
        assert 0.5 < gap.seconds < 2.0
