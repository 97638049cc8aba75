"""From a record to arrays: merge by index, epochs, gaps to the tick, T-0 (design: back-fill, clock)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.errors import JournalError
from daq.runs.open_run import open_run
from daq.runs.result import outcome_text, reduce_run, result_of
from daq.runs.series import MISSING, merge
from firmware_protocol.messages_board import Samples
from firmware_protocol.numbers import ResetCause


def test_an_opened_run_counts_from_the_sensed_line_current(nominal):
    """Practice 6.17: T-0 is the measured line current, not the button."""
    run = open_run(nominal().run_end())
    assert (run.run_id, run.mode, run.watermark) == ("H-7", "REHEARSAL", "REHEARSAL")
    assert (run.t0_from, run.t0_tick) == ("line current", 2_000_000)
    (pressure,), (thrust,) = run.traces("pressure"), run.traces("thrust")
    assert len(pressure.t_s) == len(thrust.t_s) == 10_000
    assert pressure.t_s[2_000] == pytest.approx(0.0, abs=1e-9)
    assert np.median(pressure.value[2_500:4_000]) == pytest.approx(4.0e6, rel=1e-3)
    assert run.gaps == ()
    result = result_of(run)
    assert result["outcome"] == "burnt"
    impulse = result["figures"]["total_impulse_n_s"]
    assert abs(impulse["value"] - 1_425.0 * 1.95) < impulse["expanded_uncertainty"]
    assert result["figures"]["ignition_delay_s"]["value"] == pytest.approx(0.205, abs=0.002)


def test_samples_that_are_missing_are_a_gap_to_the_tick(nominal, burn_counts, maker):
    record = maker()
    counts = burn_counts(8.0)
    record.boot()
    record.run_begin()
    record.samples(0, counts[:3_000])
    record.at("LINE_ON", 2_000_000, ma=5_000)
    record.at("LIT", 2_204_000, by="p1", pulse=1)
    record.samples(3_137, counts[3_137:])
    run = open_run(record.run_end())
    (gap,) = run.gaps
    assert (gap.first_index, gap.count) == (3_000, 137)
    assert (gap.from_tick, gap.to_tick) == (2_999_000, 3_137_000)
    assert gap.begin_s == pytest.approx(0.999)
    result = result_of(run)
    assert result["figures"]["total_impulse_n_s"]["bound"] == "between"
    assert "137 samples" in outcome_text(result)
    assert result["lost"]["samples"] == 137


def test_back_fill_closes_a_gap_and_live_wins(burn_counts, maker):
    """Merge by index; duplicates are counted; a difference is a finding, never an average."""
    counts = burn_counts(8.0)
    record = maker()
    record.boot()
    record.run_begin()
    record.samples(0, counts[:3_000])
    record.at("LINE_ON", 2_000_000, ma=5_000)
    record.samples(3_100, counts[3_100:])
    wrong = counts[2_980:3_120].copy()
    wrong[5] += 40
    record.samples(2_980, wrong, filled=True)
    run = open_run(record.run_end())
    assert run.gaps == ()
    (series,) = run.series
    np.testing.assert_array_equal(series.counts, counts)
    assert series.duplicates == 40
    assert series.differing == (2_985,)
    assert series.filled.sum() == 100
    assert any("came twice" in finding for finding in run.findings)


def test_a_restart_is_an_epoch_of_its_own_and_says_its_cause(burn_counts, maker):
    """Practice 9 row 1: brownout at inrush; nothing of another boot nonce is filled."""
    counts = burn_counts(10.0)
    record = maker()
    record.boot(nonce=1, engine_s=5.0)
    record.samples(0, counts[:2_020])
    record.run_begin()
    record.at("LINE_ON", 2_000_000, ma=5_000)
    record.boot(nonce=2, cause=ResetCause.BROWN_OUT, engine_s=7.7)
    record.samples(0, counts[2_700:])  # its tick 0 is 2.7 s of the first boot
    record.at("LIT", 3_000, by="f1", pulse=1)
    run = open_run(record.run_end())
    assert [epoch.nonce for epoch in run.epochs] == [1, 2]
    (gap,) = run.gaps
    assert "BROWN_OUT" in gap.why
    assert (gap.first_index, gap.from_tick, gap.to_tick) == (None, 2_019_000, 0)
    assert gap.seconds == pytest.approx(0.681, abs=1e-6)
    (thrust,) = run.traces("thrust")
    late = (thrust.t_s > 1.0) & (thrust.t_s < 2.0)
    assert np.median(thrust.value[late]) == pytest.approx(1_425.0, rel=1e-3)
    burn = reduce_run(run)
    figure = burn.figures["total_impulse_n_s"]
    assert figure.bound == "between"
    assert abs(figure.value - 1_425.0 * 1.95) <= figure.u


def test_a_rehearsal_step_is_no_gap(burn_counts, maker):
    from daq.journal.format import RecordType

    counts = burn_counts(4.0, begin=9.0, end=9.5)
    record = maker()
    record.boot()
    record.run_begin()
    record.samples(0, counts[:1_000])
    step = {
        "kind": "rehearsal step",
        "seconds": 60,
        "tick_before": 1_000_000,
        "tick_after": 61_000_000,
    }
    record.put(RecordType.CLOCK, step)
    record.samples(1_000, counts[1_000:2_000], tick=61_001_000)
    record.samples(2_050, counts[2_050:], tick=62_051_000)
    run = open_run(record.run_end())
    assert [gap.count for gap in run.gaps] == [50]


def test_without_a_burn_the_outcome_is_misfire_or_not_fired(burn_counts, maker):
    """Figures are None with the reason; a check load after the release is no burn."""
    quiet = burn_counts(12.0, begin=99.0, end=100.0)
    quiet[9_000:10_000, 1] += 4_000  # check load, 200 N
    for name, expected in (("LINE_ON", "misfire"), (None, "not fired")):
        record = maker(name=expected)
        record.boot()
        record.run_begin()
        record.samples(0, quiet[:8_000])
        if name:
            record.at(name, 2_000_000, ma=5_000)
        record.at("RELEASED", 8_500_000, names=["A", "B"])
        record.samples(8_000, quiet[8_000:])
        run = open_run(record.run_end())
        result = result_of(run)
        assert result["outcome"] == expected
        assert all(figure["value"] is None for figure in result["figures"].values())
        assert all(figure["note"] for figure in result["figures"].values())
        assert outcome_text(result).splitlines()[1].lower().startswith(expected)


def test_a_motor_that_lit_without_a_fire_order_has_no_ignition_delay(burn_counts, maker):
    record = maker()
    counts = burn_counts(8.0)
    record.boot()
    record.samples(0, counts[:2_300])
    record.run_begin()
    record.at("LIT", 2_204_000, by="p1", pulse=1, commanded=False)
    record.samples(2_300, counts[2_300:])
    run = open_run(record.run_end())
    assert run.t0_from == "lit"
    burn = reduce_run(run)
    assert burn.figures["ignition_delay_s"].value is None
    assert burn.figures["total_impulse_n_s"].value == pytest.approx(1_425 * 1.95, rel=0.01)


def test_a_trip_is_told_with_its_delay_and_without_a_false_claim(burn_counts, maker):
    """It opened the line; the burn went on (practice 4)."""
    counts = burn_counts(8.0)
    counts[3_000:4_000, 0] += 6_000  # over 30 000 counts from index 3 000 on
    record = maker()
    record.boot()
    record.run_begin()
    record.at("LINE_ON", 2_000_000, ma=5_000)
    record.at("LIT", 2_204_000, by="p1", pulse=1)
    record.samples(0, counts)
    record.at("TRIP", 3_002_000, where="board", pa=5.2e6, counts=32_554)
    record.at("TRIP", 3_002_000, where="engine", pa=5.2e6, counts=32_554, delay_ms=9.0)
    result = result_of(open_run(record.run_end()))
    trip = result["trip"]
    assert trip["tripped"]
    assert trip["where"] == "board"
    assert trip["by"] == ["board", "engine"]
    assert trip["time_s"] == pytest.approx(1.002)
    assert trip["detection_delay_ms"] == pytest.approx(2.0), "out of the record, third sample over"
    assert trip["burn_went_on"]
    assert "burned on for" in trip["text"]
    assert result["outcome"] == "aborted"


def test_samples_at_the_lower_rail_are_no_number(burn_counts, maker):
    """Practice 6.13 and 9 row 6: the cable is cut, the channel ends there, the other goes on."""
    counts = burn_counts(8.0)
    counts[3_000:, 0] = 3
    counts[1_000, 1] = 0  # a single spike stays in the record
    record = maker()
    record.boot()
    record.run_begin()
    record.at("LINE_ON", 2_000_000, ma=5_000)
    record.at("LIT", 2_204_000, by="p1", pulse=1)
    record.samples(0, counts)
    run = open_run(record.run_end())
    (pressure,), (thrust,) = run.traces("pressure"), run.traces("thrust")
    assert pressure.t_s[-1] == pytest.approx(1.001, abs=0.003)
    assert thrust.value.min() < -300
    burn = reduce_run(run)
    assert burn.figures["peak_pressure_pa"].bound == "lower"
    assert burn.figures["action_time_s"].definition == "AT1F"
    assert burn.figures["total_impulse_n_s"].value == pytest.approx(1_425 * 1.95, rel=0.01)


def test_a_real_stand_and_a_dry_run_carry_their_own_marks(nominal):
    from copy import deepcopy

    base = nominal(name="a").config
    for mode, mark in (("REAL STAND", None), ("DRY", "DRY")):
        config = deepcopy(base) | {"mode": mode}
        run = open_run(nominal(name=mode, rehearsal=False, config=config).run_end())
        assert (run.mode, run.watermark) == (mode, mark)
    disguised = deepcopy(base) | {"mode": "REAL STAND"}
    run = open_run(nominal(name="c", rehearsal=True, config=disguised).run_end())
    assert run.watermark == "REHEARSAL", "a journal flagged as rehearsal can never pass as a test"


def test_a_record_without_its_config_still_opens(maker, burn_counts):
    record = maker(config={})
    record.boot()
    record.samples(0, burn_counts(3.0))
    run = open_run(record.close())
    assert run.channels == ()
    assert any("no channels" in finding for finding in run.findings)
    assert any("no run was begun" in finding for finding in run.findings)
    assert result_of(run)["figures"]["total_impulse_n_s"]["value"] is None


def test_what_is_no_record_is_refused_with_a_sentence(tmp_path, nominal):
    with pytest.raises(JournalError, match="no records"):
        open_run(tmp_path)
    with pytest.raises(JournalError, match="H-99"):
        open_run(nominal().run_end(), run_id="H-99")


def test_a_torn_record_opens_and_says_what_is_damaged(nominal):
    folder = nominal().run_end()
    (segment,) = folder.glob("*.berm")
    data = bytearray(segment.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 3_000] = bytes(3_000)
    segment.write_bytes(data)
    run = open_run(folder)
    assert run.gaps
    assert any("cannot be read" in finding or "missing" in finding for finding in run.findings)
    result = result_of(run)
    assert not result["record"]["whole"]
    assert result["lost"]["records"] > 0


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 60), st.integers(1, 20), st.booleans(), st.booleans()),
        min_size=1,
        max_size=12,
    )
)
def test_merging_equals_the_plain_rule(blocks):
    """First live copy, else first filled copy; brute force by a dictionary."""
    made, live, filled = [], {}, {}
    for first, n, is_filled, odd in blocks:
        rows = [(i + odd, -i) for i in range(first, first + n)]
        made.append((int(is_filled), Samples.of(0, first, first * 10, 10, rows)))
        for i, row in zip(range(first, first + n), rows, strict=True):
            (filled if is_filled else live).setdefault(i, row)
    series = merge(0, 0, made, 2)
    expected = filled | live
    assert series.indices.tolist() == sorted(expected)
    assert [tuple(row) for row in series.counts.tolist()] == [expected[i] for i in sorted(expected)]
    assert series.duplicates == sum(n for _, n, _, _ in blocks) - len(expected)
    assert series.filled.tolist() == [i not in live for i in sorted(expected)]


def test_a_masked_channel_is_missing_and_never_zero():
    one = Samples(
        group=0, first_index=0, tick=0, step=10, n=2, mask=2, data=bytes([5, 0, 0, 6, 0, 0])
    )
    series = merge(0, 0, [(0, one)], 2)
    assert series.counts.tolist() == [[MISSING, 5], [MISSING, 6]]
    negative = Samples.of(0, 0, 0, 10, [(-1, -8_388_608), (8_388_607, 1)])
    assert merge(0, 0, [(0, negative)], 2).counts.tolist() == [[-1, -8_388_608], [8_388_607, 1]]
