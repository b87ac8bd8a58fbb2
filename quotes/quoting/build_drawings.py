"""Drawings (SVG) and cautions of a build, created once and stored with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fencing.cautions.facts import collect_facts
from fencing.cautions.select import Reader, select_cautions
from fencing.drawing.curve_chart import draw_chart
from fencing.drawing.drawing_set import paper_set
from fencing.model.faults import Fault, InvalidDocument
from fencing.quantities.take_off import TakeOff
from fencing.strength.curves import chart
from fencing.strength.screening import screen
from shared.common.money import decimal_sign


def shown_with(takeoff: TakeOff, site_conditions: Mapping[str, Any], locale: str) -> dict[str, Any]:
    """Return the fields ``drawings`` and ``cautions`` of a build, with figures by ``locale``.

    Raise InvalidDocument for an unknown run.
    """
    pool, known = site_conditions.get("pool_runs", []), {run.id for run in takeoff.runs}
    unknown = [name for name in pool if name not in known]
    if unknown:
        text = f"There is no run {unknown[0]!r} in the measure."
        raise InvalidDocument([Fault("/site_conditions/pool_runs", "run.unknown", text)])
    facts = collect_facts(
        takeoff,
        pool_runs=pool,
        driveway=site_conditions.get("near_driveway", False),
        local_height=site_conditions.get("height_limit_mm"),
    )
    sign = decimal_sign(locale)
    return {
        "drawings": {**paper_set(takeoff, sign), "curves": _curves(takeoff, sign)},
        "cautions": {reader.value: [item.text for item in select_cautions(facts, reader)] for reader in Reader},
    }


def _curves(takeoff: TakeOff, sign: str) -> list[str]:
    """Return the curve of allowed height against pitch; none if there is nothing to screen."""
    if takeoff.measure.strength is None or not takeoff.runs:
        return []
    return [draw_chart(chart(screen(takeoff), sign))]
