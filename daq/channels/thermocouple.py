"""Type K thermocouple by the reference function of ITS-90 (NIST Monograph 175), -270 to 1372 °C.

Temperatures in °C here and nowhere else: the reference function is written so. The cold junction is
added as a voltage, never as a temperature: that mistake costs 0.9 K at 100 °C (check 8.2).
"""

import math
from typing import Final

LOWEST_C: Final = -270.0
HIGHEST_C: Final = 1372.0
_COLD: Final = (
    0.0, 3.9450128025e-2, 2.3622373598e-5, -3.2858906784e-7, -4.9904828777e-9, -6.7509059173e-11,
    -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23,
)  # fmt: skip
_WARM: Final = (
    -1.7600413686e-2, 3.8921204975e-2, 1.8558770032e-5, -9.9457592874e-8, 3.1840945719e-10,
    -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26,
)  # fmt: skip
_BUMP: Final = (0.1185976, -1.183432e-4, 126.9686)


def type_k_mv(celsius: float) -> float:
    """EMF in mV against a reference junction at 0 °C; ValueError outside the range."""
    if not LOWEST_C <= celsius <= HIGHEST_C:
        raise ValueError(f"type K runs from {LOWEST_C:g} to {HIGHEST_C:g} °C, got {celsius:g} °C")
    total = 0.0
    for factor in reversed(_WARM if celsius > 0 else _COLD):
        total = total * celsius + factor
    if celsius > 0:
        size, width, middle = _BUMP
        total += size * math.exp(width * (celsius - middle) ** 2)
    return total


def type_k_celsius(mv: float) -> float:
    """Temperature in °C of an EMF in mV (reference 0 °C), by halving to 1e-9 K."""
    low, high = LOWEST_C, HIGHEST_C
    if not type_k_mv(low) <= mv <= type_k_mv(high):
        raise ValueError(f"no type K junction gives {mv:g} mV: open wire or wrong gain")
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        if type_k_mv(middle) < mv:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def junction_celsius(measured_mv: float, terminals_celsius: float) -> float:
    """Temperature of the junction from the measured EMF and that of the terminals (check 8.2)."""
    return type_k_celsius(measured_mv + type_k_mv(terminals_celsius))


def expected_mv(junction_c: float, terminals_c: float) -> float:
    """EMF at the terminals for a junction temperature."""
    return type_k_mv(junction_c) - type_k_mv(terminals_c)
