"""Key and stop button, debounced to the safe side: out is fast, in is slow."""

from dataclasses import dataclass


@dataclass(slots=True)
class Debounced:
    """A contact whose True is the permitting level: True after `on_ticks`, False after `off_ticks`."""

    level: bool
    on_ticks: int
    off_ticks: int
    since: int | None = None  # the raw level has differed from `level` since this tick

    def read(self, raw: bool, tick: int) -> bool:
        """Take one raw reading; True when the debounced level has just changed."""
        if raw == self.level:
            self.since = None
            return False
        if self.since is None:
            self.since = tick
        if tick - self.since < (self.on_ticks if raw else self.off_ticks):
            return False
        self.level = raw
        self.since = None
        return True


@dataclass(slots=True)
class Persistent:
    """A condition that counts only when it has held for `hold_ticks` without a break."""

    hold_ticks: int
    since: int | None = None

    def holds(self, now: bool, tick: int) -> bool:
        if not now:
            self.since = None
            return False
        if self.since is None:
            self.since = tick
        return tick - self.since >= self.hold_ticks
