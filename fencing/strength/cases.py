"""From a take-off to what the screening looks at: every post with the half bays on either side, in the wind's zones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fencing.fence import Bay, BuiltRetrofit, BuiltRun, HungGate, Post
from fencing.measure import Run, Terminal
from fencing.plan import corners
from fencing.strength.loads import Side
from fencing.strength.wind import Wall, WindMethod, Zone, mean_pressure_pa
from fencing.takeoff import TakeOff


@dataclass(frozen=True, slots=True)
class Case:
    """A post as the screening sees it. ``kind`` as in the take-off; lengths in mm.

    ``spacing`` is its wider neighbouring spacing. ``embedment`` and ``diameter`` are None on old footings nobody measured.
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
class Span:
    """A bay or closed gate between two posts: levels [mm] of its base and top at both."""

    start: int
    end: int
    base: tuple[int, int]
    top: tuple[int, int]
    lattice: int


def spans_of(run: BuiltRun) -> list[Span]:
    """Bays and gates of a run in order of chainage [mm], from post centre to post centre.

    >>> from fencing.round_sizes import ROUND_SIZES, TWO_BAYS
    >>> from fencing.takeoff import take_off
    >>> [(span.start, span.end) for span in spans_of(take_off(TWO_BAYS, ROUND_SIZES).runs[0])]
    [(0, 2400), (2400, 4800)]
    """
    at = {post.id: post.at for post in run.posts}
    spans = [_bay_span(bay) for bay in run.bays]
    spans += [_gate_span(gate, at[gate.posts[0]], at[gate.posts[1]]) for gate in run.gates]
    return sorted(spans, key=lambda span: span.start)


def _bay_span(bay: Bay) -> Span:
    return Span(bay.start, bay.end, bay.base, bay.top, bay.lattice_height)


def _gate_span(gate: HungGate, start: int, end: int) -> Span:
    panels = [panel.height for leaf in gate.leaves for panel in leaf.lattice]
    return Span(start, end, (gate.base, gate.base), (gate.top, gate.top), max(panels, default=0))


def run_cases(takeoff: TakeOff, method: WindMethod) -> list[Case]:
    """Every post of every run; a corner stands once in each of its runs, as wind blows across one of them at a time.

    Rule: a post carries half of each neighbouring bay or closed gate, at the mean pressure over that half.

    Args:
        takeoff: the job [mm].
        method: zones of net pressure [Pa].

    Returns:
        Cases run by run, posts in order of chainage.

    Source: statics; zones as the method has them.

    Example: an end post carries 1.2 m, the post between two bays twice that:

        >>> from fencing.round_sizes import ROUND_SIZES, TWO_BAYS
        >>> from fencing.strength.wind import GivenPressure
        >>> from fencing.takeoff import take_off
        >>> cases = run_cases(take_off(TWO_BAYS, ROUND_SIZES), GivenPressure(600.0))
        >>> [round(sum(side.width_m for side in case.sides), 3) for case in cases]
        [1.2, 2.4, 1.2]
    """
    shared = corners(takeoff.measure.runs)
    return [
        case
        for index, (run, built) in enumerate(zip(takeoff.measure.runs, takeoff.runs, strict=True))
        for case in _cases(built, _ends(index, run, takeoff, shared, method), takeoff)
    ]


def _ends(
    index: int, run: Run, takeoff: TakeOff, shared: dict[int, int], method: WindMethod
) -> tuple[Sequence[Zone], Sequence[Zone]]:
    """Zones from the start and from the end of a run; a wall or an older fence leaves the wind no end to go round."""
    built, runs = takeoff.runs[index], takeoff.measure.runs
    height = max((post.members[0].top - post.ground for post in built.posts), default=run.height) / 1000
    after = next((later for later, earlier in shared.items() if earlier == index), None)
    neighbours = (shared.get(index), after)
    zones = []
    for terminal, neighbour in zip((run.start, run.end), neighbours, strict=True):
        turned = runs[neighbour].length / 1000 if neighbour is not None else 0.0
        found = method.zones(Wall(height, run.length / 1000, turned))
        zones.append(found[-1:] if terminal in (Terminal.WALL, Terminal.JOIN) else found)
    return zones[0], zones[1]


def _cases(built: BuiltRun, ends: tuple[Sequence[Zone], Sequence[Zone]], takeoff: TakeOff) -> Iterator[Case]:
    spans = spans_of(built)
    bottom, mouth = takeoff.system.hole.diameter, takeoff.system.hole.end_diameter
    for post in built.posts:
        beside = [span for span in spans if post.at in (span.start, span.end)]
        sides = tuple(_side(post, span, ends, built.posts) for span in beside)
        yield Case(
            run=built.id,
            post=post.id,
            at=post.at,
            kind=post.kind,
            sides=sides,
            spacing=max((span.end - span.start for span in beside), default=0),
            height=max(member.top for member in post.members) - post.ground,
            embedment=min(member.embedment for member in post.members),
            diameter=min(bottom, mouth),
        )


