"""Rows of an elevation: a run is divided at posts into rows that fit a sheet, so that no bay is cut."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fencing.drawing.drawing_context import trace_ground
from fencing.model.fence import Bay, BuiltRun, HungGate, Pair, Post
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff


class TooWide(ValueError):
    """Raised when one bay or opening is wider or higher than the sheet at this scale."""


@dataclass(frozen=True, slots=True)
class ElevationRow:
    """The part of a run from its post ``first`` to its post ``last``; ``ground`` is its earth line."""

    run: BuiltRun
    first: int
    last: int
    bays: tuple[Bay, ...]
    gates: tuple[HungGate, ...]
    ground: tuple[Pair, ...]
    typical: int

    @property
    def posts(self) -> tuple[Post, ...]:
        return self.run.posts[self.first : self.last + 1]

    @property
    def starts(self) -> bool:
        return self.first == 0

    @property
    def ends(self) -> bool:
        return self.last == len(self.run.posts) - 1

    @property
    def whole(self) -> bool:
        """True if the row shows all of its run."""
        return self.starts and self.ends

    @property
    def start(self) -> int:
        return self.run.posts[self.first].at

    @property
    def end(self) -> int:
        return self.run.posts[self.last].at

    def find_levels(self) -> Pair:
        """Return the (lowest, highest) drawn level: from the bottoms of the holes to the top of the fence."""
        posts = self.posts
        highest = [member.top for post in posts for member in post.uprights] + [gate.top for gate in self.gates]
        highest += [level for _, level in self.ground]
        lowest = [post.ground - post.hole_depth for post in posts]
        lowest += [member.top - member.length for post in posts for member in post.uprights]
        return min(*lowest, *(level for _, level in self.ground)), max(highest)


def find_typical_width(bays: Sequence[Bay]) -> int:
    """Return the most frequent bay width [mm], of equals the widest; 0 without bays.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> find_typical_width(take_off(TWO_BAYS, ROUND_SIZES).runs[0].bays)
    2400
    """
    counted = Counter(bay.width for bay in bays)
    return max(counted, key=lambda width: (counted[width], width), default=0)


def divide_into_rows(takeoff: TakeOff, run: BuiltRun, longest: float, highest: float) -> list[ElevationRow]:
    """Return the fewest rows of at most ``longest`` mm of run and ``highest`` mm from the lowest to the highest point.

    Raises:
        TooWide: one bay or opening alone is more than that.
    """
    limits = _find_limits(run, takeoff.system)
    breaks = _find_breaks(run, limits, longest, highest)
    total, share = run.posts[-1].at - run.posts[0].at, 1.0
    while len(breaks) > 1 and share < 1.3:  # equal rows: avoid a single bay on the last row
        try:
            evened = _find_breaks(run, limits, min(longest, total / len(breaks) * share), highest)
        except TooWide:
            evened = []
        if len(evened) == len(breaks):
            breaks = evened
            break
        share += 0.02
    ground = trace_ground(takeoff, run)
    typical = find_typical_width(run.bays)
    ends = [*breaks[1:], len(run.posts) - 1]
    return [_build_row(run, first, last, ground, typical) for first, last in zip(breaks, ends, strict=True)]


def _find_breaks(run: BuiltRun, limits: Sequence[Pair], longest: float, highest: float) -> list[int]:
    """Return the indices of the posts where rows start, each row as long as allowed."""
    breaks = [0]
    low, high = limits[0]
    for number in range(1, len(run.posts)):
        low, high = min(low, limits[number][0]), max(high, limits[number][1])
        if run.posts[number].at - run.posts[breaks[-1]].at <= longest and high - low <= highest:
            continue
        breaks.append(number - 1)
        low = min(limits[number - 1][0], limits[number][0])
        high = max(limits[number - 1][1], limits[number][1])
        if run.posts[number].at - run.posts[breaks[-1]].at > longest or high - low > highest:
            raise TooWide(run.id)
    return breaks


def _find_limits(run: BuiltRun, system: System) -> list[Pair]:
    """Return the (lowest, highest) level at every post, including the openings beside it."""
    tops = {post: gate.top for gate in run.gates for post in gate.posts}
    return [
        (
            min(post.ground - post.hole_depth, *(member.top - member.length for member in post.uprights)),
            max(tops.get(post.id, post.ground), post.ground, *(member.top for member in post.uprights)),
        )
        for post in run.posts
    ]


def _build_row(run: BuiltRun, first: int, last: int, ground: Sequence[Pair], typical: int) -> ElevationRow:
    start, end = run.posts[first].at, run.posts[last].at
    bays = run.bays[
        bisect_left(run.bays, start, key=lambda bay: bay.start) : bisect_right(run.bays, end, key=lambda bay: bay.end)
    ]
    gates = tuple(gate for gate in run.gates if start <= gate.start and gate.start + gate.opening <= end)
    low = bisect_left(ground, start, key=lambda corner: corner[0])
    high = bisect_right(ground, end, key=lambda corner: corner[0])
    return ElevationRow(run, first, last, bays, gates, tuple(ground[low:high]), typical)
