"""Where the charts get their samples from: one small protocol, no Qt.

A chart asks for a window in seconds and a number of columns and draws what comes: lowest and highest
per column, gaps as NaN, nothing smoothed. Two kinds: `JournalSource` (what is recorded, see
`recorded.py`) and `SketchSource` (an invented burn, for pictures and tests).
"""

from dataclasses import dataclass, field
from typing import Literal, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Name = Literal["pressure", "thrust"]
Floats = NDArray[np.float64]


class Trace(NamedTuple):
    """Columns of a window: middle of each in seconds, lowest and highest value in SI."""

    at_s: Floats
    low: Floats
    high: Floats
    gaps: tuple[tuple[float, float], ...] = ()


class Flag(NamedTuple):
    """A word at a time after T-0 (GO, lit, line off, trip, burn-out)."""

    at_s: float
    word: str


class Outlook(NamedTuple):
    """The expected band: seconds after first pressure, lowest and highest value in SI."""

    at_s: Floats
    low: Floats
    high: Floats


EMPTY = Trace(np.empty(0), np.empty(0), np.empty(0))


class Source(Protocol):
    """What a chart needs; every call returns at once."""

    def poll(self) -> None:
        """Take in whatever is new."""

    def strip(self, name: Name, seconds: float, columns: int) -> Trace:
        """The last `seconds`; times run up to 0 = the newest sample."""

    def burn(self, name: Name, begin_s: float, end_s: float, columns: int) -> Trace:
        """A window around T-0; empty while there is no T-0."""

    def flags(self) -> tuple[Flag, ...]:
        """What happened, by seconds after T-0."""

    def outlook(self, name: Name) -> Outlook | None:
        """The expected band of this run, if one is recorded; the same object until it changes."""

    def adopt(self, session: int) -> None:
        """The wire session of now, for a follower that began after the board said who it is."""

    def close(self) -> None:
        """Let go of what it reads."""


class NoSource:
    """No record to follow: charts show their frames and no trace."""

    def poll(self) -> None:
        return None

    def strip(self, name: Name, seconds: float, columns: int) -> Trace:
        _ = name, seconds, columns
        return EMPTY

    def burn(self, name: Name, begin_s: float, end_s: float, columns: int) -> Trace:
        _ = name, begin_s, end_s, columns
        return EMPTY

    def flags(self) -> tuple[Flag, ...]:
        return ()

    def outlook(self, name: Name) -> Outlook | None:
        _ = name
        return None

    def adopt(self, session: int) -> None:
        _ = session

    def close(self) -> None:
        return None


def sketched(at_s: Floats, burn_s: float, lit_s: float = 0.14) -> Floats:
    """An invented, slightly progressive burn of unit peak: rise, slope, tail-off."""
    t = at_s - lit_s
    rise = 1 - np.exp(-np.clip(t, 0, None) / 0.06)
    slope = 0.72 + 0.28 * np.clip(t / burn_s, 0, 1)
    tail = np.exp(-np.clip(t - burn_s, 0, None) / 0.12)
    return np.asarray(np.where(t < 0, 0.0, rise * slope * tail), dtype=np.float64)


@dataclass(slots=True, kw_only=True)
class SketchSource:
    """An invented burn up to `burnt_s` after T-0 (None: nothing yet; negative: not lit)."""

    peak: dict[str, float] = field(default_factory=lambda: {"pressure": 3.9e6, "thrust": 2400.0})
    burn_s: float = 3.1
    burnt_s: float | None = None
    scale: float = 1.0
    is_lit: bool = True
    marks: tuple[Flag, ...] = ()
    _bands: dict[str, Outlook] = field(default_factory=dict)

    def poll(self) -> None:
        return None

    def strip(self, name: Name, seconds: float, columns: int) -> Trace:
        at = np.linspace(-seconds, 0, columns)
        return self._noisy(at, np.zeros(columns), name)

    def burn(self, name: Name, begin_s: float, end_s: float, columns: int) -> Trace:
        if self.burnt_s is None:
            return EMPTY
        at = np.linspace(begin_s, end_s, columns)
        at = at[at <= self.burnt_s]
        lit = self.is_lit
        value = sketched(at, self.burn_s) * self.peak[name] * self.scale if lit else 0 * at
        return self._noisy(at, value, name)

    def _noisy(self, at: Floats, value: Floats, name: Name) -> Trace:
        noise = np.random.default_rng(7).normal(0, 0.004 * self.peak[name], len(at))
        return Trace(at, value - np.abs(noise), value + np.abs(noise))

    def flags(self) -> tuple[Flag, ...]:
        return tuple(
            mark for mark in self.marks if self.burnt_s is None or mark.at_s <= self.burnt_s
        )

    def outlook(self, name: Name) -> Outlook | None:
        if name not in self._bands:
            self._bands[name] = self._band(name)
        return self._bands[name]

    def adopt(self, session: int) -> None:
        _ = session

    def close(self) -> None:
        return None

    def _band(self, name: Name) -> Outlook:
        at = np.linspace(0, self.burn_s * 1.4, 200)
        shape = sketched(at, self.burn_s, 0.0) * self.peak[name]
        low = sketched(at, self.burn_s * 0.97, 0.03) * self.peak[name]
        return Outlook(at + 0.05, low * 0.88, np.maximum(shape, low) * 1.08)
