"""Everything one firing is run by, worked out before it starts and never changed in it.

A `Plan` is plain numbers: `daq.engine.prepare` builds it from the settings, the rating and the
calibrations; the pure core knows nothing of files. A change of set-up is a new plan, a new
`setup_id` and, by that, void signatures.
"""

from dataclasses import dataclass, field
from typing import Any, Final

from daq.channels.calibration import Calibration
from daq.channels.health import HealthLimits
from daq.procedure.waits import Waits
from firmware_protocol.messages import LimitsStage

REHEARSAL: Final = "REHEARSAL"
REAL_STAND: Final = "REAL STAND"
DRY: Final = "DRY"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelPlan:
    """One channel: where its counts stand in a block and by what it is judged, in raw counts."""

    name: str
    quantity: str
    group: int
    index: int
    calibration: Calibration
    health: HealthLimits
    trip_counts: int | None
    expected_counts: int
    noise_counts: float
    noise_window: tuple[float, float]
    zero_u: float
    zero_si: float
    unit: str

    @property
    def is_pressure(self) -> bool:
        return self.quantity == "pressure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Timers:
    """Seconds; each with its reason in the timer table of design.md."""

    pulse_s: float
    armed_s: float
    lit_within_s: float
    count_s: float = 60.0
    planned_s: float = 600.0
    grip_gate_s: float = 3.0
    grip_late_s: float = 1.5
    beat_lapse_s: float = 0.150
    console_hold_s: float = 0.500
    console_gone_s: float = 5.0
    go_answer_s: float = 0.200
    link_lost_s: float = 0.500
    offer_s: float = 60.0
    range_clear_s: float = 300.0
    range_clear_last_s: float = 120.0
    warning_s: float = 120.0
    selftest_s: float = 600.0
    poll_s: float = 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Redline:
    """What the status and the console say of the limits (Pa, N, s)."""

    trip_pa: float
    allowable_pa: float
    allowable_mode: str
    rated_burst_pa: float
    rated_burst_mode: str
    expected_max_pa: float
    expected_peak_pa: float
    sigma_pa: float
    expected_thrust_n: float
    expected_burn_s: float
    refusals: tuple[str, ...] = ()

    @property
    def near_trip_pa(self) -> float:
        """NEAR TRIP: the larger of 90 % of trip and expected maximum + 4 sigma (console.md)."""
        return max(0.9 * self.trip_pa, self.expected_max_pa + 4 * self.sigma_pa)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One run: names, limits, channels, timers, waits and the body of its CONFIG record."""

    mode: str
    site: str
    run_id: str
    setup_id: int
    casing: str
    nozzle: str
    motor_serial: str
    board_uid: bytes | None
    may_be_real: bytes | None
    channels: tuple[ChannelPlan, ...]
    rates_hz: dict[int, float]
    bench_limits: LimitsStage
    fire_limits: LimitsStage
    redline: Redline
    timers: Timers
    waits: Waits
    run_number: int
    throat_m2: float
    thrust_coefficient: float
    least_thrust_coefficient: float
    storm_wait_s: float
    tare_s: float
    check_load_n: float
    check_load_most_n: float
    needed_disk_min: float
    dry_done: bool
    out_of_date: tuple[str, ...] = ()
    unreconciled: tuple[str, ...] = ()
    barred: tuple[str, ...] = ()
    distance_faults: tuple[str, ...] = ()
    config: dict[str, Any] = field(default_factory=dict)

    @property
    def is_simulated(self) -> bool:
        return self.mode == REHEARSAL

    @property
    def setup_text(self) -> str:
        """Eight digits, read in two groups."""
        return f"{self.setup_id:08d}"

    def named(self, quantity: str) -> list[ChannelPlan]:
        return [channel for channel in self.channels if channel.quantity == quantity]
