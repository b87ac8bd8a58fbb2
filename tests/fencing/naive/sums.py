"""The few sums the naive counter needs: rounding, the ground, a slope, sheets side by side, a row of screws."""

from __future__ import annotations

import math
from fractions import Fraction

Points = list[tuple[int, int]]


def half_up(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


def ground_at(points: Points, x: int) -> Fraction:
    """Straight between stations, level before the first and after the last."""
    if x <= points[0][0]:
        return Fraction(points[0][1])
    if x >= points[-1][0]:
        return Fraction(points[-1][1])
    for i in range(len(points) - 1):
        here, level = points[i]
        there, next_level = points[i + 1]
        if here <= x <= there:
            return level + Fraction((next_level - level) * (x - here), there - here)
    raise AssertionError("stations are not in order")


def between(points: Points, left: int, right: int) -> Points:
    """Stations strictly between two chainages."""
    return [(x, level) for x, level in points if left < x < right]


def highest(points: Points, left: int, right: int) -> int:
    """The highest of both ends, half-up, and of the stations between them."""
    levels = [half_up(ground_at(points, left)), half_up(ground_at(points, right))]
    for _, level in between(points, left, right):
        levels.append(level)
    return max(levels)


def lowest(points: Points, left: int, right: int) -> int:
    upside_down = [(x, -level) for x, level in points]
    return -highest(upside_down, left, right)


def on_slope(horizontal: int, rise: int, width: int) -> int:
    """horizontal / cos, half-up, by trying one millimetre after the other."""
    square = Fraction(horizontal * horizontal * (width * width + rise * rise), width * width)
    length = horizontal
    while Fraction(2 * length + 1, 2) ** 2 <= square:
        length += 1
    return length


def diagonal(width: int, height: int) -> int:
    square = Fraction(width * width + height * height)
    length = max(width, height)
    while Fraction(2 * length + 1, 2) ** 2 <= square:
        length += 1
    return length


def share_out(total: int, parts: int) -> list[int]:
    """Equal parts, the odd millimetres one each to the first."""
    widths = [total // parts] * parts
    for i in range(total % parts):
        widths[i] += 1
    return widths


def sheets_across(width: int, cover: int, lap: int, slack: int) -> list[tuple[int, int]]:
    """(left edge, width) of each sheet, from the left end of the rail."""
    n = 1
    while n * cover + lap < width:
        n += 1
    surplus = n * cover + lap - width
    full = cover + lap
    if n > 1 and surplus <= slack:
        return [(half_up(Fraction((width - full) * i, n - 1)), full) for i in range(n)]
    placed = [(i * cover, full) for i in range(n)]
    placed[-1] = ((n - 1) * cover, full - surplus)
    return placed


def screws_in_a_row(length: int, largest_space: int) -> int:
    spaces = 0
    while spaces * largest_space < length:
        spaces += 1
    return spaces + 1
