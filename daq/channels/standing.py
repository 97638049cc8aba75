"""Checks made while nothing burns, and on pairs of channels; each answers with a sentence or None.

Limits are the design's table (believable). Values are SI unless the name says counts; `u` is the
expanded uncertainty (k = 2) of the channel at that value. A refusal is never answered by taking a
new zero more than once.
"""

from typing import Final

from daq.channels.health import SPIKES_PER_S_MAX, Window

NOISE_LOW: Final = 0.3
NOISE_HIGH: Final = 3.0
SHUNT_TOLERANCE: Final = 0.02
FOULED_SAMPLES: Final = 100


def noise_fault(channel: str, window: Window, sigma_counts: float) -> str | None:
    """Noise within 0.3 to 3 times that at calibration."""
    if window.samples < FOULED_SAMPLES:
        return f"{channel}: only {window.samples} samples for the noise check, {FOULED_SAMPLES} needed; wait."
    low, high = NOISE_LOW * sigma_counts, NOISE_HIGH * sigma_counts
    if low <= window.sigma <= high:
        return None
    side = "quieter" if window.sigma < low else "noisier"
    return (
        f"{channel} is {side} than at its calibration: {window.sigma:.2g} counts, believed between "
        f"{low:.2g} and {high:.2g}; check the cable, shield and supply."
    )


def spike_fault(channel: str, spikes: int, seconds: float) -> str | None:
    """At most 20 impossible steps a second; they are counted, never removed."""
    rate = spikes / seconds if seconds > 0 else 0.0
    if rate <= SPIKES_PER_S_MAX:
        return None
    return f"{channel} jumps {rate:.0f} times a second (limit {SPIKES_PER_S_MAX:.0f}); find the disturbance."


def ambient_fault(channel: str, value: float, u: float, ambient: float) -> str | None:
    """Gauge at 0, absolute at the barometer, within U; `ambient` is what the channel should say."""
    if abs(value - ambient) <= u:
        return None
    return (
        f"{channel} reads {value:.5g} where {ambient:.5g} ± {u:.3g} is ambient: pressure or sensor? "
        "Stay back as if pressurised; this is not zeroed away."
    )


def drift_fault(channel: str, first: float, now: float, u: float) -> str | None:
    """Standby drift within U in ten minutes; re-tare once, then it is refused."""
    if abs(now - first) < u:
        return None
    return f"{channel} has drifted by {now - first:.3g} in ten minutes (limit {u:.3g}); take a new zero once, then find out why."


def shunt_fault(channel: str, step: float, certificate: float) -> str | None:
    """Shunt or excitation step within 2 % of the one stored at calibration (a wiring check only)."""
    if abs(step - certificate) <= SHUNT_TOLERANCE * abs(certificate):
        return None
    return f"{channel}: the shunt step is {step:.5g}, stored at calibration {certificate:.5g} ± 2 %; check the wiring."


def pair_fault(pa1: float, u1: float, pa2: float, u2: float, *, burning: bool) -> str | None:
    """Two pressure channels apart by at most sqrt(U1² + U2²), in a burn twice that."""
    limit = (u1 * u1 + u2 * u2) ** 0.5 * (2.0 if burning else 1.0)
    apart = abs(pa1 - pa2)
    if apart <= limit:
        return None
    ruling = " The higher one rules." if burning else " Find out which is right before going on."
    return f"The pressure channels are {apart:.4g} Pa apart, {limit:.4g} Pa allowed.{ruling}"


def zero_shift_fault(channel: str, before: float, after: float, u: float) -> str | None:
    """Zero after the burn against before: more than U voids the calibration."""
    if abs(after - before) <= u:
        return None
    return f"{channel}: the zero moved by {after - before:.3g} over the burn (limit {u:.3g}); the run is flagged and the calibration is void."
