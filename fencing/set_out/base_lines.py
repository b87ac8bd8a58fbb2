"""Base line and top line of a segment: level, stepped or raked, each with or without a taper.

Each form gives two lines over the same posts. The line of one bay is a pair of levels (left, right) [mm above datum] at
its two post centres.

    level      ______      stepped  ____       raked   \\        tapered  ----.__
               /////                   \\____             \\__               ////
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fencing.model.fence import Pair
from fencing.model.measure import Form
from fencing.model.rounding import round_half_up, round_up
from fencing.set_out.ground import Ground


def calculate_base_lines(form: Form, posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    """Return the underside of the bottom rail in every bay of a segment.

    Rule: docs/rules.md, "Form".

    Args:
        form: level, stepped or raked.
        posts: chainages [mm] of the segment's post centres, increasing, at least two.
        ground: the ground under the run.
        gap: minimum ground gap [mm].

    Returns:
        One (left, right) pair of levels for each bay, in order.

    Example:
        >>> fall = Ground((0, 4700), (0, -200))
        >>> calculate_base_lines(Form.STEPPED, [0, 2350, 4700], fall, 50)
        [(50, 50), (-50, -50)]
        >>> calculate_base_lines(Form.RAKED, [0, 2350, 4700], fall, 50)
        [(50, -50), (-50, -150)]
    """
    if form is Form.AUTO:
        raise ValueError("choose a form before calling calculate_base_lines(): auto is not allowed")
    return _BASES[form](posts, ground, gap)


def _find_level_lines(posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    base = ground.highest(posts[0], posts[-1]) + gap
    return [(base, base)] * (len(posts) - 1)


def _find_stepped_lines(posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    bays = len(posts) - 1
    first, last = ground.at(posts[0]), ground.at(posts[-1])
    high, fall = max(first, last), abs(last - first)
    down = [round_half_up(fall * bay, bays) for bay in range(bays)]
    equal = [high + gap - drop for drop in (down if first >= last else reversed(down))]
    least = [ground.highest(left, right) + gap for left, right in pairwise(posts)]
    if all(base >= lowest - 1 for base, lowest in zip(equal, least, strict=True)):
        # a millimetre short is rounding: keep the equal steps and the gap of the bay
        least = list(map(max, equal, least))
    return [(base, base) for base in least]


def _find_raked_lines(posts: Sequence[int], ground: Ground, gap: int) -> list[Pair]:
    return [_find_raked_line(left, right, ground, gap) for left, right in pairwise(posts)]


def _find_raked_line(left: int, right: int, ground: Ground, gap: int) -> Pair:
    start, end = ground.at(left), ground.at(right)
    width = right - left
    hump = max(
        round_up((level - start) * width - (end - start) * (at - left), width)
        for at, level in ground.between(left, right)
    )
    return start + gap + hump, end + gap + hump


_BASES: Mapping[Form, Callable[[Sequence[int], Ground, int], list[Pair]]] = {
    Form.LEVEL: _find_level_lines,
    Form.STEPPED: _find_stepped_lines,
    Form.RAKED: _find_raked_lines,
}


@dataclass(frozen=True, slots=True)
class Drop:
    """Drop of a taper: 0 at chainage ``start`` and before it, ``depth`` [mm] at ``end``, linear between."""

    start: int
    end: int
    depth: int

    def at(self, chainage: int) -> int:
        """Return the drop [mm] at a chainage [mm], half-up. Source: common practice.

        >>> [Drop(4700, 0, 750).at(x) for x in (0, 2350, 4700, 7050)]
        [750, 375, 0, 0]
        """
        away = (chainage - self.start) * (1 if self.end > self.start else -1)
        return round_half_up(self.depth * away, abs(self.end - self.start)) if away > 0 else 0


NO_DROP = Drop(0, 1, 0)


def calculate_top_lines(bases: Sequence[Pair], posts: Sequence[int], height: int, drop: Drop = NO_DROP) -> list[Pair]:
    """Return the top of the top rail in every bay: ``height`` [mm] above its base line, less the taper's drop.

    Example (1500 tapering to 750 over two bays):
        >>> calculate_top_lines([(50, 50), (50, 50)], [0, 2350, 4700], 1500, Drop(0, 4700, 750))
        [(1550, 1175), (1175, 800)]
    """
    spans = pairwise(posts)
    return [
        (left + height - drop.at(start), right + height - drop.at(end))
        for (left, right), (start, end) in zip(bases, spans, strict=True)
    ]
