"""The vote and the trip watch: design "Rated burst, allowable and trip"; checks 9.9."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.channels.vote import TripWatch, Vote

HI, LO_RAIL, HI_RAIL = 31_614, 1_310, 64_226


def watch(**changes):
    return TripWatch(**{"hi": HI, "lo_rail": LO_RAIL, "hi_rail": HI_RAIL} | changes)


@given(st.lists(st.booleans(), max_size=60), st.integers(1, 6), st.integers(0, 4))
def test_a_vote_equals_counting_the_last_few_answers(answers, needed, more):
    vote = Vote(needed, needed + more)
    for at, answer in enumerate(answers):
        window = answers[max(0, at + 1 - vote.of) : at + 1]
        assert vote.push(answer) == (sum(window) >= needed)


@pytest.mark.parametrize(("needed", "of"), [(0, 5), (6, 5), (3, 40), (-1, 2)])
def test_an_impossible_vote_is_refused(needed, of):
    with pytest.raises(ValueError, match="needed"):
        Vote(needed, of)


@given(
    st.lists(
        st.one_of(st.none(), st.integers(HI - 3, HI + 3), st.sampled_from([0, 65_535])), max_size=60
    )
)
def test_the_trip_watch_equals_the_plain_rule(counts):
    trip = watch()
    first = None
    for at, count in enumerate(counts):
        window = counts[max(0, at - 4) : at + 1]
        expected = sum(each is None or each >= HI for each in window) >= 3
        assert trip.push(count) == expected
        if expected and first is None:
            first = at
    assert trip.tripped_at == first
    assert trip.over_samples == sum(c is None or c >= HI for c in counts)


def test_no_single_sample_and_no_pair_trips():
    trip = watch()
    for _ in range(100):
        assert not any(trip.push(count) for count in [65_535, 65_535, 7_000, 7_000, 7_000])


def test_the_count_of_the_trip_itself_is_over():
    """The limit was rounded down: 31 614 reads back 4.780 MPa in the worked example."""
    trip = watch()
    assert [trip.push(HI) for _ in range(3)] == [False, False, True]
    trip.clear()
    assert not any(trip.push(HI - 1) for _ in range(100))


def test_no_number_and_the_upper_rail_count_as_over_the_lower_rail_does_not():
    assert [watch().push(c) for c in (None,)] == [False]
    trip = watch()
    assert [trip.push(None), trip.push(65_535), trip.push(None)] == [False, False, True]
    trip = watch(hi=65_000)
    assert [trip.push(HI_RAIL) for _ in range(3)][-1], "the rail counts even under the trip"
    trip = watch()
    assert not any(trip.push(0) for _ in range(50))


def test_a_ramp_is_seen_within_the_vote_of_the_redline_budget():
    """Check 9.9 in our vote: at least 3 samples, at most 5 (spikes), over before it acts."""
    trip = watch()
    rate_per_sample = 40e6 / 4000 * 52_428.8 / 10e6
    over = 0
    for n in range(2_000):
        count = int(6_553.6 + n * rate_per_sample)
        over += count >= HI
        if trip.push(count):
            break
    assert over == 3


def test_the_highest_count_is_remembered_spikes_included():
    trip = watch()
    for count in (7_000, 30_000, 7_000, 40_000, 8_000):
        trip.push(count)
    assert trip.max_count == 40_000
    trip.clear()
    assert trip.max_count == LO_RAIL


def test_ten_minutes_near_the_limit_with_spikes_do_not_trip():
    """Fault matrix: spikes, 10 min at 1.05 of expected; 4σ below the trip (design: clear).

    A seeded slice of 200 000 samples; the whole ten minutes run in the trial campaign.
    """
    import random

    rng = random.Random(4)
    trip = watch()
    sigma = 12.0
    for n in range(200_000):
        count = int(rng.gauss(HI - 4 * sigma, sigma))
        trip.push(65_535 if n % 200 == 0 else count)
    assert trip.tripped_at is None
