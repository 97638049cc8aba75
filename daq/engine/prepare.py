"""From settings to a plan: rating, trip, limits in counts, set-up number, and the CONFIG record.

Pure. Everything that decides whether a motor may be fired is worked out here once, before the key,
and goes into the record with its derivation.
"""

import math
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from typing import Any, Final
from zlib import crc32

from daq.assembly.rating import Rating, rate
from daq.assembly.redline import Redline as Derived
from daq.assembly.redline import indicated_pa, redline_of
from daq.assembly.sheet import rating_json, redline_json
from daq.channels.calibration import Calibration, calibrations
from daq.channels.health import HealthLimits
from daq.channels.lit import LitChannel
from daq.engine.actions import body
from daq.engine.plan import DRY, ChannelPlan, Plan, Redline, Timers
from daq.procedure.waits import Waits
from daq.settings import Settings
from daq.settings_stand import PressureChannel, ThrustChannel
from firmware_protocol.messages import ChannelLimits, LimitsStage, ProcedureKind, Role

NOISE_WINDOW: Final = (0.3, 3.0)  # of the noise at calibration (design, believable)
STEP_SHARE: Final = 0.25  # of full range from sample to sample: an impossible step
PUFF_SHARE: Final = 0.005  # of full range that a puff must show
SPARE_DISK: Final = 2.0  # burn and longest wait, and as much again (practice 2A, B4)


@dataclass(frozen=True, slots=True, kw_only=True)
class RunNames:
    """What is not in the settings: which run this is and where it belongs."""

    mode: str
    site: str
    run_id: str
    run_number: int
    today: date
    dry_done: bool
    may_be_real: bytes | None = None
    unreconciled: tuple[str, ...] = ()
    barred: tuple[str, ...] = ()


def make_plan(settings: Settings, names: RunNames) -> Plan:
    """Work everything out; refusals of the redline stay in the plan and bar arming."""
    gauges = calibrations(settings.stand)
    rating = rate(settings.casing)
    derived = redline_of(settings, rating, gauges)
    channels = tuple(
        _channel(settings, channel, gauges[channel.name], derived)
        for channel in settings.stand.channels
    )
    setup = setup_id(settings, derived)
    motor, circuit = settings.motor, settings.stand.circuit
    plan = Plan(
        mode=names.mode,
        site=names.site,
        run_id=names.run_id,
        run_number=names.run_number,
        setup_id=setup,
        casing=f"{settings.casing.serial}, firing {settings.casing.history.firings_seen + 1}",
        nozzle=f"{motor.nozzle_serial}, {motor.throat_m * 1e3:.2f} mm",
        motor_serial=motor.serial,
        board_uid=bytes.fromhex(settings.stand.board_uid) if settings.stand.board_uid else None,
        may_be_real=names.may_be_real,
        channels=channels,
        rates_hz={group.index: group.rate_hz for group in settings.stand.groups},
        bench_limits=_limits(settings, channels, setup, ProcedureKind.BENCH),
        fire_limits=_limits(
            settings,
            channels,
            setup,
            ProcedureKind.DRY if names.mode == DRY else ProcedureKind.FIRE,
        ),
        redline=_redline(settings, derived),
        timers=Timers(
            pulse_s=circuit.pulse_s,
            armed_s=circuit.armed_s,
            lit_within_s=circuit.lit_within_s,
            range_clear_s=settings.rules.clear.range_clear_s,
            range_clear_last_s=settings.rules.clear.range_clear_last_minute_s,
            warning_s=settings.rules.clear.warning_s,
            selftest_s=settings.rules.clear.self_test_s,
        ),
        waits=waits_of(settings),
        throat_m2=motor.throat_area_m2,
        thrust_coefficient=motor.thrust_coefficient,
        least_thrust_coefficient=motor.least_thrust_coefficient,
        storm_wait_s=settings.rules.weather.storm_wait_s,
        tare_s=settings.rules.clear.tare_s,
        check_load_n=settings.rules.check_load_n,
        check_load_most_n=settings.rules.check_load_max_share
        * max(channel.range_n for channel in settings.stand.thrust),
        needed_disk_min=_needed_disk_min(settings),
        dry_done=names.dry_done,
        out_of_date=tuple(name for name, gauge in gauges.items() if not gauge.in_date(names.today)),
        unreconciled=names.unreconciled,
        barred=names.barred,
        config={},
    )
    plan.config.update(_config(settings, plan, gauges, rating, derived))
    return plan


