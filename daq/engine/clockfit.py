"""Host time from board ticks: host = a * tick + b, from the lower hull of (tick, arrival) over 60 s.

The lower hull because a frame can come late, never early. Drift is limited to 200 parts per
million; a residual above 100 ms that stays for 2 s starts a new fit, and the caller writes that
down as a break. Analysis uses ticks; this only aligns them with facts.
"""

from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final

WINDOW_S: Final = 60
DRIFT_MOST: Final = 200e-6
BREAK_NS: Final = 100_000_000
BREAK_AFTER_NS: Final = 2_000_000_000


@dataclass(slots=True)
class ClockFit:
    """One fit per boot nonce. `tick_ns` is the nominal length of a tick."""

    tick_ns: float = 1000.0
    bound_ns: int = 0
    breaks: int = 0
    _points: deque[tuple[int, int]] = field(default_factory=deque)
    _late_since: int | None = None
    _line: tuple[float, int, int] | None = None

    def note(self, tick: int, arrival_ns: int) -> bool:
        """Take one (tick, arrival); True if the old fit was given up (a clock break)."""
        broke = self._is_broken(tick, arrival_ns)
        if broke:
            self._points.clear()
            self.breaks += 1
        self._keep(tick, arrival_ns)
        return broke

    def host_ns(self, tick: int) -> int | None:
        """Host time of a tick, None before the first point."""
        if self._line is None:
            return None
        a, tick0, ns0 = self._line
        return ns0 + round(a * (tick - tick0))

    def line(self) -> tuple[float, int, int] | None:
        """(a in ns per tick, tick0, ns0) of the present fit."""
        return self._line

    def shift(self, seconds: float) -> None:
        """A rehearsal step moved both clocks: start afresh, it is no break."""
        del seconds
        self._points.clear()
        self._line, self._late_since = None, None

    def _is_broken(self, tick: int, arrival_ns: int) -> bool:
        expected = self.host_ns(tick)
        if expected is None:
            return False
        if self._points and tick < self._points[0][0]:
            return True
        if abs(arrival_ns - expected) <= BREAK_NS:
            self._late_since = None
            return False
        if self._late_since is None:
            self._late_since = arrival_ns
        if arrival_ns - self._late_since < BREAK_AFTER_NS:
            return False
        self._late_since = None
        return True

    def _keep(self, tick: int, arrival_ns: int) -> None:
        second = int(tick * self.tick_ns // 1_000_000_000)
        lag = arrival_ns - tick * self.tick_ns
        if self._points:
            last_tick, last_ns = self._points[-1]
            if int(last_tick * self.tick_ns // 1_000_000_000) == second:
                if lag >= last_ns - last_tick * self.tick_ns:
                    return
                self._points.pop()
        self._points.append((tick, arrival_ns))
        while len(self._points) > WINDOW_S:
            self._points.popleft()
        self._refit()

    def _refit(self) -> None:
        hull = lower_hull([(t, n - t * self.tick_ns) for t, n in self._points])
        (t1, y1), (t2, y2) = hull[0], hull[-1]
        middle = (self._points[0][0] + self._points[-1][0]) / 2
        for left, right in pairwise(hull):
            if left[0] <= middle <= right[0]:
                (t1, y1), (t2, y2) = left, right
        slope = 0.0 if t1 == t2 else (y2 - y1) / (t2 - t1) / self.tick_ns
        slope = max(-DRIFT_MOST, min(DRIFT_MOST, slope))
        self._line = ((1 + slope) * self.tick_ns, t1, round(y1 + t1 * self.tick_ns))


def lower_hull(points: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """Lower convex hull of points sorted by their first number (monotone chain)."""
    hull: list[tuple[int, float]] = []
    for point in points:
        while len(hull) > 1 and _turns_up(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    return hull


def _turns_up(a: tuple[int, float], b: tuple[int, float], c: tuple[int, float]) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) <= 0
