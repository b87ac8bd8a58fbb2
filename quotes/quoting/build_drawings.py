"""Drawings (SVG) and cautions of a build, created once and stored with it."""

from __future__ import annotations

from fencing.cautions.facts import collect_facts
from fencing.cautions.select import Reader, select_cautions
from fencing.drawing.curve_chart import draw_chart
from fencing.drawing.drawing_set import draw_paper_set
from fencing.model.faults import Fault, InvalidDocument
from fencing.quantities.take_off import TakeOff
from fencing.strength.curves import calculate_chart
from fencing.strength.screening import screen
from quotes.quoting.content import Cautions, Drawings
from quotes.quoting.draft_setup import SiteConditions
from quotes.quoting.json_values import to_value
from shared.common.money import decimal_sign


def drawings_of(takeoff: TakeOff, locale: str) -> Drawings:
    """Return the drawings of a build, with figures by ``locale``; no curves if there is nothing to screen."""
    sign, curves = decimal_sign(locale), list[str]()
    if takeoff.measure.strength is not None and takeoff.runs:
        curves = [draw_chart(calculate_chart(screen(takeoff), sign))]
    return to_value({**draw_paper_set(takeoff, sign), "curves": curves}, Drawings)


def cautions_of(takeoff: TakeOff, site: SiteConditions) -> Cautions:
    """Return the cautions of a build. Raise InvalidDocument for an unknown run."""
    known = {run.id for run in takeoff.runs}
    unknown = [name for name in site.pool_runs if name not in known]
    if unknown:
        text = f"There is no run {unknown[0]!r} in the measure."
        raise InvalidDocument([Fault("/site_conditions/pool_runs", "run.unknown", text)])
    facts = collect_facts(
        takeoff,
        pool_runs=site.pool_runs,
        driveway=bool(site.near_driveway),
        local_height=site.height_limit_mm,
    )
    return to_value(
        {reader.value: [item.text for item in select_cautions(facts, reader)] for reader in Reader}, Cautions
    )
