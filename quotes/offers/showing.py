"""What is drawn and warned of with a build, made once and kept with it: drawings as SVG, cautions by reader."""

from __future__ import annotations

from typing import Any

from fencing.caution_facts import facts_of
from fencing.cautions import Reader, cautions_for
from fencing.drawing.paper import paper_set
from fencing.strength.curve_drawing import draw_chart
from fencing.strength.curves import chart
from fencing.strength.screen import screen
from fencing.takeoff import TakeOff


def shown_with(takeoff: TakeOff) -> dict[str, Any]:
    """Members ``drawings`` and ``cautions`` of a build."""
    facts = facts_of(takeoff)
    return {
        "drawings": {**paper_set(takeoff), "curves": _curves(takeoff)},
        "cautions": {reader.value: [one.text for one in cautions_for(facts, reader)] for reader in Reader},
    }


def _curves(takeoff: TakeOff) -> list[str]:
    """Allowed height against pitch, where the measure asks for the screening and there is a run to screen."""
    if takeoff.measure.strength is None or not takeoff.runs:
        return []
    return [draw_chart(chart(screen(takeoff)))]
