"""Widths of words in B612, and number formats of drawings.

Advance widths are those of the font files that ship with the project (units of 1/20 em). Bold is as wide as regular.
"""

from __future__ import annotations

from functools import lru_cache
from unicodedata import combining, normalize

CAPITAL = 0.75  # height of a capital, as a share of the size
BELOW = 0.25  # depth below the baseline

_ASCII = (  # from the space to the tilde
    "7 7 8 17 11 18 14 4 9 9 11 12 5 9 6 11 13 13 13 13 13 13 13 13 13 13 6 5 13 10 13 11 "
    "20 13 13 12 13 12 11 13 14 6 9 12 11 18 15 16 12 16 13 11 12 14 13 19 13 12 12 9 11 10 15 11 "
    "11 10.5 12 10 12 11 8 12 12 6 6 11 7 18 12 12 12 12 8 9 8 12 11 15 11 11 10 12.98 4 12 15 "
)
_EM = {chr(32 + place): float(units) / 20 for place, units in enumerate(_ASCII.split())}
_EM |= {
    "\u2212": 0.55,
    "\u00b7": 0.25,
    "\u00d7": 0.8,
    "\u00b0": 0.3,
    "\u2013": 0.55,
    "\u2014": 1.05,
    "\u2026": 0.75,
    "\u00d8": 0.8,
}
_WIDEST = 1.05  # a letter that is not in the table counts as the widest


@lru_cache(maxsize=4096)
def measure_width(words: str, size: float) -> float:
    """Return the width [mm] of ``words`` set in ``size`` mm.

    >>> measure_width("2280", 2.0)
    5.2
    """
    letters = normalize("NFD", words) if not words.isascii() else words
    return round(sum(_EM.get(letter, 0 if combining(letter) else _WIDEST) for letter in letters) * size, 4)


def fit_words(words: str, size: float, room: float) -> str:
    """Return ``words``, or as much of them as fits in ``room`` mm, with an ellipsis.

    >>> fit_words("rear boundary", 2.0, 10)
    'rear bou\u2026'
    """
    if measure_width(words, size) <= room:
        return words
    while words and measure_width(words + "\u2026", size) > room:
        words = words[:-1]
    return words.rstrip() + "\u2026"


def format_level(mm: int) -> str:
    """Format a reduced level in metres with its sign.

    >>> format_level(1860), format_level(-540), format_level(0)
    ('+1.860', '\u22120.540', '0.000')
    """
    sign = "+" if mm > 0 else "\u2212" if mm < 0 else ""
    return f"{sign}{abs(mm) // 1000}.{abs(mm) % 1000:03}"


def format_metres(mm: int) -> str:
    """Format a length or chainage in metres.

    >>> format_metres(18240)
    '18.240'
    """
    return format_level(mm).lstrip("+")