def waits_of(settings: Settings) -> Waits:
    """The range's four waits."""
    waits = settings.rules.waits
    return Waits(
        normal_wait_s=waits.normal_s,
        misfire_wait_s=waits.misfire_s,
        unproven_wait_s=waits.unproven_s,
        ignition_seen_wait_s=waits.ignition_seen_s,
    )


def setup_id(settings: Settings, derived: Derived) -> int:
    """Eight decimal digits that change with anything the motor is fired by."""
    parts = settings.to_json()
    told = {name: parts[name] for name in ("stand", "casing", "motor")}
    digest = sha256(body({**told, "trip_pa": derived.trip_pa})).digest()
    return int.from_bytes(digest[:8], "little") % 100_000_000


def known_values(settings: Settings) -> dict[str, float | str]:
    """Names that checklist lines may compare typed values with."""
    weather = settings.rules.weather
    return {
        "wind_max_m_s": weather.wind_max_m_s,
        "humidity_min_percent": weather.humidity_min_percent,
        "stray_current_max_a": settings.rules.stray_current_max_a,
        "casing_serial": settings.casing.serial,
        "motor_serial": settings.motor.serial,
        "nozzle_serial": settings.motor.nozzle_serial,
    }


def _needed_disk_min(settings: Settings) -> float:
    waits = settings.rules.waits
    longest_s = max(waits.normal_s, waits.misfire_s, waits.unproven_s, waits.ignition_seen_s)
    return SPARE_DISK * (longest_s + settings.motor.expected_burn_s + 600.0) / 60.0


# ---- channels ------------------------------------------------------------------------------------


def _channel(
    settings: Settings,
    channel: PressureChannel | ThrustChannel,
    gauge: Calibration,
    derived: Derived,
) -> ChannelPlan:
    pressure = isinstance(channel, PressureChannel)
    ambient = settings.rules.site.ambient_pa
    zero_si = indicated_pa(channel, 0.0, ambient) if isinstance(channel, PressureChannel) else 0.0
    zero = gauge.to_counts(zero_si, towards="nearest")
    expected_si = settings.motor.expected_peak_pa if pressure else settings.motor.expected_thrust_n
    span = gauge.counts_hi - gauge.counts_lo
    rate = settings.stand.rate_hz(channel.group)
    trip: int | None = None
    if isinstance(channel, PressureChannel) and channel.role == "trip":
        trip = gauge.to_counts(indicated_pa(channel, derived.trip_pa, ambient), towards="low")
    return ChannelPlan(
        name=channel.name,
        quantity=channel.quantity,
        group=channel.group,
        index=channel.index,
        calibration=gauge,
        health=HealthLimits.of_converter(
            channel=channel.name,
            full_scale=channel.full_counts,
            live_zero=round(gauge.counts_lo) if channel.low_fraction > 0 else None,
            zero=zero,
            stuck_samples=max(2, math.ceil(channel.stuck_s * rate)),
            step_max=max(1, round(STEP_SHARE * span)),
            period_ns=round(1e9 / rate),
            proof_counts=max(1, round(PUFF_SHARE * span), round(10 * channel.noise_counts))
            if pressure
            else 0,
        ),
        trip_counts=trip,
        expected_counts=round(gauge.counts_of(zero_si + expected_si)) - zero,
        noise_counts=channel.noise_counts,
        noise_window=(
            NOISE_WINDOW[0] * channel.noise_counts,
            NOISE_WINDOW[1] * channel.noise_counts,
        ),
        zero_u=gauge.expanded_u(zero_si) if pressure else 0.02 * expected_si,
        zero_si=zero_si,
        unit="Pa" if pressure else "N",
    )


# ---- limits --------------------------------------------------------------------------------------


