"""Exact rounding of fractions of a millimetre. The engine uses only these functions for rounding.

Numerators and denominators are integers, so that float errors can't change a millimetre. Source: house rule (docs/rules.md).
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from math import isqrt


def round_half_up(numerator: int, denominator: int) -> int:
    """Round ``numerator / denominator`` [any unit] to the nearest integer, halves towards plus infinity. Source: house rule.

    >>> round_half_up(5, 2), round_half_up(-5, 2), round_half_up(7, 3)
    (3, -2, 2)
    """
    return (2 * numerator + denominator) // (2 * denominator)


def round_up(numerator: int, denominator: int) -> int:
    """Round ``numerator / denominator`` [any unit] up, for lengths that must not be short. Source: house rule.

    >>> round_up(7, 3), round_up(6, 3), round_up(-7, 3)
    (3, 2, -2)
    """
    return -(-numerator // denominator)


def count_decimals(amounts: Iterable[Decimal]) -> int:
    """Return the number of decimals that show every amount exactly. Source: arithmetic.

    >>> count_decimals([Decimal("1.50"), Decimal("0.125"), Decimal(3)]), count_decimals([])
    (3, 0)
    """
    exponents = [amount.as_tuple().exponent for amount in amounts]
    return max([0, *(-exponent for exponent in exponents if isinstance(exponent, int))])


def measure_along_slope(horizontal: int, rise: int, width: int) -> int:
    """Return the length of a piece that covers ``horizontal`` in plan on a line rising ``rise`` over ``width`` [mm, half-up].

    Right triangle: horizontal / cos(angle) = horizontal * sqrt(width^2 + rise^2) / width, in integers.

    >>> measure_along_slope(2400, 300, 2400)  # 2418.677 mm
    2419
    >>> measure_along_slope(2400, 0, 2400)
    2400
    """
    if not rise:
        return horizontal
    twice = isqrt(4 * horizontal * horizontal * (width * width + rise * rise) // (width * width))
    return (twice + 1) // 2
