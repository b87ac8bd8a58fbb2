"""Chains of runs in plan: runs that meet at corners. The distance between separate chains was not measured."""

from __future__ import annotations

from dataclasses import dataclass

from fencing.drawing.plan_symbols import Track
from fencing.model.fence import BuiltRun
from fencing.quantities.take_off import TakeOff
from fencing.set_out.corners import corners


@dataclass(frozen=True, slots=True)
class LaidOutRun:
    """A run and its track, in mm of ground (scale 1:1)."""

    run: BuiltRun
    track: Track


@dataclass(frozen=True, slots=True)
class Chain:
    """Runs joined at corners. ``inward`` is 1 if the inside is on the walker's right, -1 on the left."""

    runs: tuple[LaidOutRun, ...]
    inward: int


def chains(takeoff: TakeOff, first: float = 0.0) -> list[Chain]:
    """Return the job's runs in chains.

    Rule: the first run of the list heads to the right of the sheet, every other run turns from the run before it in the list,
    met or not. The inside of a chain is the side it turns to on the whole, the right where it does not turn. House rule.

    Args:
        takeoff: the job.
        first: heading of the first run, clockwise from the right of the sheet [degrees].

    Returns:
        Chains in the order of the measure; corner posts of neighbours fall on one point.
    """
    measures = takeoff.measure.runs
    shared = corners(measures)
    made, heading = list[list[LaidOutRun]](), first
    turned = list[float]()
    for index, (run, measure) in enumerate(zip(takeoff.runs, measures, strict=True)):
        heading += float(measure.turn)
        if index and shared.get(index) == index - 1:
            before = made[-1][-1]
            x, y = before.track.at(before.run.posts[-1].at)
            made[-1].append(LaidOutRun(run, Track(1, x, y, heading, origin=run.posts[0].at)))
            turned[-1] += float(measure.turn)
        else:
            made.append([LaidOutRun(run, Track(1, 0, 0, heading, origin=run.posts[0].at))])
            turned.append(0.0)
    return [Chain(tuple(runs), -1 if turn < 0 else 1) for runs, turn in zip(made, turned, strict=True)]


def inside(takeoff: TakeOff) -> dict[str, int]:
    """Return ``Chain.inward`` of every run, by its id."""
    return {laid.run.id: chain.inward for chain in chains(takeoff) for laid in chain.runs}
