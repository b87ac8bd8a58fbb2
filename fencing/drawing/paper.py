"""The set of drawings that goes on paper with a job: kept with what was sent, so that it never changes afterwards."""

from __future__ import annotations

from fencing.drawing.detail import bay_detail, leaf_detail, typical_bay
from fencing.drawing.elevation import elevation_sheets
from fencing.drawing.lettering import written_with
from fencing.drawing.plan import plan
from fencing.drawing.setting import set_out_sheets
from fencing.takeoff import TakeOff

WIDTH = 180.0
"""Width between the margins of an A4 page [mm]; a Letter page has a little more."""
DEEP = 220.0
"""Most height of a drawing that shares its page, A4 or Letter, with a heading and a caption [mm]."""
PLAN_DEEP = 110.0
DETAIL_DEEP = 95.0


def paper_set(takeoff: TakeOff, decimal_sign: str = ".") -> dict[str, list[str]]:
    """Every drawing of a job as SVG texts, by kind: ``plan``, ``elevation``, ``set_out``, ``detail``.

    Args:
        takeoff: the job.
        decimal_sign: what stands before the decimals of its figures.

    Returns:
        Lists of SVG texts 180 mm wide in the order of the measure; empty where there is nothing to draw.

    Source: house rule.
    """
    with written_with(decimal_sign):
        over = _plan(takeoff)
        return {
            "plan": [over] if over else [],
            "elevation": elevation_sheets(takeoff, WIDTH, DEEP, prefix="elevation"),
            "set_out": set_out_sheets(takeoff, WIDTH, DEEP, prefix="set-out") if takeoff.runs else [],
            "detail": _details(takeoff),
        }


def _plan(takeoff: TakeOff) -> str:
    """The plan on part of a page, or on a whole one; none of a job so scattered that no page holds it at any scale."""
    for deep in (PLAN_DEEP, DEEP):
        try:
            return plan(takeoff, WIDTH, deep, prefix="plan")
        except ValueError:
            continue
    return ""


def _details(takeoff: TakeOff) -> list[str]:
    """The typical bay of the first run that has one, and every different gate."""
    typical = [bay for run in takeoff.runs for bay in (typical_bay(run),) if bay]
    drawn = [bay_detail(takeoff, typical[0].id, WIDTH, DETAIL_DEEP)] if typical else []
    seen = set()
    for run in takeoff.runs:
        for gate in run.gates:
            if gate.leaves not in seen:
                seen.add(gate.leaves)
                drawn.append(leaf_detail(takeoff, gate.id, WIDTH, DETAIL_DEEP))
    return drawn
