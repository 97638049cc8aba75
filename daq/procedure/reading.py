"""What the conditions look at: every fact of one moment, measured or judged by the engine."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelWord:
    """One channel's verdict: `word` is "OK", "STUCK", "RAIL", "OPEN", "GAP" or "NOT PROVEN"."""

    name: str
    is_pressure: bool
    word: str
    text: str = ""

    @property
    def is_good(self) -> bool:
        return self.word == "OK" or (self.word == "NOT PROVEN" and self.is_pressure)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Everything the conditions look at; ages in s (infinite if never), nothing has a good default.

    `left_s` is the time to T-0; `battery_percent` None: no battery; `grip` that the fire control is held now; `thrust_waived_by` the
    conductor's name if the thrust channel was waived in writing; `rating` and `unsigned` hold one
    sentence for each thing in the way. The `*_old_s` are the range's own limits.
    """

    left_s: float = 60.0
    key_in: bool = False
    key_seen_out: bool = False
    stop_in: bool = True
    link_up: bool = False
    board_agrees: bool = False
    board_text: str = "the board has not been heard"
    limits_equal: bool = False
    setup_equal: bool = False
    continuity_ok: bool = False
    continuity_text: str = "not measured"
    switches_open: bool = False
    line_dead: bool = False
    supply_ok: bool = False
    supply_text: str = "not measured"
    selftest_age_s: float = float("inf")
    grip: bool = False
    trip_over: bool = True
    trip_text: str = ""
    pressure_ambient: bool = False
    pressure_text: str = "not measured"
    thrust_zero: bool = False
    thrust_text: str = "not measured"
    channels: tuple[ChannelWord, ...] = ()
    thrust_waived_by: str = ""
    sync_age_s: float = float("inf")
    queue_s: float = float("inf")
    disk_ok: bool = False
    recorder_word: str = "not running"
    screen_age_s: float = float("inf")
    rating: tuple[str, ...] = ("The casing has not been rated: rate it.",)
    unsigned: tuple[str, ...] = ("The checklist is not signed.",)
    calibration_ok: bool = False
    calibration_text: str = ""
    reconciled: bool = False
    latch_closed: bool = False
    range_clear_age_s: float = float("inf")
    range_clear_old_s: float = 120.0
    posts_age_s: float = float("inf")
    posts_old_s: float = 120.0
    warning_age_s: float = float("inf")
    warning_old_s: float = 120.0
    storm_text: str = "the storm watch has not been asked"
    on_mains: bool = False
    battery_percent: float | None = 0.0
    sleep_inhibited: bool = False
    video_ok: bool = True
    ring_ok: bool = False
