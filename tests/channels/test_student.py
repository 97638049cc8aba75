"""Coverage factors against the table of the GUM (check 2.10)."""

import math

import pytest

from daq.channels.student import coverage_factor, f_upper_tail, within

SHARES = (0.6827, 0.95, 0.9545, 0.99, 0.9973)
TABLE = {
    1: (1.84, 12.71, 13.97, 63.66, 235.78),
    5: (1.11, 2.57, 2.65, 4.03, 5.51),
    10: (1.05, 2.23, 2.28, 3.17, 3.96),
    16: (1.03, 2.12, 2.17, 2.92, 3.54),
    20: (1.03, 2.09, 2.13, 2.85, 3.42),
    50: (1.01, 2.01, 2.05, 2.68, 3.16),
    math.inf: (1.000, 1.960, 2.000, 2.576, 3.000),
}


@pytest.mark.parametrize("freedom", TABLE)
def test_student_t_to_every_printed_digit(freedom):
    """Check 2.10."""
    places = 3 if math.isinf(freedom) else 2
    got = [round(coverage_factor(share, freedom), places) for share in SHARES]
    assert got == pytest.approx(TABLE[freedom], abs=1e-9)


def test_the_tail_of_f_is_the_square_of_t():
    assert f_upper_tail(2.5**2, 1, 10) == pytest.approx(1 - within(2.5, 10), rel=1e-10)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        coverage_factor(1.0, 5)
