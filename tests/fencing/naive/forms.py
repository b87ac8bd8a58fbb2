"""The two lines of every bay of one segment."""

from __future__ import annotations

import math
from fractions import Fraction

from fencing.model.measure import Form
from tests.fencing.naive.sums import Points, between, ground_at, half_up, highest

Line = tuple[int, int]


def base_lines(form: Form, points: Points, posts: list[int], gap: int) -> list[Line]:
    """Base at the left and right post of each bay; ``posts`` are the chainages of the segment's posts."""
    if form is Form.LEVEL:
        base = highest(points, posts[0], posts[-1]) + gap
        return [(base, base)] * (len(posts) - 1)
    if form is Form.STEPPED:
        return [(base, base) for base in stepped(points, posts, gap)]
    assert form is Form.RAKED
    return [raked(points, posts[i], posts[i + 1], gap) for i in range(len(posts) - 1)]


def stepped(points: Points, posts: list[int], gap: int) -> list[int]:
    bays = len(posts) - 1
    first, last = half_up(ground_at(points, posts[0])), half_up(ground_at(points, posts[-1]))
    high, fall = max(first, last), abs(first - last)
    bases = [high + gap - half_up(Fraction(fall * i, bays)) for i in range(bays)]
    if last > first:
        bases.reverse()
    over_highest = [highest(points, posts[i], posts[i + 1]) + gap for i in range(bays)]
    for i in range(bays):
        if over_highest[i] - bases[i] > 1:
            return over_highest
    return [max(bases[i], over_highest[i]) for i in range(bays)]


def raked(points: Points, left: int, right: int, gap: int) -> Line:
    at_left, at_right = half_up(ground_at(points, left)), half_up(ground_at(points, right))
    hump = Fraction(0)
    for x, level in between(points, left, right):
        straight = at_left + Fraction((at_right - at_left) * (x - left), right - left)
        hump = max(hump, level - straight)
    return at_left + gap + math.ceil(hump), at_right + gap + math.ceil(hump)


def drop_at(x: int, taper_from: int, taper_to: int, full_drop: int) -> int:
    """Return how much lower the top is at ``x``; the taper runs from ``taper_from`` to the last post at ``taper_to``."""
    along = abs(x - taper_from)
    whole = abs(taper_to - taper_from)
    if (x - taper_from) * (taper_to - taper_from) <= 0:
        return 0
    return half_up(Fraction(full_drop * along, whole))
