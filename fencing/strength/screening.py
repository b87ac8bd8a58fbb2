"""Screening of a take-off: each post against the limits of a method. It never states that a fence is safe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from fencing.model.faults import Notice, Severity
from fencing.model.measure import StrengthRequest
from fencing.quantities.take_off import TakeOff
from fencing.strength.embedment import CAP_M
from fencing.strength.footing import calculate_needed_mm, calculate_second_needed_mm, find_soil_inputs
from fencing.strength.limits import Limits, build_wind_method
from fencing.strength.loads import Load, calculate_post_load
from fencing.strength.post_cases import Case, build_retrofit_cases, build_run_cases
from fencing.strength.wind import WindMethod

DISCLAIMER = (
    "A screening against the limits of the method named here. It does not say that the fence is safe and does not "
    "replace a licensed engineer or the local code."
)


class ScreeningOutcome(StrEnum):
    """The possible outcomes of a screening."""

    WITHIN = "within"
    OVER = "over"
    OUTSIDE = "outside"


OUTCOME_TEXTS = {
    ScreeningOutcome.WITHIN: "within the screening limits",
    ScreeningOutcome.OVER: "over: choose a shorter pitch, deeper hole or heavier post",
    ScreeningOutcome.OUTSIDE: "outside the method: ask an engineer",
}


@dataclass(frozen=True, slots=True)
class ScreenedPost:
    """A screened post. Load at the method's level for the post; embedments in mm; None: the method has no result.

    ``utilisation`` is moment over capacity of the section. ``second_needed`` is the cross-check's embedment. ``before`` is the
    moment without the retrofit, where there is one.
    """

    case: Case
    load: Load
    footing_load: Load
    section: str | None
    modulus_mm3: float | None
    capacity_nm: float | None
    needed: int | None
    second_needed: int | None
    before_nm: float | None
    outcome: ScreeningOutcome
    reasons: tuple[str, ...]

    @property
    def utilisation(self) -> float | None:
        """The moment at the ground over the section's capacity [1 at the limit]; None if the section isn't known.

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> post = screen(take_off(IN_WIND, ROUND_SIZES)).posts[0]  # of a system that states no steel
        >>> post.utilisation is None
        True
        """
        return None if self.capacity_nm is None else self.load.moment_nm / self.capacity_nm

    @property
    def over_section(self) -> float:
        """``utilisation`` if the section is known and overloaded [over 1], otherwise 0.

        >>> from dataclasses import replace
        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> post = screen(take_off(IN_WIND, ROUND_SIZES)).posts[0]  # 2462.4 N.m
        >>> [round(replace(post, capacity_nm=capacity).over_section, 3) for capacity in (1231.2, 2500.0, None)]
        [2.0, 0.0, 0.0]
        """
        share = self.utilisation
        return share if share is not None and share > 1 else 0.0

    @property
    def given(self) -> int:
        """The embedment [mm] as built; 0 if an old footing was not measured.

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> screen(take_off(IN_WIND, ROUND_SIZES)).posts[0].given
        600
        """
        return self.case.embedment or 0

    @property
    def required(self) -> int:
        """The embedment [mm] that satisfies both methods; 0 if neither has a result.

        >>> from dataclasses import replace
        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> post = screen(take_off(IN_WIND, ROUND_SIZES)).posts[0]
        >>> replace(post, needed=800, second_needed=950).required
        950
        """
        return max(self.needed or 0, self.second_needed or 0)


@dataclass(frozen=True, slots=True)
class Screening:
    """A screened job.

    ``posts`` run by run in order of chainage, retrofits last; ``unscreened`` retrofits of unknown height.
    """

    request: StrengthRequest
    method: WindMethod
    takeoff: TakeOff
    posts: tuple[ScreenedPost, ...]
    unscreened: tuple[str, ...]

    @property
    def outcome(self) -> ScreeningOutcome:
        """The most serious outcome of any post; outside the method [no result] if one post is that and none is over.

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> screen(take_off(IN_WIND, ROUND_SIZES)).outcome.value
        'over'
        """
        outcomes = {post.outcome for post in self.posts} | ({ScreeningOutcome.OUTSIDE} if self.unscreened else set())
        return next(
            (o for o in (ScreeningOutcome.OVER, ScreeningOutcome.OUTSIDE) if o in outcomes), ScreeningOutcome.WITHIN
        )

    def find_limits(self, run: str | None) -> Limits:
        """Return the limits of the posts of a run: method, sections, and the soil measured there (None: not measured).

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> screen(take_off(IN_WIND, ROUND_SIZES)).find_limits("A").ground.soil_class
        'clay'
        """
        soil = next((item.soil for item in self.takeoff.measure.runs if item.id == run), None)
        return Limits(self.method, find_soil_inputs(self.request.inputs, soil), self.takeoff.system)


def screen(takeoff: TakeOff, request: StrengthRequest | None = None) -> Screening:
    """Screen every post of a take-off.

    Rule: half of each neighbouring bay at the wind's pressure there; moment at the ground against the section's capacity;
    embedment given against embedment needed by the pole formula, and by the second method where soil strengths are stated.

    Args:
        takeoff: the job [mm].
        request: method and inputs; None: those of the site measure.

    Returns:
        The screening; one entry for every post of every run (a corner one in each), then every post of the retrofits.

    Raises:
        ValueError: neither a request nor one in the measure.

    Source: the method named in the result; house rule for half bays and closed gates.

    Example: the middle post carries 2.4 m x 1.8 m x 1200 Pa = 5184 N, 0.95 m up:

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.quantities.take_off import take_off
        >>> load = screen(take_off(IN_WIND, ROUND_SIZES)).posts[1].load
        >>> round(load.force_n, 6), round(load.moment_nm, 6)
        (5184.0, 4924.8)
    """
    stated = request or takeoff.measure.strength
    if stated is None:
        raise ValueError("the measure asks for no strength screening")
    method = build_wind_method(stated)
    screening = Screening(stated, method, takeoff, (), ())
    posts = [screen_post(case, screening.find_limits(case.run)) for case in build_run_cases(takeoff, method)]
    old = [int(stated.inputs[key]) if key in stated.inputs else None for key in ("old_embedment_mm", "old_diameter_mm")]
    limits = screening.find_limits(None)
    for case, before in build_retrofit_cases(takeoff, method, old[0], old[1]):
        was = calculate_post_load(before.sides, limits.lattice_factor, method.arm).moment_nm * method.section_factor
        posts.append(screen_post(case, limits, was))
    unscreened = tuple(retrofit.id for retrofit in takeoff.measure.retrofits if retrofit.existing_height is None)
    return replace(screening, posts=tuple(posts), unscreened=unscreened)


def screen_post(case: Case, limits: Limits, before_nm: float | None = None) -> ScreenedPost:
    """Check one post against the limits, as :func:`screen` does; ``before_nm`` is the moment before a retrofit [N.m].

    Source: the method.

    Example: 0.6 m x 1.8 m x 600 Pa:

        >>> from fencing.model.example_system import ROUND_SIZES
        >>> from fencing.strength.loads import Side
        >>> from fencing.strength.wind import GivenPressure
        >>> case = Case("A", "A-P1", 0, "square", (Side(0.6, (0, 0), (1.8, 1.8), 0, 600.0),), 1200, 1800, 600, 300)
        >>> post = screen_post(case, Limits(GivenPressure(600.0), find_soil_inputs({}, "clay"), ROUND_SIZES))
        >>> round(post.load.force_n, 6), post.outcome.value
        (648.0, 'over')
    """
    wind = calculate_post_load(case.sides, limits.lattice_factor, limits.method.arm)
    load, footing = wind * limits.method.section_factor, wind * limits.method.footing_factor
    known = limits.find_section(case.kind)
    capacity = limits.calculate_capacity_nm(known[1]) if known else None
    needed = second = None
    if case.diameter is not None:
        needed = calculate_needed_mm(footing, case.diameter / 1000, limits.ground)
        second = calculate_second_needed_mm(footing, case.diameter / 1000, limits.ground)
    over = _list_over(case, load, capacity, needed, second)
    outside = _list_outside(case, limits, capacity, needed)
    outcome = ScreeningOutcome.OVER if over else ScreeningOutcome.OUTSIDE if outside else ScreeningOutcome.WITHIN
    name, modulus = (known[0], known[1].zx_mm3) if known else (None, None)
    return ScreenedPost(
        case, load, footing, name, modulus, capacity, needed, second, before_nm, outcome, (*over, *outside)
    )


def _list_over(case: Case, load: Load, capacity: float | None, needed: int | None, second: int | None) -> list[str]:
    reasons = []
    if capacity is not None and load.moment_nm > capacity:
        reasons.append(
            f"moment at the ground {load.moment_nm / 1000:.2f} kN.m is over the section's {capacity / 1000:.2f} kN.m"
        )
    given = case.embedment or 0
    if case.embedment is not None and needed is not None and needed > given:
        reasons.append(f"embedment {given} mm is less than the {needed} mm needed")
    if case.embedment is not None and second is not None and second > given:
        reasons.append(f"embedment {given} mm is less than the {second} mm of the second method")
    return reasons


def _list_outside(case: Case, limits: Limits, capacity: float | None, needed: int | None) -> list[str]:
    reasons = []
    if capacity is None:
        reasons.append("the system doesn't state the section of this post")
    if case.diameter is None:
        reasons.append("the old footing was not measured: state its embedment and diameter")
    elif needed is None:
        reasons.append("no soil class with a presumptive value is stated for this ground")
    elif needed > CAP_M * 1000:
        reasons.append("the embedment needed is over 12 ft, where the formula's pressure ends")
    if not case.sides:
        reasons.append("nothing hangs on this post")
    return reasons


def list_screening_notices(screening: Screening) -> tuple[Notice, ...]:
    """Return a warning for each post that is over or outside, and for each retrofit of unknown height.

    Embedments in their texts are [mm]. Source: house rule.

    >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
    >>> from fencing.quantities.take_off import take_off
    >>> [notice.element for notice in list_screening_notices(screen(take_off(IN_WIND, ROUND_SIZES)))]
    ['A-P1', 'A-P2', 'A-P3']
    """
    notices = [
        Notice(
            f"strength.{post.outcome}",
            Severity.WARNING,
            post.case.post,
            f"{OUTCOME_TEXTS[post.outcome]} ({'; '.join(post.reasons)})",
        )
        for post in _find_worst_of_each(screening.posts)
        if post.outcome is not ScreeningOutcome.WITHIN
    ]
    text = f"{OUTCOME_TEXTS[ScreeningOutcome.OUTSIDE]} (the height of the existing fence is not stated)"
    notices += [Notice("strength.outside", Severity.WARNING, name, text) for name in screening.unscreened]
    return tuple(notices)


def _find_worst_of_each(posts: Sequence[ScreenedPost]) -> list[ScreenedPost]:
    """Return each post once with its most serious outcome: a corner is screened in both its runs."""
    order = (ScreeningOutcome.OVER, ScreeningOutcome.OUTSIDE, ScreeningOutcome.WITHIN)
    gravest: dict[str, ScreenedPost] = {}
    for post in posts:
        known = gravest.get(post.case.post)
        if known is None or order.index(post.outcome) < order.index(known.outcome):
            gravest[post.case.post] = post
    return list(gravest.values())
