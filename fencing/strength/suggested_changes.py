"""Changes that bring a job within the screening limits, each as a number, with the changed job and its price.

Each change is worked out alone, everything else as it is; where the post and the footing are both over, one is worked out that
changes the pitch for the post and the hole for the footing. ``resolves`` is True if a change is enough by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from math import ceil

from fencing.model.faults import InvalidDocument
from fencing.model.measure import Measure
from fencing.model.system import System
from fencing.quantities.take_off import take_off
from fencing.strength.changed_job import SuggestedChange, apply_change, check_change
from fencing.strength.embedment import CAP_M, find_rising_root
from fencing.strength.limits import Limits
from fencing.strength.post_cases import Case
from fencing.strength.screening import ScreenedPost, Screening, ScreeningOutcome, screen, screen_post

ROUND_MM = 10
MIN_SHARE = 0.3  # a pitch or height below this share of the present one is not suggested
WIDEST_MM = 1500
ROUNDS = 6


def suggest_changes(screening: Screening) -> tuple[SuggestedChange, ...]:
    """Return changes that bring the posts that are over within the limits.

    Rule: each of pitch, hole depth, hole diameter, section and height is solved alone for the worst post it can help; where none
    of the first three corrects post and footing, the pitch that the sections take is solved first, then its hole. Pitches
    and heights are rounded down, holes up, to 10 [mm]. Retrofits stand on what is there: for them only a lower fence is proposed.

    Args:
        screening: of the job.

    Returns:
        In the order pitch, hole depth, both, hole diameter, section, then a height for each run; none where nothing is over.

    Source: house rule; the limits are the method's.

    Example: the hardest pressed post wants 3198 mm in the ground; with 50 of bedding, rounded up to 10, the hole is 3250 deep:

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> [(change.kind, change.value) for change in suggest_changes(screen(take_off(IN_WIND, ROUND_SIZES)))]
        [('hole_depth', 3250)]
    """
    over = [post for post in screening.posts if post.outcome is ScreeningOutcome.OVER]
    built = {run.id for run in screening.takeoff.runs}
    own = [post for post in over if post.case.run in built]
    alone, wider = [*_suggest_pitch(screening, own), *_suggest_depth(screening, own)], _suggest_diameter(screening, own)
    both = [] if any(change.resolves for change in (*alone, *wider)) else _suggest_pitch_and_depth(screening, own)
    changes = [*alone, *both, *wider, *_suggest_section(own)]
    for run in dict.fromkeys(post.case.run for post in over):
        changes += _suggest_height(screening, run, [post for post in over if post.case.run == run])
    return tuple(changes)


def price_changes(screening: Screening, price: Callable[[Measure, System], Decimal]) -> tuple[SuggestedChange, ...]:
    """Return the suggested changes with the amount that each adds to the job's price.

    Rule: no price for a section, as the system offers no other, nor for what can't be built.

    Args:
        screening: of the job.
        price: the job's price for a measure built in a system [in one currency].

    Returns:
        The changes in the order of :func:`suggest_changes`.

    Source: house rule.

    Example: posts for a hole of 3250 are longer than any stock, so they have no price:

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> found = price_changes(screen(take_off(IN_WIND, ROUND_SIZES)), lambda measure, system: Decimal(system.hole.depth))
        >>> [change.cost for change in found], bool(found[0].blocked_by)
        ([None], True)
    """
    takeoff = screening.takeoff
    changes = suggest_changes(screening)
    if not changes:
        return ()
    now = price(takeoff.measure, takeoff.system)
    changed = [(change, apply_change(takeoff.measure, takeoff.system, change)) for change in changes]
    return tuple(
        change if job is None or change.blocked_by else replace(change, cost=price(*job) - now)
        for change, job in changed
    )


def _find_largest_share(post: ScreenedPost, limits: Limits, shrink: Callable[[Case, float], Case]) -> float | None:
    """Find the largest share of a pitch or height at which the post is not over; None if even a small one is."""

    def over_by(share: float) -> float:
        return 1.0 if screen_post(shrink(post.case, share), limits).outcome is ScreeningOutcome.OVER else -1.0

    if over_by(MIN_SHARE) > 0:
        return None
    return find_rising_root(over_by, MIN_SHARE, 1.0)


def _narrow(case: Case, share: float) -> Case:
    return replace(case, sides=tuple(side.widen(share) for side in case.sides))


def _lower(case: Case, share: float) -> Case:
    drop = case.height / 1000 * (1 - share)
    return replace(case, sides=tuple(side.lower(drop) for side in case.sides))


def _suggest_pitch(screening: Screening, posts: Sequence[ScreenedPost]) -> list[SuggestedChange]:
    different = _find_different(posts)
    shares = [
        (_find_largest_share(post, screening.find_limits(post.case.run), _narrow), post.case.spacing)
        for post in different
    ]
    pitches = [int(share * spacing - 1e-6) // ROUND_MM * ROUND_MM for share, spacing in shares if share is not None]
    if not pitches or len(pitches) < len(different) or min(pitches) < screening.takeoff.system.closing_bay_min:
        return []
    least = max(screening.takeoff.system.closing_bay_min, round(MIN_SHARE * screening.takeoff.system.pitch))

    def tried(steps: int) -> SuggestedChange:
        text = f"a pitch of no more than {steps * ROUND_MM} mm"
        return check_change(
            screening, SuggestedChange("pitch", steps * ROUND_MM, "mm", False, text, _name_posts(posts))
        )

    # closer posts have other positions, and those at the windy end need more depth: check the changed job
    low, high = -(-least // ROUND_MM), min(pitches) // ROUND_MM
    first = tried(high)
    if first.resolves or not tried(low).resolves:
        return [first]
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if tried(middle).resolves else (low, middle)
    return [tried(low)]


def _suggest_depth(screening: Screening, posts: Sequence[ScreenedPost]) -> list[SuggestedChange]:
    short = _find_short(posts)
    depth = _find_depth(short, screening.takeoff.system)
    if depth is None:
        return []
    text = _describe_holes(depth, screening.takeoff.system)
    return [check_change(screening, SuggestedChange("hole_depth", depth, "mm", False, text, _name_posts(short)))]


def _find_depth(posts: Sequence[ScreenedPost], system: System) -> int | None:
    """Return the hole [mm] that gives all these posts their embedment; None for no posts, or beyond the formula's depth."""
    most = max((post.required for post in posts), default=0)
    return _round_up(most + system.hole.bedding) if 0 < most <= CAP_M * 1000 else None


