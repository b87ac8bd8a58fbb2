"""Chains: runs that wind sees as one wall, because they share a post and turn little there.

   A           B            a chain A-B-C: zones are measured from its two ends,
o-----o-----o----__o        not from the ends of each run
                    `-o  C
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fencing.model.fence import BuiltRun
from fencing.model.measure import Run, Terminal
from fencing.quantities.take_off import TakeOff
from fencing.set_out.corners import find_corners
from fencing.strength.wind import Wall, WindMethod, Zone, calculate_mean_pressure_pa

CONTINUOUS_DEG = 30.0
"""Runs that turn no more than this act as one wall. Source: house rule; wind is tabulated for 0, 45 and 90 degrees."""
CORNER_DEG = 60.0
"""Minimum turn of a corner, where the other leg may count as a return. Source: house rule."""
RETURN_MAX_DEG = 135.0
"""Maximum turn of a return: a leg that turns more runs back beside the fence. Source: house rule."""
RETURN_HEIGHT = 0.7
"""Minimum height of a return as a share of the fence's height. Source: house rule."""


@dataclass(frozen=True, slots=True)
class Joint:
    """A post that two runs share: run ``before`` ends there and run ``after`` starts, turned by ``turn_deg`` [0 to 180]."""

    before: int
    after: int
    turn_deg: float


def find_joints(runs: Sequence[Run]) -> list[Joint]:
    """Return the joints of the runs, in order of the run that starts there. Source: plane geometry.

    >>> from fractions import Fraction
    >>> side = Run("A", 3000, 1800, end=Terminal.CORNER)
    >>> find_joints([side, Run("B", 4000, 1800, turn=Fraction(-12), start=Terminal.CORNER)])
    [Joint(before=0, after=1, turn_deg=12.0)]
    """
    joints = []
    for after, before in sorted(find_corners(runs).items()):
        turn = runs[after].turn if after else -sum((run.turn for run in runs[1:]), runs[0].turn * 0)
        whole = float(turn) % 360
        joints.append(Joint(before, after, min(whole, 360 - whole)))
    return joints


@dataclass(frozen=True, slots=True)
class Exposure:
    """A run in its chain: distance of its first post from the chain's first [mm], and the zones from both ends of the chain."""

    offset: int
    span: int
    first: int
    zones: tuple[Sequence[Zone], Sequence[Zone]]

    def calculate_pressure_pa(self, low: float, high: float) -> float:
        """Return the mean net pressure [Pa] between two chainages of the run [mm], the greater of both ends.

        Source: statics.

        >>> from math import inf
        >>> whole = (Zone(inf, 600.0),)
        >>> Exposure(0, 4800, 0, ((Zone(2.4, 1200.0), *whole), whole)).calculate_pressure_pa(0, 4800)
        900.0
        """
        start, end = (self.offset + at - self.first for at in (low, high))
        return max(
            calculate_mean_pressure_pa(self.zones[0], start / 1000, end / 1000),
            calculate_mean_pressure_pa(self.zones[1], (self.span - end) / 1000, (self.span - start) / 1000),
        )


def find_exposures(takeoff: TakeOff, method: WindMethod, continuous_deg: float = CONTINUOUS_DEG) -> dict[int, Exposure]:
    """Return every run with the wind's zones along its chain.

    Rule: joints up to ``continuous_deg`` are within a chain. Its length and its greatest height make the wall; a corner at an end
    brings in the leg beyond as a return, as far as it is solid, at least 0.7 of the height and turned by 60 to 135 degrees.

    Args:
        takeoff: the job [mm].
        method: zones of net pressure [Pa].
        continuous_deg: greatest turn within a chain [degrees].

    Source: house rule; zones as the method has them.

    Example: one run is a chain by itself:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.strength.wind import GivenPressure
        >>> from fencing.quantities.take_off import take_off
        >>> [exposure.span for exposure in find_exposures(take_off(TWO_BAYS, ROUND_SIZES), GivenPressure(600.0)).values()]
        [4800]
    """
    joints = find_joints(takeoff.measure.runs)
    exposed: dict[int, Exposure] = {}
    for chain in _link_runs(len(takeoff.runs), joints, continuous_deg):
        exposed |= _expose_chain(chain, joints, takeoff, method)
    return exposed


