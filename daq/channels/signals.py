"""From an electrical signal to a share of the range, and what is no signal at all.

A live zero makes a broken wire visible: outside its band a value is a fault, never a number
(practice 6.13). Sources: transfer definitions (checks 8.3 to 8.6); the loop limits 3.6 and 21 mA
are NAMUR NE 43, from memory.
"""

from typing import Final

LOOP_LOW_A: Final = 3.6e-3
LOOP_HIGH_A: Final = 21e-3


def ratiometric(ratio: float, low: float, high: float, range_si: float) -> float | None:
    """Value for signal/supply; None outside the band widened by a tenth of the live zero."""
    slack = 0.1 * low
    if not low - slack <= ratio <= high + slack:
        return None
    return (ratio - low) / (high - low) * range_si


def loop(current_a: float, range_si: float) -> float | None:
    """Value for a 4-20 mA loop; None under 3.6 mA and over 21 mA."""
    if not LOOP_LOW_A < current_a < LOOP_HIGH_A:
        return None
    return (current_a - 4e-3) / 16e-3 * range_si


def bridge_v(value: float, range_si: float, mv_per_volt: float, excitation_v: float) -> float:
    """Output of a strain-gauge bridge in volts."""
    return value / range_si * mv_per_volt * 1e-3 * excitation_v


def counts_at(share: float, low_fraction: float, high_fraction: float, full_counts: int) -> float:
    """Nameplate counts at a share of the range (0 = zero, 1 = full range)."""
    return full_counts * (low_fraction + share * (high_fraction - low_fraction))