def _describe_holes(depth: int, system: System) -> str:
    return f"holes {depth} mm deep, posts {depth - system.hole.bedding} mm in the ground"


def _suggest_pitch_and_depth(screening: Screening, posts: Sequence[ScreenedPost]) -> list[SuggestedChange]:
    """Suggest the pitch at which every section takes its moment, with the hole that its footings then need."""
    system = screening.takeoff.system
    closer = _screen_closer_posts(screening)
    if closer is None:
        return []
    pitch, depth = closer.takeoff.system.pitch, _find_depth(_list_new_posts(closer), system)
    if pitch == system.pitch or depth is None or depth <= system.hole.depth:
        return []
    text = f"a pitch of no more than {pitch} mm and {_describe_holes(depth, system)}"
    return [
        check_change(
            screening, SuggestedChange("pitch_and_depth", pitch, "mm", False, text, _name_posts(posts), depth=depth)
        )
    ]


def _screen_closer_posts(screening: Screening) -> Screening | None:
    """Screen the job with posts so close that their sections take the wind; None if it can't be built."""
    takeoff, closer = screening.takeoff, screening
    least = max(takeoff.system.closing_bay_min, MIN_SHARE * takeoff.system.pitch)
    for _ in range(ROUNDS):
        # at equal pressure the moment is proportional to the width on a post; closer posts may get a higher pressure
        pitches = [post.case.spacing / post.over_section for post in _list_new_posts(closer) if post.over_section]
        if not pitches:
            break
        pitch = int(min(pitches)) // ROUND_MM * ROUND_MM
        if pitch < least:
            return None
        try:
            closer = screen(take_off(takeoff.measure, replace(takeoff.system, pitch=pitch)), screening.request)
        except InvalidDocument:
            return None
    return closer