@dataclass(frozen=True, slots=True)
class _Chain:
    runs: tuple[int, ...]
    closed: bool


def _link_runs(count: int, joints: Sequence[Joint], continuous_deg: float) -> list[_Chain]:
    following = {joint.before: joint.after for joint in joints if joint.turn_deg <= continuous_deg}
    heads = [index for index in range(count) if index not in following.values()]
    chains, seen = list[_Chain](), set[int]()
    for head in [*heads, *range(count)]:
        runs = list[int]()
        at: int | None = head
        while at is not None and at not in seen:
            seen.add(at)
            runs.append(at)
            at = following.get(at)
        if runs:
            chains.append(_Chain(tuple(runs), closed=at == runs[0]))
    return chains


def _expose_chain(chain: _Chain, joints: Sequence[Joint], takeoff: TakeOff, method: WindMethod) -> dict[int, Exposure]:
    built = [takeoff.runs[index] for index in chain.runs]
    spans = [run.posts[-1].at - run.posts[0].at for run in built]
    outside = built[0].posts[0].at + built[-1].length - built[-1].posts[-1].at
    length = sum(spans) + outside
    height = max(_find_height(run, takeoff.measure.runs[index]) for run, index in _pairs(chain, built))
    zones = list[Sequence[Zone]]()
    for end in ("start", "end"):
        run = takeoff.measure.runs[chain.runs[0 if end == "start" else -1]]
        back = _measure_return_m(chain, end, joints, takeoff, height)
        from_end = method.find_zones(Wall(height / 1000, length / 1000, back))
        held = chain.closed or (run.start if end == "start" else run.end) in (Terminal.WALL, Terminal.JOIN)
        zones.append(from_end[-1:] if held else from_end)
    return {
        index: Exposure(sum(spans[:place]), sum(spans), run.posts[0].at, (zones[0], zones[1]))
        for place, (run, index) in enumerate(_pairs(chain, built))
    }


def _pairs(chain: _Chain, built: Sequence[BuiltRun]) -> list[tuple[BuiltRun, int]]:
    return list(zip(built, chain.runs, strict=True))


def _find_height(run: BuiltRun, measured: Run) -> int:
    return max((post.uprights[0].top - post.ground for post in run.posts), default=measured.height)


def _measure_return_m(chain: _Chain, end: str, joints: Sequence[Joint], takeoff: TakeOff, height: int) -> float:
    """Return how far the fence continues round the corner at an end of a chain [m]; 0 without a return that counts."""
    for joint in joints:
        here, beyond = (joint.after, joint.before) if end == "start" else (joint.before, joint.after)
        if here != chain.runs[0 if end == "start" else -1] or beyond in chain.runs:
            continue
        if CORNER_DEG <= joint.turn_deg <= RETURN_MAX_DEG:
            return _measure_solid_m(takeoff, beyond, joints, height, forwards=end == "end")
    return 0.0


def _measure_solid_m(takeoff: TakeOff, index: int, joints: Sequence[Joint], height: int, *, forwards: bool) -> float:
    """Return the length of a leg that is fence without a gate and at least 0.7 as high, over runs in line [m]."""
    links: Mapping[int, int] = {
        (joint.before if forwards else joint.after): (joint.after if forwards else joint.before)
        for joint in joints
        if joint.turn_deg <= CONTINUOUS_DEG
    }
    solid, at, seen = 0, index, set[int]()
    while at not in seen:
        seen.add(at)
        run = takeoff.runs[at]
        reach, whole = _measure_solid(run, height, forwards=forwards)
        solid += reach
        if not whole or at not in links:
            break
        at = links[at]
    return solid / 1000


def _measure_solid(run: BuiltRun, height: int, *, forwards: bool) -> tuple[int, bool]:
    """Return the solid length of one run from the end where it is entered [mm], and whether all of it is solid."""
    start = 0 if forwards else run.length
    stops = [gate.start if forwards else gate.start + gate.opening for gate in run.gates]
    stops += [post.at for post in run.posts if post.uprights[0].top - post.ground < RETURN_HEIGHT * height]
    nearest = min((abs(stop - start) for stop in stops), default=None)
    return (run.length, True) if nearest is None else (nearest, False)
