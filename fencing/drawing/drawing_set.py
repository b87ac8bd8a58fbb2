"""The set of drawings for the papers of a job. It is stored with a sent document and never changes afterwards."""

from __future__ import annotations

from fencing.drawing.details import draw_bay_detail, draw_leaf_detail, find_typical_bay
from fencing.drawing.elevation import draw_elevation_bands
from fencing.drawing.plan_view import draw_plan
from fencing.drawing.set_out_strip import draw_set_out_bands
from fencing.quantities.take_off import TakeOff

WIDTH = 180.0
"""Width between the margins of an A4 page [mm]; a Letter page has a little more."""
DEEP = 220.0
"""Maximum height of a drawing that shares its page, A4 or Letter, with a heading and a caption [mm]."""
PLAN_DEEP = 110.0
DETAIL_DEEP = 95.0
NARROW = 72.0
"""Width of a drawing for a phone [mm]: on the minimum of 328 px, its lettering of 2.7 mm is 12 px high."""
NARROW_DEEP = 170.0
_NARROW_SCALE = 100


def draw_paper_set(takeoff: TakeOff, decimal_sign: str = ".") -> dict[str, list[str]]:
    """Draw every drawing of a job as SVG texts by kind.

    The kinds are ``plan``, ``elevation``, ``set_out``, ``detail`` and ``phone_drawings``. ``phone_drawings`` are plan and
    elevation again, in rows that a phone shows without scrolling sideways.

    Args:
        takeoff: the job.
        decimal_sign: the sign before the decimals of its figures.

    Returns:
        Lists of SVG texts 180 mm wide (``phone_drawings``: 72 mm) in the order of the measure; empty if there is nothing
        to draw.

    Source: house rule.

    >>> from fencing.model.example_system import ROUND_SIZES, TWO_BAYS
    >>> from fencing.quantities.take_off import take_off
    >>> {kind: len(drawings) for kind, drawings in draw_paper_set(take_off(TWO_BAYS, ROUND_SIZES)).items()}
    {'plan': 1, 'elevation': 2, 'set_out': 1, 'detail': 1, 'phone_drawings': 2}
    """
    return {
        "plan": _draw_plan(takeoff, WIDTH, (PLAN_DEEP, DEEP), "plan", decimal_sign),
        "elevation": draw_elevation_bands(takeoff, WIDTH, DEEP, prefix="elevation", decimal_sign=decimal_sign),
        "set_out": (
            draw_set_out_bands(takeoff, WIDTH, DEEP, prefix="set-out", decimal_sign=decimal_sign)
            if takeoff.runs
            else []
        ),
        "detail": _draw_details(takeoff),
        "phone_drawings": _draw_for_phone(takeoff, decimal_sign),
    }


def _draw_plan(takeoff: TakeOff, width: float, heights: tuple[float, ...], prefix: str, decimal_sign: str) -> list[str]:
    """Draw the plan on part of a page, or on a whole one; return no drawing if no page holds it at any scale."""
    for deep in heights:
        try:
            drawn = draw_plan(takeoff, width, deep, prefix=prefix, may_turn=True, decimal_sign=decimal_sign)
        except ValueError:
            continue
        return [drawn] if drawn else []
    return []


def _draw_for_phone(takeoff: TakeOff, decimal_sign: str) -> list[str]:
    over = _draw_plan(takeoff, NARROW, (NARROW_DEEP, 2 * NARROW_DEEP), "narrow-plan", decimal_sign)
    return over + draw_elevation_bands(
        takeoff, NARROW, DEEP, prefix="narrow", least=_NARROW_SCALE, decimal_sign=decimal_sign
    )


def _draw_details(takeoff: TakeOff) -> list[str]:
    """Draw the typical bay of the first run that has one, and every different gate."""
    typical = [bay for run in takeoff.runs for bay in (find_typical_bay(run),) if bay]
    drawn = [draw_bay_detail(takeoff, typical[0].id, WIDTH, DETAIL_DEEP)] if typical else []
    seen = set()
    for run in takeoff.runs:
        for gate in run.gates:
            if gate.leaves not in seen:
                seen.add(gate.leaves)
                drawn.append(draw_leaf_detail(takeoff, gate.id, WIDTH, DETAIL_DEEP))
    return drawn
