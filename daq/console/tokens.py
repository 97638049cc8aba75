"""Colours by name, for a light and a dark theme, and the contrast they must keep.

Grey is normal; red is danger, yellow abnormal or armed, blue "a person must act now", green only the
outline of a range that the range officer has opened. No colour stands alone: each comes with a word,
a fill, a shape and a place. Contrast after WCAG 2.x relative luminance; every text pair >= 7.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True, kw_only=True)
class Theme:
    """One set of colours as `RRGGBB`; `X_ink` is what may be written on X, `_ink2` its caption."""

    name: str
    ground: str
    card: str
    soft: str
    ink: str
    ink2: str
    inv: str
    inv_ink: str
    inv_ink2: str
    red: str
    red_ink: str
    yellow: str
    yellow_ink: str
    blue: str
    blue_ink: str
    green: str
    line: str
    hatch: str
    band: str
    grid: str

    def colour(self, token: str) -> str:
        """`#RRGGBB` of a token by its name; AttributeError names a token nobody defined."""
        return f"#{getattr(self, token)}"


LIGHT: Final = Theme(
    name="light",
    ground="D9DDE1",
    card="F7F8F9",
    soft="E6E9EC",
    ink="12161A",
    ink2="3A424A",
    inv="1B2127",
    inv_ink="FFFFFF",
    inv_ink2="D5DADF",
    red="A60D1B",
    red_ink="FFFFFF",
    yellow="FFD21F",
    yellow_ink="12161A",
    blue="0A47A3",
    blue_ink="FFFFFF",
    green="0B5F34",
    line="848D96",
    hatch="7D8791",
    band="C9CFD5",
    grid="D2D7DC",
)
DARK: Final = Theme(
    name="dark",
    ground="0B0D0F",
    card="171B1F",
    soft="242A30",
    ink="E9ECEF",
    ink2="B4BCC4",
    inv="B9C1C9",
    inv_ink="0B0E11",
    inv_ink2="1F262C",
    red="AC101B",
    red_ink="FFFFFF",
    yellow="F2C230",
    yellow_ink="12161A",
    blue="8DBBFF",
    blue_ink="06132A",
    green="7FD6A4",
    line="646D76",
    hatch="6A747E",
    band="2E363E",
    grid="2A3037",
)
THEMES: Final = {theme.name: theme for theme in (LIGHT, DARK)}

TEXT_PAIRS: Final = (
    ("ink", "card"),
    ("ink", "ground"),
    ("ink", "soft"),
    ("ink", "band"),
    ("ink2", "card"),
    ("ink2", "ground"),
    ("ink2", "soft"),
    ("inv_ink", "inv"),
    ("inv_ink2", "inv"),
    ("red_ink", "red"),
    ("yellow_ink", "yellow"),
    ("blue_ink", "blue"),
)
"""Every (text, ground) pair that a cell may use; the contrast test walks them."""

INK_ON: Final = {
    "card": ("ink", "ink2"),
    "ground": ("ink", "ink2"),
    "soft": ("ink", "ink2"),
    "inv": ("inv_ink", "inv_ink2"),
    "red": ("red_ink", "red_ink"),
    "yellow": ("yellow_ink", "yellow_ink"),
    "blue": ("blue_ink", "blue_ink"),
}
"""Fill -> (its ink, its caption ink)."""


def luminance(colour: str) -> float:
    """WCAG relative luminance, 0 to 1, of `RRGGBB`."""
    parts = (int(colour[at : at + 2], 16) / 255 for at in (0, 2, 4))
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """WCAG contrast ratio, 1 to 21, of two `RRGGBB`."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
