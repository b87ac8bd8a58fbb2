"""Context of a drawing: the job, its lettering, the live element, the numbers of notices."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from fencing.drawing.svg import format_level, format_metres
from fencing.drawing.symbols import Track
from fencing.model.faults import Notice, Severity
from fencing.model.fence import BuiltRun, Pair
from fencing.model.measure import Run
from fencing.model.system import System
from fencing.quantities.take_off import TakeOff
from fencing.set_out.corners import find_corners
from fencing.set_out.ground import Ground


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


def find_chains(takeoff: TakeOff, first: float = 0.0) -> list[Chain]:
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
    shared = find_corners(measures)
    made, heading = list[list[LaidOutRun]](), first
    turned = list[float]()
    for index, (run, measure) in enumerate(zip(takeoff.runs, measures, strict=True)):
        heading += float(measure.turn)
        if index and shared.get(index) == index - 1:
            before = made[-1][-1]
            x, y = before.track.locate(before.run.posts[-1].at)
            made[-1].append(LaidOutRun(run, Track(1, x, y, heading, origin=run.posts[0].at)))
            turned[-1] += float(measure.turn)
        else:
            made.append([LaidOutRun(run, Track(1, 0, 0, heading, origin=run.posts[0].at))])
            turned.append(0.0)
    return [Chain(tuple(runs), -1 if turn < 0 else 1) for runs, turn in zip(made, turned, strict=True)]


def find_inside(takeoff: TakeOff) -> dict[str, int]:
    """Return ``Chain.inward`` of every run, by its id."""
    return {laid.run.id: chain.inward for chain in find_chains(takeoff) for laid in chain.runs}


LETTERING = 2.7  # mm: 7.65 pt, above the minimum size on paper


@dataclass(frozen=True, slots=True)
class Scene:
    """The context of one drawing.

    ``live`` is the id of the element in the accent colour; ``prefix`` starts every id in the SVG.

    ``inside`` gives the side of the inside for every run, in walking direction: right (1) or left (-1).
    """

    takeoff: TakeOff
    size: float
    live: str | None
    prefix: str
    notices: dict[str, list[tuple[int, Notice]]]
    inside: dict[str, int]
    decimal_sign: str = "."

    @property
    def system(self) -> System:
        return self.takeoff.system

    def is_live(self, name: str) -> bool:
        return self.live is not None and name == self.live

    def format_metres(self, mm: int) -> str:
        """Format a length or chainage in metres with the decimal sign of the drawing."""
        return self.format_figure(format_metres(mm))

    def format_level(self, mm: int) -> str:
        """Format a reduced level in metres with the decimal sign of the drawing."""
        return self.format_figure(format_level(mm))

    def format_figure(self, text: str) -> str:
        """Return a figure that was written with a point with the decimal sign of the drawing."""
        return text.replace(".", self.decimal_sign)


def make_scene(
    takeoff: TakeOff, size: float = LETTERING, live: str | None = None, prefix: str = "drawing", decimal_sign: str = "."
) -> Scene:
    """Create a context.

    The take-off's notices are numbered from 1 in their own order, those of one location together.
    """
    places = defaultdict[str, list[tuple[int, Notice]]](list)
    for number, notice in enumerate(takeoff.notices, 1):
        places[notice.element].append((number, notice))
    return Scene(takeoff, size, live, prefix, dict(places), find_inside(takeoff), decimal_sign)


def find_gravest(notices: list[tuple[int, Notice]]) -> Severity:
    """Return the severity of the most serious notice."""
    return max((notice.severity for _, notice in notices), key=[Severity.INFO, Severity.WARNING, Severity.STOP].index)


def find_measured_run(takeoff: TakeOff, run: BuiltRun) -> Run:
    """Return the measured run of a built run.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> job = take_off(TWO_BAYS, ROUND_SIZES)
    >>> find_measured_run(job, job.runs[0]).height
    1800
    """
    return next(measure for measure in takeoff.measure.runs if measure.id == run.id)


def trace_ground(takeoff: TakeOff, run: BuiltRun) -> list[Pair]:
    """Return (chainage, level) corners of the ground from the first to the last post, through every station and post.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> job = take_off(TWO_BAYS, ROUND_SIZES)
    >>> trace_ground(job, job.runs[0])
    [(0, 0), (2400, 0), (4800, 0)]
    """
    first, last = run.posts[0].at, run.posts[-1].at
    corners = {post.at: post.ground for post in run.posts}
    stations = find_measured_run(takeoff, run).levels
    if stations:
        corners |= dict(Ground.through(stations).list_points(first, last))
    return sorted(corners.items())