def _side(post: Post, span: Span, ends: tuple[Sequence[Zone], Sequence[Zone]], posts: Sequence[Post]) -> Side:
    first, last = posts[0].at, posts[-1].at
    middle = (span.start + span.end) / 2
    low, high = sorted((float(post.at), middle))
    pressure = max(
        mean_pressure_pa(ends[0], (low - first) / 1000, (high - first) / 1000),
        mean_pressure_pa(ends[1], (last - high) / 1000, (last - low) / 1000),
    )
    here = 0 if post.at == span.start else 1
    base, top = (_heights(pair, here, post.ground) for pair in (span.base, span.top))
    return Side((high - low) / 1000, base, top, span.lattice / 1000, pressure)


def _heights(pair: tuple[int, int], here: int, ground: int) -> tuple[float, float]:
    """Heights above the post's ground [m], at the post and at the middle of the bay."""
    return (pair[here] - ground) / 1000, (sum(pair) / 2 - ground) / 1000


def retrofit_cases(
    takeoff: TakeOff, method: WindMethod, old_embedment: int | None, old_diameter: int | None
) -> list[tuple[Case, Case]]:
    """Posts of every retrofit as they would be and as they are: the higher fence stands on the old footings.

    Rule: level ground at the system's least ground gap, both ends free; posts are pairs of channels of the system.

    Args:
        takeoff: the job.
        method: zones of net pressure [Pa].
        old_embedment: of the standing posts [mm], None where nobody measured it.
        old_diameter: of their footings [mm], likewise.

    Returns:
        (as it would be, as it is) for each post; none where the standing height is not stated.

    Source: house rule.

    Example: 1500 standing and 300 of lattice, 50 above ground:

        >>> from fencing.measure import Measure, Retrofit
        >>> from fencing.round_sizes import ROUND_SIZES
        >>> from fencing.strength.wind import GivenPressure
        >>> from fencing.takeoff import take_off
        >>> job = Measure("Lattice", "round", retrofits=(Retrofit("R1", (2400,), 300, existing_height=1500),))
        >>> pairs = retrofit_cases(take_off(job, ROUND_SIZES), GivenPressure(600.0), None, None)
        >>> [(new.height, was.height) for new, was in pairs]
        [(1850, 1550), (1850, 1550)]
    """
    pairs: list[tuple[Case, Case]] = []
    for retrofit, built in zip(takeoff.measure.retrofits, takeoff.retrofits, strict=True):
        if retrofit.existing_height is None:
            continue
        gap, old = takeoff.system.ground_gap, retrofit.existing_height
        after = _standing(built, gap, old + retrofit.lattice, retrofit.lattice, method)
        before = _standing(built, gap, old, 0, method)
        for new, was in zip(after, before, strict=True):
            footed = (replace(case, embedment=old_embedment, diameter=old_diameter) for case in (new, was))
            pairs.append((next(footed), next(footed)))
    return pairs


def _standing(built: BuiltRetrofit, gap: int, height: int, lattice: int, method: WindMethod) -> list[Case]:
    widths = [bay.width for bay in built.bays]
    length = sum(widths)
    zones = method.zones(Wall((gap + height) / 1000, length / 1000))
    cases, at = [], 0
    for number in range(len(widths) + 1):
        beside = [(at - width, at) for width in widths[max(0, number - 1) : number]]
        beside += [(at, at + width) for width in widths[number : number + 1]]
        sides = tuple(_level_side(at, span, length, gap, height, lattice, zones) for span in beside)
        spacing = max(end - start for start, end in beside)
        name = f"{built.id}-P{number + 1}"
        cases.append(Case(built.id, name, at, "line", sides, spacing, gap + height, None, None))
        at += widths[number] if number < len(widths) else 0
    return cases


def _level_side(
    at: int, span: tuple[int, int], length: int, gap: int, height: int, lattice: int, zones: Sequence[Zone]
) -> Side:
    low, high = sorted((float(at), sum(span) / 2))
    pressure = max(
        mean_pressure_pa(zones, low / 1000, high / 1000),
        mean_pressure_pa(zones, (length - high) / 1000, (length - low) / 1000),
    )
    base, top = gap / 1000, (gap + height) / 1000
    return Side((high - low) / 1000, (base, base), (top, top), lattice / 1000, pressure)
