"""The envelope against brute force: no wiggle, no hidden spike, gaps stay gaps (style.md 5)."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.channels.envelope import Envelope

VALUES = st.lists(st.integers(-50, 50), min_size=1, max_size=200)
BLOCKS = st.lists(st.tuples(st.integers(0, 3_000), VALUES), min_size=1, max_size=8)


def brute(blocks, *, fill=()):
    """Index -> value by the plain rules: live replaces, back-fill only fills."""
    known = {}
    for first, values in blocks:
        known |= {first + n: v for n, v in enumerate(values)}
    for first, values in fill:
        for n, v in enumerate(values):
            known.setdefault(first + n, v)
    return known


def check_view(view, known):
    for n, (low, high) in enumerate(zip(view.low, view.high, strict=True)):
        start = view.first + n * view.step
        inside = [known[i] for i in range(start, start + view.step) if i in known]
        if inside:
            assert (low, high) == (min(inside), max(inside))
        else:
            assert np.isnan(low)
            assert np.isnan(high)


@settings(max_examples=60, deadline=None)
@given(BLOCKS, BLOCKS, st.integers(0, 3_000), st.integers(1, 3_000), st.integers(1, 300))
def test_every_bin_equals_brute_force(blocks, later, begin, width, bins):
    envelope = Envelope()
    for first, values in blocks:
        envelope.append(first, np.array(values))
    for first, values in later:
        envelope.fill(first, np.array(values))
    known = brute(blocks, fill=later)
    view = envelope.query(begin, begin + width, bins)
    assert view.step == 1 << max(0, view.step.bit_length() - 1)
    assert view.first % view.step == 0
    assert len(view.low) <= bins + 1
    check_view(view, known)
    covered = {i for i in known if begin <= i < begin + width}
    drawn = range(view.first, view.first + len(view.low) * view.step)
    assert all(i in drawn for i in covered), "every sample is inside a drawn bin"


@settings(max_examples=40, deadline=None)
@given(BLOCKS)
def test_gaps_are_exact(blocks):
    envelope = Envelope()
    for first, values in blocks:
        envelope.append(first, np.array(values))
    known = brute(blocks)
    missing = {i for a, b in envelope.gaps(0, 10_000) for i in range(a, b)}
    assert missing == set(range(min(known), max(known) + 1)) - set(known)


def test_scrolling_by_one_sample_changes_no_drawn_value():
    rng = np.random.default_rng(1)
    envelope = Envelope()
    envelope.append(1_003, rng.normal(size=50_000))
    for shift in (0, 1, 7, 63, 64, 255):
        view = envelope.query(5_000 + shift, 25_000 + shift, 400)
        whole = envelope.query(5_000, 25_000, 400)
        assert view.step == whole.step == 64
        offset = (view.first - whole.first) // view.step
        common = len(whole.low) - offset
        np.testing.assert_array_equal(view.low[:common], whole.low[offset:])
        np.testing.assert_array_equal(view.high[:common], whole.high[offset:])


def test_one_spike_in_a_million_is_drawn_at_every_width():
    values = np.zeros(1_000_000, dtype=np.int32)
    values[123_457] = 5_000
    envelope = Envelope()
    for at in range(0, 1_000_000, 4_000):
        envelope.append(at, values[at : at + 4_000])
    for bins in (20, 400, 5_000, 1_000_000):
        assert np.nanmax(envelope.query(0, 1_000_000, bins).high) == 5_000
    assert np.nanmin(envelope.query(0, 1_000_000, 400).low) == 0


def test_blocks_of_any_cut_give_the_same_pyramid():
    values = np.random.default_rng(2).normal(size=9_999)
    whole, cut = Envelope(), Envelope()
    whole.append(77, values)
    at = 0
    for size in (1, 2, 3, 500, 1_000, 4_000, 4_493):
        cut.append(77 + at, values[at : at + size])
        at += size
    for bins in (10, 100, 1_000):
        one, two = whole.query(0, 20_000, bins), cut.query(0, 20_000, bins)
        np.testing.assert_array_equal(one.low, two.low)
        np.testing.assert_array_equal(one.high, two.high)


def test_a_long_stream_keeps_only_its_newest_samples():
    envelope = Envelope(keep=300_000)
    for at in range(0, 3_000_000, 10_000):
        envelope.append(at, np.arange(at, at + 10_000))
    assert len(envelope) == 300_000
    assert envelope.first == 2_700_000
    view = envelope.query(2_999_000, 3_000_000, 1_000)
    np.testing.assert_array_equal(view.low, np.arange(2_999_000, 3_000_000, dtype=np.float32))
    envelope.append(5, np.ones(10))
    assert envelope.first == 2_700_000, "samples older than the window are not taken back"


def test_a_jump_beyond_what_is_kept_starts_over_without_filling_memory():
    envelope = Envelope(keep=100_000)
    envelope.append(0, np.ones(1_000))
    envelope.append(10**12, np.full(1_000, 2.0))
    assert (envelope.first, len(envelope)) == (10**12, 1_000)
    assert envelope.query(10**12, 10**12 + 1_000, 10).high.max() == 2


def test_the_line_has_two_points_per_bin_and_one_per_sample():
    envelope = Envelope()
    envelope.append(0, np.arange(64))
    x, y = envelope.query(0, 64, 64).line()
    np.testing.assert_array_equal(x, np.arange(64))
    np.testing.assert_array_equal(y, np.arange(64))
    x, y = envelope.query(0, 64, 16).line()
    np.testing.assert_array_equal(x[:4], [1.5, 1.5, 5.5, 5.5])
    np.testing.assert_array_equal(y[:4], [0, 3, 4, 7])


def test_an_empty_envelope_answers_with_nothing():
    envelope = Envelope()
    envelope.append(5, np.array([]))
    assert len(envelope) == 0
    assert len(envelope.query(0, 100, 10).low) == 0
    assert envelope.gaps(0, 100) == []
