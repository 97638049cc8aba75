"""What the real peaks have used up: equivalent firings for the wear table, and damage at the holes.

S-N of unnotched 6061-T6: MIL-HDBK-5 fig. 3.6.2.2.8 (checks 4.23, 4.24), a mean curve of tests, so it
is only used with the scatter factor on life and the stress concentration of the holes.
"""

from collections.abc import Iterable
from math import log10
from typing import Final

from daq.units import from_si

SN_CONSTANT: Final = 20.68
SN_SLOPE: Final = 9.84
SN_RATIO_POWER: Final = 0.63
SCATTER_ON_LIFE: Final = 4.0  # practice 5.9, from memory


def cycles_to_failure(greatest_pa: float, ratio: float = 0.0) -> float:
    """Mean number of cycles between `ratio` × greatest and greatest stress."""
    equivalent = from_si(greatest_pa, "ksi") * (1 - ratio) ** SN_RATIO_POWER
    life: float = 10 ** (SN_CONSTANT - SN_SLOPE * log10(equivalent))
    return life


def damage(stresses_pa: Iterable[float], ratio: float = 0.0) -> float:
    """Palmgren-Miner sum over single cycles, 1 at the mean failure."""
    return sum(1 / cycles_to_failure(stress, ratio) for stress in stresses_pa if stress > 0)


def equivalent_firings(peaks_pa: Iterable[float], wear_peak_pa: float) -> float:
    """Firings of the wear table that the peaks stand for.

    A peak above the table's own counts with the slope of the S-N curve; a lower one counts as one
    whole firing, never less.
    """
    counts: list[float] = [max(1.0, (peak / wear_peak_pa) ** SN_SLOPE) for peak in peaks_pa]
    return sum(counts)


def life_used(
    peaks_pa: Iterable[float], bore_m: float, wall_m: float, stress_concentration: float
) -> float:
    """Share of the life used up at the holes: scatter × Miner sum of hoop stress × Kt; 1 = none left."""
    stresses = (stress_concentration * peak * (bore_m + wall_m) / (2 * wall_m) for peak in peaks_pa)
    return SCATTER_ON_LIFE * damage(stresses)
