"""Screening as plain values, for JSON, pages and papers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fencing.strength.changed_job import SuggestedChange
from fencing.strength.embedment import SOIL_EDITION, SOILS
from fencing.strength.footing import FORMULA, SECOND, find_soil_inputs
from fencing.strength.interpretation import interpret
from fencing.strength.screening import DISCLAIMER, OUTCOME_TEXTS, ScreenedPost, Screening
from fencing.strength.suggested_changes import suggest_changes

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
    found = suggest_changes(screening) if changes is None else changes
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
        "suggested_changes": [write_change(change) for change in found],
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
    lines = [*screening.method.remarks()]
    lines.append(
        "A post carries half of each neighbouring bay or closed gate, of both runs if they turn less than 60° there; a corner "
        "is screened once in each of its runs. Runs that turn 30° or less are one wall: its ends are those of the whole wall."
    )
    if _has_lattice(screening):
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


def _has_lattice(screening: Screening) -> bool:
    return any(side.lattice_m > 0 for post in screening.posts for side in post.case.sides)


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
