"""Numbers as people read them: thin space in thousands, real minus sign, unit after the number.

Pure; the display rules of the window and of the terminal view are the same.
"""

import math
from typing import Final

from daq.units import from_si

THIN: Final = "\u2009"
MINUS: Final = "\u2212"
NONE: Final = "\u2013"  # an en dash where a number is not known


def grouped(value: float, digits: int = 0) -> str:
    """`2672.4` -> `2 672`, `-3` -> `−3`, never `−0`."""
    text = f"{abs(value):,.{digits}f}".replace(",", THIN)
    is_zero = not text.strip("0.,")
    return text if value >= 0 or is_zero else MINUS + text


def megapascal(pa: float | None, digits: int = 2) -> str:
    """Pressure in MPa without its unit; an en dash when not known."""
    return NONE if pa is None else grouped(pa / 1e6, digits)


def psi(pa: float | None) -> str:
    """Pressure in whole psi without its unit."""
    return NONE if pa is None else grouped(from_si(pa, "psi"))


def newton(n: float | None) -> str:
    """Force in whole newtons without its unit."""
    return NONE if n is None else grouped(n)


def pounds(n: float | None) -> str:
    """Force in whole pounds-force without its unit."""
    return NONE if n is None else grouped(from_si(n, "lbf"))


def min_s(seconds: float, *, up: bool) -> str:
    """`1702.3` -> `28:22`; `up` rounds towards more time left, else towards less time gone."""
    whole = max(0, math.ceil(seconds - 1e-6) if up else math.floor(seconds + 1e-6))
    return f"{whole // 60}:{whole % 60:02d}"


def whole_s(seconds: float, *, up: bool) -> str:
    """`6.2` -> `07` counting down, `06` counting up."""
    return f"{max(0, math.ceil(seconds - 1e-6) if up else math.floor(seconds + 1e-6)):02d}"


def tenths(seconds: float) -> str:
    """`2.57` -> `2.5`: a tenth is shown when it has passed."""
    return f"{math.floor(max(0.0, seconds) * 10 + 1e-6) / 10:.1f}"


def age(seconds: float) -> str:
    """`0.62 s`, `12 s`, `4 min`: how old something is."""
    if seconds < 10:
        return f"{seconds:.2f} s"
    return f"{seconds:.0f} s" if seconds < 600 else f"{seconds / 60:.0f} min"


def current(ma: float) -> str:
    """`7 mA`, `2.41 A`."""
    return f"{grouped(ma)} mA" if abs(ma) < 1000 else f"{ma / 1000:.2f} A"


def real_minus(text: str) -> str:
    """`T-3 s` -> `T−3 s`."""
    return text.replace("-", MINUS)


def setup(number: str | None) -> str:
    """Eight digits in two groups; dots while it is masked."""
    if not number:
        return "\u2022\u2022\u2022\u2022 \u2022\u2022\u2022\u2022"
    return f"{number[:4]} {number[4:]}".strip()


def initials(name: str) -> str:
    """`A. Lind` -> `AL`."""
    return "".join(part[0] for part in name.replace(".", " ").split()).upper()
