"""Thrust as a witness for pressure: `q = F / (C_F * A_t * p)` (design: believable; practice 6.15).

A plugged pressure line reads a calm zero through a burst; thrust does not. While thrust or
pressure is above 20 % of what is expected, q must stay between 0.7 and 1.3. Out of it without a
break for 0.2 s: high = BLIND (pressure is not seen), low = the load path or the nozzle is suspect.
BLIND stays until the next motor. The witness never trips: `over_trip` (the pressure that the
thrust implies has passed the trip, voted) sounds the siren and makes the unproven wait apply.
SI throughout: N, Pa, m²; ticks are the board's.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from daq.channels.vote import Vote

Q_LOW: Final = 0.7
Q_HIGH: Final = 1.3
SHARE: Final = 0.2
FOR_S: Final = 0.2


class Word(StrEnum):
    """What the witness says."""

    IDLE = "IDLE"
    OK = "OK"
    BLIND = "BLIND"
    LOAD_PATH = "LOAD PATH SUSPECT"


@dataclass(frozen=True, slots=True, kw_only=True)
class WitnessLimits:
    """`c_f` nominal and `c_f_min` lowest thrust coefficient, throat in m², expected peaks, trip."""

    c_f: float
    c_f_min: float
    throat_m2: float
    expected_thrust_n: float
    expected_pa: float
    trip_pa: float

    def __post_init__(self) -> None:
        if not (0 < self.c_f_min <= self.c_f and self.throat_m2 > 0):
            raise ValueError("the witness needs 0 < c_f_min <= c_f and a throat above zero")
        if min(self.expected_thrust_n, self.expected_pa, self.trip_pa) <= 0:
            raise ValueError("the witness needs expected peaks and a trip above zero")


class Witness:
    """Feed pairs of thrust and pressure of (nearly) the same instant; per sample or per block."""

    def __init__(self, limits: WitnessLimits, tick_hz: int = 1_000_000) -> None:
        self.limits = limits
        self._for_ticks = round(FOR_S * tick_hz)
        self.reset()

    def reset(self) -> None:
        """A new motor: nothing seen."""
        self.word = Word.IDLE
        self.q: float | None = None
        self.max_p_f_pa = 0.0
        self.over_trip = False
        self._vote = Vote()
        self._high_from: int | None = None
        self._low_from: int | None = None

    def pressure_of(self, thrust_n: float) -> float:
        """Highest chamber pressure that this thrust can mean: `F / (C_F,min * A_t)`, Pa."""
        return thrust_n / (self.limits.c_f_min * self.limits.throat_m2)

    def push(self, tick: int, thrust_n: float, pressure_pa: float) -> Word:
        """Take one pair and return the word that holds now."""
        limits = self.limits
        if (
            thrust_n <= SHARE * limits.expected_thrust_n
            and pressure_pa <= SHARE * limits.expected_pa
        ):
            self.q = self._high_from = self._low_from = None
            if self.word is not Word.BLIND:
                self.word = Word.IDLE
            return self.word
        seen = limits.c_f * limits.throat_m2 * pressure_pa
        self.q = q = thrust_n / seen if seen > 0 else float("inf")
        self._high_from = _since(self._high_from, q > Q_HIGH, tick)
        self._low_from = _since(self._low_from, q < Q_LOW, tick)
        self._judge(tick)
        if self.word is Word.BLIND:
            self._imply(thrust_n)
        return self.word

    def _judge(self, tick: int) -> None:
        if self.word is Word.BLIND:
            return
        if self._high_from is not None and tick - self._high_from >= self._for_ticks:
            self.word = Word.BLIND
        elif self._low_from is not None and tick - self._low_from >= self._for_ticks:
            self.word = Word.LOAD_PATH
        else:
            self.word = Word.OK

    def _imply(self, thrust_n: float) -> None:
        implied = self.pressure_of(thrust_n)
        self.max_p_f_pa = max(self.max_p_f_pa, implied)
        if self._vote.push(implied >= self.limits.trip_pa):
            self.over_trip = True


def _since(start: int | None, holds: bool, tick: int) -> int | None:
    if not holds:
        return None
    return tick if start is None else start