def _list_new_posts(screening: Screening) -> list[ScreenedPost]:
    """Return the posts of new runs. Posts of a retrofit can't be moved."""
    runs = {run.id for run in screening.takeoff.runs}
    return [post for post in screening.posts if post.case.run in runs]


def _name_posts(posts: Sequence[ScreenedPost]) -> tuple[str, ...]:
    """Return names of posts in order, a corner once."""
    return tuple(dict.fromkeys(post.case.post for post in posts))


def _find_different(posts: Sequence[ScreenedPost]) -> list[ScreenedPost]:
    """Return one post for each group that differs only in name and position; its result holds for all of them."""
    return list({replace(post.case, post="", at=0): post for post in posts}.values())


def _find_short(posts: Sequence[ScreenedPost]) -> list[ScreenedPost]:
    return [post for post in posts if post.required > post.given]


def _suggest_diameter(screening: Screening, posts: Sequence[ScreenedPost]) -> list[SuggestedChange]:
    short = _find_short(posts)
    widths = [_find_width(screening, post) for post in _find_different(short)]
    known = [width for width in widths if width is not None]
    if not known or len(known) < len(widths):
        return []
    width = max(known)
    text = f"holes {width} mm across, as deep as now"
    return [check_change(screening, SuggestedChange("hole_diameter", width, "mm", False, text, _name_posts(short)))]


def _find_width(screening: Screening, post: ScreenedPost) -> int | None:
    """Find the minimum width [mm] at which the present embedment is enough; None if none up to 1.5 m is."""
    limits = screening.find_limits(post.case.run)

    def short(width: int) -> bool:
        return screen_post(replace(post.case, diameter=width), limits).required > post.given

    first = post.case.diameter or ROUND_MM
    if short(WIDEST_MM):
        return None
    low, high = first // ROUND_MM, WIDEST_MM // ROUND_MM
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if short(middle * ROUND_MM) else (low, middle)
    return high * ROUND_MM


def _suggest_section(posts: Sequence[ScreenedPost]) -> list[SuggestedChange]:
    """Return the elastic modulus that posts with an overloaded section need, by kind of post."""
    moduli: dict[str, int] = {}
    for post in posts:
        if post.over_section:
            modulus = ceil(post.over_section * (post.modulus_mm3 or 0))
            moduli[post.case.kind] = max(modulus, moduli.get(post.case.kind, 0))
    names = {
        "line": "the two channels of a line post together",
        "square": "a square post",
        "single": "a single channel",
    }
    return [
        SuggestedChange(
            kind="section",
            value=modulus,
            unit="mm3",
            resolves=not _find_short(posts) and len(moduli) == 1,
            text=f"an elastic modulus of {modulus} mm³ for {names[kind]}",
            posts=_name_posts([post for post in posts if post.case.kind == kind and post.over_section]),
        )
        for kind, modulus in sorted(moduli.items())
    ]


def _suggest_height(screening: Screening, run: str, posts: Sequence[ScreenedPost]) -> list[SuggestedChange]:
    different = _find_different(posts)
    shares = [_find_largest_share(post, screening.find_limits(post.case.run), _lower) for post in different]
    if None in shares:
        return []
    height = min(
        _find_fence_height(post.case, share) for share, post in zip(shares, different, strict=True) if share is not None
    )
    is_built = run in {built.id for built in screening.takeoff.runs}
    text = f"{'run' if is_built else 'the existing fence'} {run} no higher than {height} mm"
    change = SuggestedChange("height", height, "mm", True, text, _name_posts(posts), run=run)
    return [check_change(screening, change)] if is_built else [change]


def _find_fence_height(case: Case, share: float) -> int:
    """Return the height of the fence itself: the height above ground less the higher gap beside the post."""
    gap = max(side.base_m[0] for side in case.sides) * 1000
    return int(case.height * share - gap - 1e-6) // ROUND_MM * ROUND_MM


def _round_up(value: int) -> int:
    return -(-value // ROUND_MM) * ROUND_MM
