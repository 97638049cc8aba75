"""Serial numbers with a check character, so that a slip of the pen names no other part.

ISO 7064 MOD 37,36 over digits and capital letters; hyphens do not count. A part's plate reads
`CA-07-Y`: stem and check character. The character finds every single wrong character and nearly all
exchanged neighbours.
"""

from typing import Final

LETTERS: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_M: Final = len(LETTERS)


def check_character(stem: str) -> str:
    """The character that belongs to a stem; ValueError with a sentence for a stem that is none."""
    product = _M
    marks = [mark for mark in stem.upper() if mark != "-"]
    if not marks:
        raise ValueError(f"serial {stem!r}: expected letters, digits and hyphens, got nothing")
    for mark in marks:
        if mark not in LETTERS:
            raise ValueError(f"serial {stem!r}: expected letters, digits and hyphens, got {mark!r}")
        total = (product + LETTERS.index(mark)) % _M or _M
        product = total * 2 % (_M + 1)
    return LETTERS[(_M + 1 - product) % _M]


def with_check(stem: str) -> str:
    """Stem with its check character, as it stands on the part."""
    return f"{stem.upper()}-{check_character(stem)}"


def stem_of(serial: str) -> str:
    """The stem of a full serial; ValueError says that the character does not belong to it."""
    stem, gap, mark = serial.upper().rpartition("-")
    if not gap or len(mark) != 1 or check_character(stem) != mark:
        raise ValueError(
            f"serial {serial!r}: expected a stem, a hyphen and its check character, for example "
            f"{with_check('CA-07')}; the check character does not belong to it"
        )
    return stem
