"""Cases of a screening: every post of a take-off with the half bays on either side, in the zones of the wind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fencing.model.fence import BuiltRetrofit, BuiltRun, Post
from fencing.quantities.take_off import TakeOff
from fencing.strength.chains import CONTINUOUS_DEG, CORNER_DEG, Exposure, Joint, find_exposures, find_joints
from fencing.strength.loads import Side
from fencing.strength.wind import Wall, WindMethod


@dataclass(frozen=True, slots=True)
class Case:
    """A post for the screening. ``kind`` as in the take-off; lengths in mm.

    ``spacing`` is its wider neighbouring spacing. ``embedment`` and ``diameter`` are None if not measured.
    """

    run: str
    post: str
    at: int
    kind: str
    sides: tuple[Side, ...]
    spacing: int
    height: int
    embedment: int | None
    diameter: int | None


@dataclass(frozen=True, slots=True)
class PostSpan:
    """A bay or closed gate between two posts: levels [mm] of its base and top at both."""

    start: int
    end: int
    base: tuple[int, int]
    top: tuple[int, int]
    lattice: int


def find_spans(run: BuiltRun) -> list[PostSpan]:
    """Return bays and gates of a run in order of chainage [mm], from post centre to post centre.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> [(span.start, span.end) for span in find_spans(take_off(TWO_BAYS, ROUND_SIZES).runs[0])]
    [(0, 2400), (2400, 4800)]
    """
    at = {post.id: post.at for post in run.posts}
    spans = [PostSpan(bay.start, bay.end, bay.base, bay.top, bay.lattice_height) for bay in run.bays]
    for gate in run.gates:
        lattice = max((panel.height for leaf in gate.leaves for panel in leaf.lattice), default=0)
        ends = at[gate.posts[0]], at[gate.posts[1]]
        spans.append(PostSpan(*ends, (gate.base, gate.base), (gate.top, gate.top), lattice))
    return sorted(spans, key=lambda span: span.start)


def build_run_cases(takeoff: TakeOff, method: WindMethod) -> list[Case]:
    """Return every post of every run; a post that two runs share occurs in both.

    Rule: a post carries half of each neighbouring bay or closed gate, at the mean pressure over that half. If two runs turn less
    than 60 degrees at their post, it carries both, each square to its own bay; at a corner wind blows across one at a time.
    If they turn 30 to 60 degrees, each half bay takes the greater pressure of two readings: one wall, or two.

    Args:
        takeoff: the job [mm].
        method: zones of net pressure [Pa].

    Returns:
        Cases run by run, posts in order of chainage.

    Source: statics; zones as the method has them; house rule for what is one wall.

    Example: an end post carries 1.2 m, the post between two bays twice that:

        >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
        >>> from fencing.strength.wind import GivenPressure
        >>> from fencing.quantities.take_off import take_off
        >>> cases = build_run_cases(take_off(TWO_BAYS, ROUND_SIZES), GivenPressure(600.0))
        >>> [round(sum(side.width_m for side in case.sides), 3) for case in cases]
        [1.2, 2.4, 1.2]
    """
    joints = [joint for joint in find_joints(takeoff.measure.runs) if joint.turn_deg < CORNER_DEG]
    readings = [find_exposures(takeoff, method)]
    if any(joint.turn_deg > CONTINUOUS_DEG for joint in joints):
        readings.append(find_exposures(takeoff, method, max(joint.turn_deg for joint in joints)))
    exposed = [[reading[index] for reading in readings] for index in range(len(takeoff.runs))]
    return [case for index in range(len(takeoff.runs)) for case in _build_cases(index, exposed, joints, takeoff)]


Exposed = Sequence[Sequence[Exposure]]
"""For each run, its exposure in each reading of the chains."""


def _build_cases(index: int, exposed: Exposed, joints: Sequence[Joint], takeoff: TakeOff) -> Iterator[Case]:
    built = takeoff.runs[index]
    bottom, mouth = takeoff.system.hole.diameter, takeoff.system.hole.end_diameter
    for place, post in enumerate(built.posts):
        beside = [(span, post, index, 0.0) for span in _find_spans_beside(built, post)]
        for joint in joints:
            if (place == len(built.posts) - 1 and joint.before == index) or (place == 0 and joint.after == index):
                other = joint.after if place else joint.before
                shared = takeoff.runs[other].posts[0 if place else -1]
                beside += [
                    (span, shared, other, joint.turn_deg) for span in _find_spans_beside(takeoff.runs[other], shared)
                ]
        yield Case(
            run=built.id,
            post=post.id,
            at=post.at,
            kind=post.kind,
            sides=tuple(
                _build_side(at.at, at.ground, span, exposed[run], heading) for span, at, run, heading in beside
            ),
            spacing=max((span.end - span.start for span, *_ in beside), default=0),
            height=max(member.top for member in post.uprights) - post.ground,
            embedment=min(member.embedment for member in post.uprights),
            diameter=min(bottom, mouth),
        )


def _find_spans_beside(run: BuiltRun, post: Post) -> list[PostSpan]:
    return [span for span in find_spans(run) if post.at in (span.start, span.end)]


def _build_side(at: int, ground: int, span: PostSpan, exposed: Sequence[Exposure], heading_deg: float = 0.0) -> Side:
    """Build the half of a span that a post at a chainage carries; heights are above its ground, at the post and the middle."""
    low, high = sorted((float(at), (span.start + span.end) / 2))
    pressure = max(exposure.calculate_pressure_pa(low, high) for exposure in exposed)
    here = 0 if at == span.start else 1
    base, top = (((pair[here] - ground) / 1000, (sum(pair) / 2 - ground) / 1000) for pair in (span.base, span.top))
    return Side((high - low) / 1000, base, top, span.lattice / 1000, pressure, heading_deg)


def build_retrofit_cases(
    takeoff: TakeOff, method: WindMethod, old_embedment: int | None, old_diameter: int | None
) -> list[tuple[Case, Case]]:
    """Return the posts of every retrofit with and without the lattice, on the existing footings.

    Rule: level ground at the system's least ground gap, both ends free; posts are pairs of channels of the system.

    Args:
        takeoff: the job.
        method: zones of net pressure [Pa].
        old_embedment: of the existing posts [mm], None if not measured.
        old_diameter: of their footings [mm], likewise.

    Returns:
        (as it would be, as it is) for each post; none where the standing height is not stated.

    Source: house rule.

    Example: 1500 standing and 300 of lattice, 50 above ground:

        >>> from fencing.model.measure import Measure, Retrofit
        >>> from fencing.model.example_system import ROUND_SIZES
        >>> from fencing.strength.wind import GivenPressure
        >>> from fencing.quantities.take_off import take_off
        >>> job = Measure("Lattice", "round", retrofits=(Retrofit("R1", (2400,), 300, existing_height=1500),))
        >>> pairs = build_retrofit_cases(take_off(job, ROUND_SIZES), GivenPressure(600.0), None, None)
        >>> [(new.height, was.height) for new, was in pairs]
        [(1850, 1550), (1850, 1550)]
    """
    pairs: list[tuple[Case, Case]] = []
    for retrofit, built in zip(takeoff.measure.retrofits, takeoff.retrofits, strict=True):
        if retrofit.existing_height is None:
            continue
        gap, old = takeoff.system.ground_gap, retrofit.existing_height
        after = _build_existing_cases(built, gap, old + retrofit.lattice, retrofit.lattice, method)
        before = _build_existing_cases(built, gap, old, 0, method)
        for new, was in zip(after, before, strict=True):
            footed = (replace(case, embedment=old_embedment, diameter=old_diameter) for case in (new, was))
            pairs.append((next(footed), next(footed)))
    return pairs


def _build_existing_cases(built: BuiltRetrofit, gap: int, height: int, lattice: int, method: WindMethod) -> list[Case]:
    spans = [PostSpan(bay.start, bay.end, (gap, gap), (gap + height,) * 2, lattice) for bay in built.bays]
    length = spans[-1].end
    zones = method.find_zones(Wall((gap + height) / 1000, length / 1000))
    exposure = Exposure(0, length, 0, (zones, zones))
    cases = list[Case]()
    for number, at in enumerate([0, *(span.end for span in spans)], 1):
        beside = [span for span in spans if at in (span.start, span.end)]
        sides = tuple(_build_side(at, 0, span, [exposure]) for span in beside)
        spacing = max(span.end - span.start for span in beside)
        cases.append(Case(built.id, f"{built.id}-P{number}", at, "line", sides, spacing, gap + height, None, None))
    return cases
