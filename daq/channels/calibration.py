"""Counts to SI and back, with the uncertainty that belongs to the numbers.

Raw counts are what is stored; SI is always derived through the calibration stored beside them in
the CONFIG record. A limit that goes to the board is rounded to the safe side.
"""

import math
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any, Final, Literal, Self, overload

import numpy as np
from numpy.typing import NDArray

from daq.channels.budget import Budget, expanded_share
from daq.channels.regression import fit
from daq.channels.signals import counts_at
from daq.channels.uncertainty import COVERAGE, quantisation
from daq.errors import ConfigError
from daq.settings_stand import (
    BudgetPart,
    PressureCalibration,
    PressureChannel,
    Stand,
    ThrustChannel,
)

Towards = Literal["low", "high", "nearest"]
NAMEPLATE_SLACK: Final = 0.10  # common practice, no source: catches kPa for psi and swapped gains


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """value = c0 + c1 counts + c2 counts², rising from counts_lo to counts_hi.

    `u_scale_rel` and `u_zero` are expanded (k = 2). `noise_counts` is the rms at calibration. Where
    the card holds a budget, U at a value follows from its parts and their degrees of freedom.
    """

    channel: str
    unit: Literal["pa", "n"]
    reference: Literal["gauge", "absolute"]
    c0: float
    c1: float
    c2: float = 0.0
    counts_lo: float
    counts_hi: float
    u_scale_rel: float
    u_zero: float
    noise_counts: float
    made: date
    valid_until: date
    sensor_serial: str
    cable_serial: str
    amplifier_serial: str
    source: str
    budget: tuple[BudgetPart, ...] = ()

    def __post_init__(self) -> None:
        ends = (self.counts_lo, self.counts_hi)
        if not all(self.c1 + 2 * self.c2 * counts > 0 for counts in ends):
            raise ConfigError(
                f"calibration of {self.channel}: expected a value that rises with the counts, "
                f"got {self.c1:g} a count"
            )

    @overload
    def to_si(self, counts: float) -> float: ...
    @overload
    def to_si(self, counts: NDArray[Any]) -> NDArray[np.float64]: ...
    def to_si(self, counts: float | NDArray[Any]) -> float | NDArray[np.float64]:
        """Value in Pa or N of one count or of an array of counts."""
        return self.c0 + counts * (self.c1 + self.c2 * counts)

    def counts_of(self, si: float) -> float:
        """Counts, not rounded, at a value; ValueError if no counts on the rising branch give it."""
        if self.c2 == 0:
            return (si - self.c0) / self.c1
        inner = self.c1**2 - 4 * self.c2 * (self.c0 - si)
        if inner < 0:
            raise ValueError(f"{self.channel} never reads {si:g}")
        return 2 * (si - self.c0) / (self.c1 + math.sqrt(inner))

    def to_counts(self, si: float, *, towards: Towards) -> int:
        """Whole counts for a value; "low" never reads more than it, "high" never less."""
        exact = self.counts_of(si)
        if towards == "nearest":
            return round(exact)
        step = 1 if towards == "low" else -1
        counts = math.floor(exact) if towards == "low" else math.ceil(exact)
        while (self.to_si(counts) - si) * step > 0:
            counts -= step
        while (self.to_si(counts + step) - si) * step <= 0:
            counts += step
        return counts

    def step_si(self, counts: float) -> float:
        """What one count is worth at `counts`."""
        return self.c1 + 2 * self.c2 * counts

    @property
    def noise_si(self) -> float:
        """Noise (rms, σ of the redline) in Pa or N, at the middle of the range."""
        return self.noise_counts * self.step_si((self.counts_lo + self.counts_hi) / 2)

    def expanded_u(self, si: float) -> float:
        """Expanded uncertainty (95 %) of a reading: scale, zero, and the converter's step."""
        step = self.step_si((self.counts_lo + self.counts_hi) / 2)
        if self.budget:
            return self.budget_of().expanded_u(si)
        return math.hypot(self.u_scale_rel * si, self.u_zero, COVERAGE * quantisation(step))

    def budget_of(self, lag_s: float = 0.0) -> Budget:
        """The budget by parts: the card's own, or scale and zero as the card states them."""
        given = (
            BudgetPart(name="scale, as stated", u=self.u_scale_rel / COVERAGE, of="value"),
            BudgetPart(name="zero, as stated", u=self.u_zero / COVERAGE, of="zero"),
        )
        return Budget(
            channel=self.channel,
            unit=self.unit.capitalize(),
            parts=self.budget or given,
            step_si=self.step_si((self.counts_lo + self.counts_hi) / 2),
            lag_s=lag_s,
        )

    def zeroed(self, counts: float, at_si: float = 0.0) -> Self:
        """The same calibration after a tare: `counts` now reads `at_si`."""
        return replace(self, c0=self.c0 + at_si - self.to_si(float(counts)))

    def in_date(self, day: date) -> bool:
        return self.made <= day <= self.valid_until

    def to_json(self) -> dict[str, Any]:
        """Plain values for the CONFIG record."""
        body = {name: getattr(self, name) for name in self.__slots__}
        return body | {
            "made": self.made.isoformat(),
            "valid_until": self.valid_until.isoformat(),
            "budget": [asdict(part) for part in self.budget],
        }

    @classmethod
    def from_json(cls, body: dict[str, Any]) -> Self:
        """Rebuild from `to_json`; TypeError or ValueError if the record is damaged."""
        days = {name: date.fromisoformat(body[name]) for name in ("made", "valid_until")}
        parts = tuple(BudgetPart(**part) for part in body.get("budget", ()))
        return cls(**(body | days | {"budget": parts}))