def _limits(
    settings: Settings, channels: tuple[ChannelPlan, ...], setup: int, kind: ProcedureKind
) -> LimitsStage:
    """The structure the board judges by, in its own channel order."""
    circuit, votes = settings.stand.circuit, settings.stand.votes
    igniter = (_mohm(circuit.igniter_low_ohm), _mohm(circuit.igniter_high_ohm))
    dummy = (_mohm(circuit.dummy_low_ohm), _mohm(circuit.dummy_high_ohm))
    wanted = dummy if kind is ProcedureKind.DRY else igniter
    told = tuple(_channel_limits(channel) for channel in channels)
    return LimitsStage(
        procedure=kind,
        limits_id=crc32(repr((setup, int(kind))).encode()) & 0x7FFFFFFF,
        setup_id=setup,
        pulse_ms=round(circuit.pulse_s * 1000),
        armed_s=round(circuit.armed_s),
        votes_needed=votes.needed,
        votes_of=votes.of,
        continuity_lo_mohm=wanted[0],
        continuity_hi_mohm=wanted[1],
        igniter_lo_mohm=igniter[0],
        igniter_hi_mohm=igniter[1],
        dummy_lo_mohm=dummy[0],
        dummy_hi_mohm=dummy[1],
        supply_lo_mv=round(circuit.supply_min_v * 1000),
        supply_hi_mv=round(circuit.supply_max_v * 1000),
        ring_post_s=round(circuit.ring_post_s),
        channels=told,
    )


def _channel_limits(channel: ChannelPlan) -> ChannelLimits:
    health = channel.health
    lit = LitChannel(
        channel=channel.name,
        zero=health.zero,
        expected=channel.expected_counts,
        sigma=channel.noise_counts,
    )
    role = Role.THRUST
    if channel.is_pressure:
        role = Role.RECORD if channel.trip_counts is None else Role.PRESSURE_TRIP
    return ChannelLimits(
        lo=health.open_below,
        hi=health.rail_above if channel.trip_counts is None else channel.trip_counts,
        role=role,
        lit=health.zero + lit.threshold,
        stuck_samples=min(health.stuck_samples, 0xFFFF),
    )


def _mohm(ohm: float) -> int:
    return min(round(ohm * 1000), 0xFFFE)


# ---- redline and record --------------------------------------------------------------------------


def _redline(settings: Settings, derived: Derived) -> Redline:
    motor = settings.motor
    return Redline(
        trip_pa=derived.trip_pa,
        allowable_pa=derived.allowable_pa,
        allowable_mode=derived.allowable_mode,
        rated_burst_pa=derived.rated_burst_pa,
        rated_burst_mode=derived.rated_burst_mode,
        expected_max_pa=derived.meop_pa,
        expected_peak_pa=derived.expected_peak_pa,
        sigma_pa=derived.sigma_pa,
        expected_thrust_n=motor.expected_thrust_n,
        expected_burn_s=motor.expected_burn_s,
        refusals=derived.refusals,
    )


def _config(
    settings: Settings,
    plan: Plan,
    gauges: dict[str, Calibration],
    rating: Rating,
    derived: Derived,
) -> dict[str, Any]:
    """The CONFIG body, but for the latch fact, which the engine adds each time it writes one."""
    return {
        "run_id": plan.run_id,
        "mode": plan.mode,
        "site": plan.site,
        "setup_id": plan.setup_id,
        "settings": settings.to_json(),
        "calibration": {name: gauge.to_json() for name, gauge in gauges.items()},
        "channels": [
            {
                "name": channel.name,
                "quantity": channel.quantity,
                "group": channel.group,
                "index": channel.index,
                "zero_counts": channel.health.zero,
                "trip_counts": channel.trip_counts,
            }
            for channel in plan.channels
        ],
        "limits": {
            "bytes": plan.fire_limits.pack().hex(),
            "crc": plan.fire_limits.crc,
            "trip_pa": derived.trip_pa,
            "allowable_pa": derived.allowable_pa,
            "allowable_mode": derived.allowable_mode,
            "rated_burst_pa": derived.rated_burst_pa,
            "rated_burst_mode": derived.rated_burst_mode,
            "expected_max_pa": derived.meop_pa,
        },
        "rating": rating_json(rating),
        "redline": redline_json(derived),
        "prediction": {
            "peak_pa": settings.motor.expected_peak_pa,
            "thrust_n": settings.motor.expected_thrust_n,
            "burn_s": settings.motor.expected_burn_s,
            "impulse_n_s": settings.motor.expected_impulse_n_s,
            "curve": [
                {"at_s": p.at_s, "pressure_pa": p.pressure_pa, "thrust_n": p.thrust_n}
                for p in settings.motor.predicted
            ],
        },
    }
