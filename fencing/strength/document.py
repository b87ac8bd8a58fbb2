"""Screening as plain values for JSON, pages and papers, and its outcome in plain sentences.

The sentences never state that a fence is safe.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from fencing.strength.changed_job import SuggestedChange
from fencing.strength.embedment import SOIL_EDITION, SOILS
from fencing.strength.footing import FORMULA, SECOND, calculate_second_needed_mm, find_soil_inputs
from fencing.strength.screening import DISCLAIMER, OUTCOME_TEXTS, ScreenedPost, Screening, ScreeningOutcome
from fencing.strength.suggested_changes import suggest_changes


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
    factor = screening.find_limits(post.case.run).ground.safety_factor
    return [
        f"For comparison only: in {soil} (taken here, not measured) the second method (Broms, with a factor of safety of "
        f"{factor:g}) would ask for {second} mm at {post.case.post}. State the soil's strength and it is counted."
    ]


def _compare_typical_soil(screening: Screening, post: ScreenedPost) -> tuple[ScreenedPost, str, int] | None:
    """Return the post's embedment by Broms in a typical soil of its class; None for a class without one."""
    ground = screening.find_limits(post.case.run).ground
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


SCREENING_SCHEMA = "screening-2"
UNSTATED = "not stated"


def write_screening(screening: Screening, changes: Sequence[SuggestedChange] | None = None) -> dict[str, Any]:
    """Return a screening as a document of plain values.

    Rule: lengths are integer [mm]; forces, moments and shares decimal texts, half-even at the last printed place; what the method
    has no answer for is null.

    Args:
        screening: of the job.
        changes: suggested changes, priced or not; None: those of the screening, without prices.

    Returns:
        The document of schema ``screening``: method, inputs, ground, outcome with its text and interpretation, posts,
        suggested changes, remarks, disclaimer.

    Source: house rule.

    Example: the middle post carries 2.4 m x 1.8 m x 1200 Pa:

        >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
        >>> from fencing.strength.screening import screen
        >>> from fencing.quantities.take_off import take_off
        >>> written = write_screening(screen(take_off(IN_WIND, ROUND_SIZES)))
        >>> written["outcome"], written["posts"][1]["force_kn"]
        ('over', '5.18')
    """
    suggested = suggest_changes(screening) if changes is None else changes
    return {
        "schema": SCREENING_SCHEMA,
        "method": {"name": screening.method.name, "title": screening.method.title},
        "inputs": dict(screening.request.inputs),
        "ground": _write_ground(screening),
        "outcome": screening.outcome.value,
        "outcome_text": OUTCOME_TEXTS[screening.outcome],
        "interpretation": list(interpret(screening)),
        "posts": [_write_post(post) for post in screening.posts],
        "unscreened": list(screening.unscreened),
        "suggested_changes": [write_change(change) for change in suggested],
        "remarks": list(list_remarks(screening)),
        "disclaimer": DISCLAIMER,
    }


def list_remarks(screening: Screening) -> tuple[str, ...]:
    """Return sentences about the calculation for readers of the output, with lengths in [m]. Source: the method.

    >>> from fencing.model.example_system import IN_WIND, ROUND_SIZES
    >>> from fencing.strength.screening import screen
    >>> from fencing.quantities.take_off import take_off
    >>> list_remarks(screen(take_off(IN_WIND, ROUND_SIZES)))[0]
    'Within two heights of a free end the stated pressure is taken 2 times.'
    """
    system = screening.takeoff.system
    lines = [*screening.method.list_remarks()]
    lines.append(
        "A post carries half of each neighbouring bay or closed gate, of both runs if they turn less than 60° there; a corner "
        "is screened once in each of its runs. Runs that turn 30° or less are one wall: its ends are those of the whole wall."
    )
    if any(side.lattice_m > 0 for post in screening.posts for side in post.case.sides):
        open_area_ratio = system.lattice_open_area_ratio
        counted = (
            "as solid, as its open share is not stated"
            if open_area_ratio is None
            else f"with an open share of {open_area_ratio}"
        )
        lines.append(f"Lattice is counted {counted}.")
    if screening.request.inputs.get("bearing_doubled"):
        lines.append("Lateral soil bearing is doubled (IBC 1806.3.4): for poles that 13 mm of movement does no harm.")
    if system.steel is not None:
        lines.append(
            "Sections have the corners they are rolled to: twice the wall outside. Local buckling, screws, rails and corrosion "
            "are outside the screening of the section."
        )
    return tuple(lines)


def _write_ground(screening: Screening) -> dict[str, Any]:
    inputs = screening.request.inputs
    soils = {run.soil for run in screening.takeoff.measure.runs}
    classes = sorted({find_soil_inputs(inputs, soil).soil_class or UNSTATED for soil in soils or {None}})
    return {
        "classes": [{"code": name, "label": SOILS[name].label if name in SOILS else UNSTATED} for name in classes],
        "table": SOIL_EDITION,
        "formula": FORMULA,
        "second_method": SECOND if {"undrained_kpa", "friction_deg"} & set(inputs) else None,
    }


def _write_post(post: ScreenedPost) -> dict[str, Any]:
    case = post.case
    width = sum(side.width_m for side in case.sides)
    pressure = sum(side.pressure_pa * side.width_m for side in case.sides) / width if width else 0.0
    return {
        "run": case.run,
        "post": case.post,
        "at_mm": case.at,
        "kind": case.kind,
        "height_mm": case.height,
        "tributary_mm": round(width * 1000),
        "pressure_kpa": f"{pressure / 1000:.3f}",
        "force_kn": f"{post.load.force_n / 1000:.2f}",
        "moment_knm": f"{post.load.moment_nm / 1000:.2f}",
        "moment_before_knm": _format_knm(post.before_nm),
        "section": post.section,
        "capacity_knm": _format_knm(post.capacity_nm),
        "utilisation": None if post.utilisation is None else f"{post.utilisation:.2f}",
        "embedment_mm": case.embedment,
        "embedment_needed_mm": post.needed,
        "second_method_mm": post.second_needed,
        "outcome": post.outcome.value,
        "outcome_text": OUTCOME_TEXTS[post.outcome],
        "reasons": list(post.reasons),
    }


def _format_knm(value_nm: float | None) -> str | None:
    return None if value_nm is None else f"{value_nm / 1000:.2f}"


def describe_change(change: SuggestedChange) -> str:
    """Describe a suggested change [mm in its text] and why it may not be enough. Source: house rule.

    >>> describe_change(SuggestedChange("hole_depth", 900, "mm", False, "holes 900 mm deep", ("A-P2",)))
    'holes 900 mm deep (not enough by itself)'
    """
    if change.blocked_by:
        return f"{change.text} (can't be built: {change.blocked_by})"
    return change.text if change.resolves else f"{change.text} (not enough by itself)"


def write_change(change: SuggestedChange) -> dict[str, Any]:
    """Return one suggested change as plain values; its cost is decimal text [the business's currency], or null without a price.

    Source: house rule.

    >>> write_change(SuggestedChange("hole_depth", 900, "mm", True, "holes 900 mm deep", ("A-P2",)))["change"]
    'holes 900 mm deep'
    """
    return {
        "kind": change.kind,
        "value": change.value,
        "unit": change.unit,
        "depth_mm": change.depth,
        "run": change.run,
        "posts": list(change.posts),
        "resolves": change.resolves,
        "change": change.text,
        "text": describe_change(change),
        "blocked_by": change.blocked_by or None,
        "cost": None if change.cost is None else f"{change.cost:.2f}",
    }
