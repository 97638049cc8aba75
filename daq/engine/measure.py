"""Standing measurements that a checklist line sets off: zero and noise over 60 s, a check load.

The zero measurement judges each channel by the mean and noise of what was received since it
began. The check load is the steady reading that came after the line was entered and left zero.
"""

from dataclasses import dataclass, field
from typing import Final

from daq.engine.live import LiveChannels

ZERO_S: Final = 60.0
STEADY_S: Final = 0.5
TARE_S: Final = 2.0
NEVER: Final = -(1 << 62)


@dataclass(slots=True)
class ZeroTest:
    """Zero and noise of all channels, over 60 s of engine time."""

    since_ns: int = NEVER
    faults: list[str] = field(default_factory=list)
    judged: bool = False

    def begin(self, live: LiveChannels, now_ns: int) -> None:
        self.since_ns, self.judged, self.faults = now_ns, False, []
        for channel in live.channels.values():
            channel.health.take_window()

    def left_s(self, now_ns: int) -> float:
        if self.since_ns == NEVER:
            return ZERO_S
        return max(0.0, ZERO_S - (now_ns - self.since_ns) / 1e9)

    def is_done(self, now_ns: int) -> bool:
        return self.judged and self.left_s(now_ns) <= 0.0

    def tick(self, live: LiveChannels, now_ns: int) -> bool:
        """Judge once when the time is over; True in that moment."""
        if self.judged or self.since_ns == NEVER or self.left_s(now_ns) > 0.0:
            return False
        self.judged = True
        self.faults = [fault for name in live.channels for fault in self._judge(live, name)]
        return True

    def _judge(self, live: LiveChannels, name: str) -> list[str]:
        channel = live.channels[name]
        window = channel.health.take_window()
        if window.samples < 100:
            return [f"{name}: expected samples for zero and noise, got {window.samples}."]
        low, high = channel.plan.noise_window
        faults = []
        if not low <= window.sigma <= high:
            faults.append(
                f"{name}: noise is {window.sigma:.1f} counts, expected {low:.1f} to {high:.1f}."
            )
        off = float(channel.plan.calibration.to_si(window.mean)) - channel.plan.zero_si
        if abs(off) > channel.plan.zero_u:
            faults.append(
                f"{name}: zero is off by {off:.4g} {channel.plan.unit}, "
                f"expected within {channel.plan.zero_u:.4g} {channel.plan.unit}."
            )
        return faults


@dataclass(slots=True)
class LoadTest:
    """A known load on the thrust channel: wait until it is on and steady, then compare."""

    waiting: bool = False
    steady_since_ns: int | None = None
    seen_n: float | None = None

    def begin(self) -> None:
        self.waiting, self.steady_since_ns, self.seen_n = True, None, None

    def tick(self, thrust_n: float | None, least_n: float, now_ns: int) -> bool:
        """Take the newest reading; True in the moment a steady load was found."""
        if not self.waiting or thrust_n is None:
            return False
        if thrust_n < least_n:
            self.steady_since_ns = None
            return False
        if self.steady_since_ns is None:
            self.steady_since_ns = now_ns
        if (now_ns - self.steady_since_ns) / 1e9 < STEADY_S:
            return False
        self.waiting, self.seen_n = False, thrust_n
        return True


@dataclass(slots=True)
class TareTest:
    """The zero with the motor mounted: mean of what comes in the two seconds after Enter."""

    since_ns: int = NEVER

    def begin(self, live: LiveChannels, now_ns: int) -> None:
        self.since_ns = now_ns
        for channel in live.channels.values():
            channel.health.take_window()

    @property
    def is_running(self) -> bool:
        return self.since_ns != NEVER

    def tick(self, now_ns: int) -> bool:
        """True in the moment the two seconds are over."""
        if self.since_ns == NEVER or (now_ns - self.since_ns) / 1e9 < TARE_S:
            return False
        self.since_ns = NEVER
        return True
