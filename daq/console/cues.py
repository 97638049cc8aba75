"""Which sound, when: pure. Views in, cues out; the waves are plain samples.

Sound is the second channel for eyes that belong on the stand (practice 3.28). Every cue but abort,
trip, stale and misfire may be off. An alarm's sound stops after 30 s, from COUNTDOWN to burn-out
after 3 s, and comes back every 30 s until the alarm is answered.
"""

from typing import Final, NamedTuple

import numpy as np

from daq.console.moment import QUIET
from daq.console.view import View

RATE_HZ: Final = 22_050
SECOND_NS: Final = 1_000_000_000
AGAIN_NS: Final = 30 * SECOND_NS
LONG_NS: Final = 30 * SECOND_NS
SHORT_NS: Final = 3 * SECOND_NS
SWEEP_S: Final = 1.0


class Tone(NamedTuple):
    """Start and end frequency in Hz (0: silence) over a length in seconds."""

    begin_hz: float
    end_hz: float
    length_s: float


CUES: Final[dict[str, tuple[Tone, ...]]] = {
    "second": (Tone(800, 800, 0.06),),
    "last seconds": (Tone(1000, 1000, 0.12),),
    "lit": (Tone(600, 1200, 0.4),),
    "burn-out": (Tone(1200, 600, 0.4),),
    "hold": (Tone(700, 700, 0.25), Tone(0, 0, 0.12), Tone(700, 700, 0.25)),
    "near trip": (Tone(1500, 1500, 0.1), Tone(0, 0, 0.08)) * 3,
    "alarm": (Tone(500, 500, 0.25), Tone(1000, 1000, 0.25)) * 2,
    "misfire": (Tone(400, 400, 0.8), Tone(0, 0, 0.3)) * 3,
    "wait over": (Tone(500, 500, 0.3), Tone(650, 650, 0.3), Tone(800, 800, 0.4)),
}
NEVER_OFF: Final = frozenset({"alarm", "misfire"})


def samples(cue: str) -> bytes:
    """16-bit mono samples of a cue at RATE_HZ, with soft edges."""
    parts = [_tone(tone) for tone in CUES[cue]]
    wave = np.concatenate(parts)
    return bytes((np.clip(wave, -1, 1) * 0.7 * 32767).astype("<i2").tobytes())


def _tone(tone: Tone) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
    count = int(tone.length_s * RATE_HZ)
    frequency = np.linspace(tone.begin_hz, tone.end_hz, count)
    wave = np.sin(2 * np.pi * np.cumsum(frequency) / RATE_HZ)
    edge = np.minimum(np.arange(count), np.arange(count)[::-1]) / (0.005 * RATE_HZ)
    return np.asarray(wave * np.minimum(1.0, edge), dtype=np.float64)


class Cues:
    """Follows the views; `of` gives the cues that start now."""

    def __init__(self) -> None:
        self._phase = ""
        self._digits = ""
        self._near = False
        self._alarm_ns: int | None = None
        self._alarm_what = ""
        self._sweep_ns = 0

    def of(self, view: View, now_ns: int) -> list[str]:
        """Cues of this view, the most serious first."""
        found = self._alarm(view, now_ns)
        if view.stale or view.n < 0:
            return found
        found += self._phase_cue(view)
        near = view.charts.near
        if near and not self._near:
            found.append("near trip")
        self._near = near
        return found + self._count(view)

    def _alarm(self, view: View, now_ns: int) -> list[str]:
        """The two-tone of an unanswered URGENT, as long and as often as the phase allows."""
        line = view.alarm
        if line.rank != "URGENT" or not line.flash or (view.stale and view.n < 0):
            self._alarm_ns, self._alarm_what = None, ""
            return []
        what = "stale" if view.stale else line.what
        if self._alarm_ns is None or what != self._alarm_what:
            self._alarm_ns, self._alarm_what, self._sweep_ns = now_ns, what, 0
        since = now_ns - self._alarm_ns
        is_short = view.stale or view.phase_name in QUIET
        sounding = since % AGAIN_NS < SHORT_NS if is_short else since < LONG_NS
        if not is_short and since >= LONG_NS:
            sounding = (since - LONG_NS) % AGAIN_NS < SHORT_NS
        if not sounding or now_ns - self._sweep_ns < SWEEP_S * SECOND_NS:
            return []
        self._sweep_ns = now_ns
        return ["alarm"]

    def _phase_cue(self, view: View) -> list[str]:
        before, self._phase = self._phase, view.phase_name
        if before in {"", self._phase}:
            return []
        words = {"HOLD": "hold", "MISFIRE": "misfire", "BURNING": "lit"}
        if self._phase in words:
            return [words[self._phase]]
        if before == "BURNING" and self._phase == "WAIT":
            return ["burn-out"]
        return ["wait over"] if self._phase == "INSPECT" else []

    def _count(self, view: View) -> list[str]:
        before, self._digits = self._digits, view.clock.digits
        if view.phase_name != "COUNTDOWN" or view.clock.hollow or self._digits == before:
            return []
        if not self._digits.isdigit():
            return []
        left = int(self._digits)
        return ["last seconds"] if 1 <= left <= 3 else ["second"] if 4 <= left <= 10 else []
