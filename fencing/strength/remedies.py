"""What to change to get a job within the screening limits, each as a number, and the job so changed, to be priced.

Each remedy is worked out alone, everything else as it is. ``mends`` says whether it is enough by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from math import ceil

from fencing.faults import Refused
from fencing.measure import Measure
from fencing.strength.cases import Case
from fencing.strength.footing import ground_of
from fencing.strength.root import rising_root
from fencing.strength.screen import Limits, Outcome, Post, Screening, screen, screen_post
from fencing.system import PostSection, System
from fencing.takeoff import take_off

ROUND_MM = 10
LEAST_SHARE = 0.3  # a pitch or height under this share of the present one is no advice
WIDEST_MM = 1500


@dataclass(frozen=True, slots=True)
class Remedy:
    """One change. ``kind``: pitch, hole_depth, hole_diameter, section or height; ``value`` in ``unit``; ``run`` for a height.

    ``cost`` is what it adds to the job's price, where somebody priced it.
    """

    kind: str
    value: int
    unit: str
    mends: bool
    text: str
    run: str | None = None
    cost: Decimal | None = None


def remedies(screening: Screening) -> tuple[Remedy, ...]:
    """Changes that bring the posts that are over within the limits.

    Rule: each of pitch, hole depth, hole diameter, section and height is solved alone for the worst post it can help; pitches and
    heights are rounded down, holes up, to 10 mm. Retrofits stand on what is there: for them only a lower fence is proposed.

    Args:
        screening: of the job.

    Returns:
        Remedies in the order pitch, hole depth, hole diameter, section, then a height for each run; none where nothing is over.

    Source: house rule; the limits are the method's.
    """
    over = [post for post in screening.posts if post.outcome is Outcome.OVER]
    built = {run.id for run in screening.takeoff.runs}
    own = [post for post in over if post.case.run in built]
    found = [*_pitch(screening, own), *_depth(screening, own), *_diameter(screening, own), *_section(own)]
    for run in dict.fromkeys(post.case.run for post in over):
        found += _height(screening, run, [post for post in over if post.case.run == run])
    return tuple(found)


def priced(screening: Screening, price: Callable[[Measure, System], Decimal]) -> tuple[Remedy, ...]:
    """Remedies with what each adds to the job's price; a section has none, as the system offers no other.

    Args:
        screening: of the job.
        price: the job's price for a measure built in a system, in one currency.

    Returns:
        The remedies in the order of :func:`remedies`.

    Source: house rule.
    """
    takeoff = screening.takeoff
    found = remedies(screening)
    if not found:
        return ()
    now = price(takeoff.measure, takeoff.system)
    changed = [(remedy, changed_job(takeoff.measure, takeoff.system, remedy)) for remedy in found]
    return tuple(remedy if job is None else replace(remedy, cost=price(*job) - now) for remedy, job in changed)


def changed_job(measure: Measure, system: System, remedy: Remedy) -> tuple[Measure, System] | None:
    """The measure and system with a remedy applied, ready for another take-off; None for a section or a retrofit.

    Rule: a deeper hole takes the least embedment of both posts down with it. Source: house rule.
    """
    if remedy.kind == "pitch":
        return measure, replace(system, pitch=remedy.value)
    if remedy.kind == "hole_diameter":
        end = max(remedy.value, system.hole.end_diameter)
        return measure, replace(system, hole=replace(system.hole, diameter=remedy.value, end_diameter=end))
    if remedy.kind == "hole_depth":
        return measure, _deeper(system, remedy.value)
    if remedy.kind == "height" and remedy.run in {run.id for run in measure.runs}:
        return _lower(measure, remedy), system
    return None


def _deeper(system: System, depth: int) -> System:
    embedment = depth - system.hole.bedding

    def post(section: PostSection) -> PostSection:
        return replace(section, embedment_min=max(section.embedment_min, embedment))

    hole = replace(system.hole, depth=depth)
    return replace(system, hole=hole, channel=post(system.channel), square=post(system.square))


def _lower(measure: Measure, remedy: Remedy) -> Measure:
    runs = tuple(replace(run, height=remedy.value) if run.id == remedy.run else run for run in measure.runs)
    return replace(measure, runs=runs)


def _limits(screening: Screening, case: Case) -> Limits:
    soils = {run.id: run.soil for run in screening.takeoff.measure.runs}
    ground = ground_of(screening.request.inputs, soils.get(case.run))
    return Limits(screening.method, ground, screening.takeoff.system)


def _checked(screening: Screening, remedy: Remedy) -> Remedy:
    """The remedy, with ``mends`` told by taking off and screening the changed job: new bays, zones and posts and all."""
    takeoff = screening.takeoff
    job = changed_job(takeoff.measure, takeoff.system, remedy)
    if job is None:
        return remedy
    try:
        after = screen(take_off(*job), screening.request)
    except Refused:  # a gate or a taper no longer fits the changed bays
        return replace(remedy, mends=False)
    built = {run.id for run in takeoff.runs if remedy.run in (None, run.id)}
    return replace(
        remedy, mends=not any(post.outcome is Outcome.OVER for post in after.posts if post.case.run in built)
    )


def _largest_share(post: Post, limits: Limits, shrink: Callable[[Case, float], Case]) -> float | None:
    """The largest share of a pitch or height at which the post is not over; None where even a small one is."""

    def over_by(share: float) -> float:
        return 1.0 if screen_post(shrink(post.case, share), limits).outcome is Outcome.OVER else -1.0

    if over_by(LEAST_SHARE) > 0:
        return None
    return rising_root(over_by, LEAST_SHARE, 1.0)


def _narrowed(case: Case, share: float) -> Case:
    return replace(case, sides=tuple(side.widened(share) for side in case.sides))


def _lowered(case: Case, share: float) -> Case:
    drop = case.height / 1000 * (1 - share)
    return replace(case, sides=tuple(side.lowered(drop) for side in case.sides))


def _pitch(screening: Screening, posts: Sequence[Post]) -> list[Remedy]:
    shares = [(_largest_share(post, _limits(screening, post.case), _narrowed), post.case.spacing) for post in posts]
    pitches = [int(share * spacing - 1e-6) // ROUND_MM * ROUND_MM for share, spacing in shares if share is not None]
    if not pitches or len(pitches) < len(posts) or min(pitches) < screening.takeoff.system.closing_bay_min:
        return []
    pitch = min(pitches)
    return [_checked(screening, Remedy("pitch", pitch, "mm", False, f"a pitch of no more than {pitch} mm"))]


def _depth(screening: Screening, posts: Sequence[Post]) -> list[Remedy]:
    needed = [max(post.needed or 0, post.second_needed or 0) for post in posts]
    short = [want for want, post in zip(needed, posts, strict=True) if want > (post.case.embedment or 0)]
    if not short:
        return []
    depth = _up(max(short) + screening.takeoff.system.hole.bedding)
    embedment = depth - screening.takeoff.system.hole.bedding
    text = f"holes {depth} mm deep, posts {embedment} mm in the ground"
    return [_checked(screening, Remedy("hole_depth", depth, "mm", False, text))]


def _diameter(screening: Screening, posts: Sequence[Post]) -> list[Remedy]:
    short = [post for post in posts if max(post.needed or 0, post.second_needed or 0) > (post.case.embedment or 0)]
    widths = [_width_for(screening, post) for post in short]
    found = [width for width in widths if width is not None]
    if not found or len(found) < len(short):
        return []
    width = max(found)
    text = f"holes {width} mm across, as deep as now"
    return [_checked(screening, Remedy("hole_diameter", width, "mm", False, text))]


def _width_for(screening: Screening, post: Post) -> int | None:
    """The least width [mm] at which the embedment given is enough; None where none up to 1.5 m is."""
    limits, given = _limits(screening, post.case), post.case.embedment or 0

    def short(width: int) -> bool:
        wider = screen_post(replace(post.case, diameter=width), limits)
        return max(wider.needed or 0, wider.second_needed or 0) > given

    first = post.case.diameter or ROUND_MM
    if short(WIDEST_MM):
        return None
    low, high = first // ROUND_MM, WIDEST_MM // ROUND_MM
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if short(middle * ROUND_MM) else (low, middle)
    return high * ROUND_MM


def _section(posts: Sequence[Post]) -> list[Remedy]:
    """The elastic modulus a post would need, by kind, where its section is over."""
    wanted: dict[str, int] = {}
    for post in posts:
        if post.utilisation is not None and post.utilisation > 1:
            modulus = ceil(post.utilisation * (post.modulus_mm3 or 0))
            wanted[post.case.kind] = max(modulus, wanted.get(post.case.kind, 0))
    footings_stand = all((post.case.embedment or 0) >= max(post.needed or 0, post.second_needed or 0) for post in posts)
    names = {
        "line": "the two channels of a line post together",
        "square": "a square post",
        "single": "a single channel",
    }
    return [
        Remedy("section", modulus, "mm3", footings_stand, f"an elastic modulus of {modulus} mm3 for {names[kind]}")
        for kind, modulus in sorted(wanted.items())
    ]


def _height(screening: Screening, run: str, posts: Sequence[Post]) -> list[Remedy]:
    shares = [_largest_share(post, _limits(screening, post.case), _lowered) for post in posts]
    if None in shares:
        return []
    height = min(
        _fence_height(post.case, share) for share, post in zip(shares, posts, strict=True) if share is not None
    )
    remedy = Remedy("height", height, "mm", True, f"{run} no higher than {height} mm", run=run)
    return [_checked(screening, remedy)] if run in {built.id for built in screening.takeoff.runs} else [remedy]


def _fence_height(case: Case, share: float) -> int:
    """Height of the fence itself: what stands above the ground less the higher of the gaps beside the post."""
    gap = max(side.base_m[0] for side in case.sides) * 1000
    return int(case.height * share - gap - 1e-6) // ROUND_MM * ROUND_MM


def _up(value: int) -> int:
    return -(-value // ROUND_MM) * ROUND_MM
