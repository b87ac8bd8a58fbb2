"""Root finding by bisection, for functions that rise through zero once."""

from __future__ import annotations

from collections.abc import Callable

HALVINGS = 80  # halves any bracket below the spacing of floats


def rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Find where a rising function crosses zero between ``low`` and ``high``.

    Rule: bisection; the answer is the upper end of the last bracket, so ``function`` of it is not below zero.

    Args:
        function: rising, negative or zero at ``low``, positive or zero at ``high``.
        low: lower end of the bracket [the unit of the argument].
        high: upper end of the bracket.

    Returns:
        The crossing, in the unit of the argument.

    Raises:
        ValueError: the function does not change sign between the two.

    Source: bisection, any numerical textbook; compared with scipy in tests/checks.

    Example:
        >>> round(rising_root(lambda x: x * x - 2, 0, 2), 12)
        1.414213562373
    """
    if function(low) > 0 or function(high) < 0:
        raise ValueError("the function does not rise through zero between the two ends")
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return high