def _curve(channel: PressureChannel | ThrustChannel) -> tuple[tuple[float, ...], float]:
    """Coefficients in SI, and the expanded uncertainty that the fit itself adds."""
    card = channel.calibration
    given = card.given()[1]
    if given:
        return given, 0.0
    if isinstance(channel, PressureChannel):
        pairs = [(point.counts, point.applied_pa) for point in channel.calibration.points]
    else:
        pairs = [(point.counts, point.applied_n) for point in channel.calibration.points]
    try:
        line = fit([counts for counts, _ in pairs], [value for _, value in pairs])
    except ValueError as error:
        raise ConfigError(f"calibration of {channel.name}: {error}") from None
    return line.coefficients, COVERAGE * line.residual_sd


def calibration_of(channel: PressureChannel | ThrustChannel) -> Calibration:
    """The calibration of a channel as the stand's settings give it.

    ConfigError when it falls, or when it is not what the nameplate says within 10 % of range:
    that is a swapped gain, a wrong range or a wrong unit.
    """
    card = channel.calibration
    parts = card.budget
    curve, u_fit = _curve(channel)
    zero = card.u_zero_pa if isinstance(card, PressureCalibration) else card.u_zero_n
    made = Calibration(
        channel=channel.name,
        unit="pa" if channel.quantity == "pressure" else "n",
        reference=channel.reference if isinstance(channel, PressureChannel) else "gauge",
        c0=curve[0],
        c1=curve[1],
        c2=curve[2] if len(curve) > 2 else 0.0,
        counts_lo=card.counts_low,
        counts_hi=card.counts_high,
        u_scale_rel=max(math.hypot(card.u_scale, card.u_bench), expanded_share(parts, "value")),
        u_zero=max(math.hypot(zero, u_fit), expanded_share(parts, "zero")),
        noise_counts=channel.noise_counts,
        made=card.made,
        valid_until=card.valid_until,
        sensor_serial=channel.sensor_serial,
        cable_serial=channel.cable_serial,
        amplifier_serial=channel.amplifier_serial,
        source=f"{card.certificate}, {card.reference}, {card.person}, {card.place}",
        budget=parts,
    )
    _check_nameplate(channel, made)
    return made


def _check_nameplate(channel: PressureChannel | ThrustChannel, made: Calibration) -> None:
    for share in (0.0, 1.0):
        counts = counts_at(share, channel.low_fraction, channel.high_fraction, channel.full_counts)
        reads, says = made.to_si(counts), share * channel.range_si
        if abs(reads - says) > NAMEPLATE_SLACK * channel.range_si:
            raise ConfigError(
                f"calibration of {channel.name}: expected {says:g} {made.unit.capitalize()} "
                f"within 10 % of range at {counts:.0f} counts (nameplate), got {reads:g}: "
                "check unit, range and gain"
            )


def calibrations(stand: Stand) -> dict[str, Calibration]:
    """The calibration of every channel of the stand, by name; ConfigError as `calibration_of`."""
    return {channel.name: calibration_of(channel) for channel in stand.channels}
