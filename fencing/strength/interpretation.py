"""Interpretation of a screening's outcome in plain sentences. It never states that a fence is safe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fencing.strength.footing import SoilInputs, calculate_second_needed_mm, find_soil_inputs
from fencing.strength.screening import ScreenedPost, Screening, ScreeningOutcome


@dataclass(frozen=True, slots=True)
class _Typical:
    words: str
    undrained_kpa: float | None = None
    friction_deg: float | None = None
    unit_weight_kn_m3: float | None = None


TYPICAL = {
    "clay": _Typical("firm clay of 40 kPa undrained strength", undrained_kpa=40),
    "sand": _Typical("loose sand of 30 degrees and 18 kN/m³", friction_deg=30, unit_weight_kn_m3=18),
    "gravel": _Typical("gravel of 34 degrees and 19 kN/m³", friction_deg=34, unit_weight_kn_m3=19),
}
"""Typical soil for the second method if no strength is stated, for comparison only.

Source: textbook ranges, from memory.
"""


def interpret(screening: Screening) -> tuple[str, ...]:
    """Return sentences that explain the outcome.

    Rule: first how many posts and by what, then what the pole formula takes for granted, the second method's answer beside it,
    and who decides. Sentences stand only where they apply; embedments in them are [mm].

    Args:
        screening: of the job.

    Returns:
        Sentences in the order they are read.

    Source: house rule; what the formula takes for granted: IBC 1807.3.

    Example:
        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.strength.screening import screen
        >>> from fencing.quantities.take_off import take_off
        >>> interpret(screen(take_off(IN_WIND, ROUND_SIZES)))[0]
        '3 of 3 posts are over: 3 by the pole formula.'
    """
    over = [post for post in screening.posts if post.outcome is ScreeningOutcome.OVER]
    outside = [post for post in screening.posts if post.outcome is ScreeningOutcome.OUTSIDE]
    lines: list[str] = []
    if over:
        lines += _explain_over(screening, over)
    if outside or screening.unscreened:
        lines.append(
            "Outside the method means that it has no answer there, good or bad: something it needs is not stated, or the case is "
            "beyond what it was made for. The reason is shown at each of these posts."
        )
    if screening.posts and not over and not outside:
        lines.append(
            "Within the limits means that this method, for the wind and ground stated, asks for no more than is given. It has "
            "not seen the ground, the workmanship or what rust and roots will do."
        )
    if over:
        lines.append(
            "Over means beyond this method's limits; it is not a forecast that the fence falls, and not a formality either. What "
            "follows is decided by people: one of the changes worked out, better knowledge of the ground, or an engineer's word."
        )
    return tuple(lines)


def _explain_over(screening: Screening, over: Sequence[ScreenedPost]) -> list[str]:
    steel = [post for post in over if post.over_section]
    footed = [post for post in over if (post.needed or 0) > post.given]
    parts = [f"{len(steel)} by the steel"] * bool(steel) + [f"{len(footed)} by the pole formula"] * bool(footed)
    verb = "is" if len(over) == 1 else "are"
    lines = [f"{len(over)} of {len(screening.posts)} posts {verb} over" + (f": {', '.join(parts)}." if parts else ".")]
    if steel:
        worst = max(post.over_section for post in steel)
        lines.append(
            f"The steel of the hardest pressed post is asked for {worst:.2f} times what its section takes with the capacity "
            "factor, in the full stated wind, all of it square to the fence."
        )
    if footed:
        lines += [_explain_formula(footed), *_explain_second(screening, footed)]
    return lines


def _explain_formula(footed: Sequence[ScreenedPost]) -> str:
    worst = max(footed, key=lambda post: (post.needed or 0) - post.given)
    return (
        "The pole formula is the building code's, written for single poles and signs. It takes a low bearing value for the soil "
        "from a table, keeps a margin on it, and counts on nothing but the ground beside the post. Most solid fences on footings "
        "of usual depth come out over by it, so look at how far: the hardest pressed post here would need "
        f"{worst.needed} mm in the ground and has {worst.case.embedment} mm."
    )


def _explain_second(screening: Screening, footed: Sequence[ScreenedPost]) -> list[str]:
    """Return the results of the second method: with the stated soil, or with a typical one for comparison."""
    stated = [post for post in footed if post.second_needed is not None]
    if stated:
        worst = max(stated, key=lambda post: post.second_needed or 0)
        given, second = worst.given, worst.second_needed or 0
        agrees = (
            "so both call it short"
            if second > given
            else "so the two differ: an engineer can say which fits this ground"
        )
        return [f"The second method (Broms, with the stated soil) asks for {second} mm at {worst.case.post}, {agrees}."]
    compared = _compare_typical_soil(screening, max(footed, key=lambda post: post.needed or 0))
    if compared is None:
        return []
    post, soil, second = compared
    return [
        f"For comparison only: in {soil} (taken here, not measured) the second method (Broms, with a factor of safety of "
        f"{_find_ground(screening, post).safety_factor:g}) would ask for {second} mm at {post.case.post}. State the soil's "
        "strength and it is counted."
    ]


def _compare_typical_soil(screening: Screening, post: ScreenedPost) -> tuple[ScreenedPost, str, int] | None:
    """Return the post's embedment by Broms in a typical soil of its class; None for a class without one."""
    ground = _find_ground(screening, post)
    if post.case.diameter is None or ground.soil_class not in TYPICAL:
        return None
    typical = TYPICAL[ground.soil_class]
    strong = replace(
        ground,
        undrained_kpa=typical.undrained_kpa,
        friction_deg=typical.friction_deg,
        unit_weight_kn_m3=typical.unit_weight_kn_m3,
    )
    needed = calculate_second_needed_mm(post.footing_load, post.case.diameter / 1000, strong)
    return None if needed is None else (post, typical.words, needed)


def _find_ground(screening: Screening, post: ScreenedPost) -> SoilInputs:
    soils = {run.id: run.soil for run in screening.takeoff.measure.runs}
    return find_soil_inputs(screening.request.inputs, soils.get(post.case.run))
