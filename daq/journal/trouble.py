"""What went wrong with the disk, how fresh it is, and when to try again; pure, time is an argument."""

from typing import Final

TRUST_AGAIN_S: Final = 60.0
RETRY_S: Final = 10.0
RETRY_MOST_S: Final = 300.0

_NS: Final = 1_000_000_000


class Trouble:
    """A first failure asks for a new segment at once. One that comes before the disk has been good
    for a minute means `ram_only`, and the next try waits, longer each time.
    """

    def __init__(self, retry_s: float = RETRY_S) -> None:
        self.sentences: list[str] = []
        self.untold: list[str] = []
        self.ram_only = False
        self._retry_s = self._wait_s = retry_s
        self._retry_ns = 0
        self._failed_ns: int | None = None

    @property
    def is_fresh(self) -> bool:
        return self._failed_ns is not None

    def failed(self, sentence: str, now_ns: int) -> None:
        self.sentences.append(sentence)
        self.untold.append(sentence)
        self._retry_ns = now_ns
        if self._failed_ns is not None:
            self.ram_only = True
            self._retry_ns += int(self._wait_s * _NS)
            self._wait_s = min(2 * self._wait_s, RETRY_MOST_S)
        self._failed_ns = now_ns

    def may_retry(self, now_ns: int) -> bool:
        return now_ns >= self._retry_ns

    def stands_again(self, now_ns: int) -> None:
        """A new segment is open: the minute of trust begins anew."""
        if self._failed_ns is not None:
            self._failed_ns = now_ns

    def told(self) -> None:
        """The new segment is synced, and its LOSS tells everything."""
        self.untold.clear()
        self.ram_only = False

    def good_sync(self, now_ns: int) -> None:
        if self._failed_ns is not None and now_ns - self._failed_ns > TRUST_AGAIN_S * _NS:
            self._failed_ns = None
            self._wait_s = self._retry_s
