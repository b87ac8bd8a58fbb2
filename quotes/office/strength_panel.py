"""The strength panel of the take-off sheet: the screening post by post, what would help and at what price, and the curves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fencing.drawing.curve_chart import draw_chart
from fencing.quantities.take_off import TakeOff
from fencing.strength.curves import chart
from fencing.strength.screening import screen
from quotes.documents.strength_sheet import StrengthSheet, price_change, strength_sheet
from quotes.jobs.hooks import with_prices
from quotes.jobs.system_lookup import SystemWithPrices
from quotes.quoting.build_pricing import changed_run
from shared.common.figures import current_decimal_sign
from shared.models import Business


@dataclass(frozen=True, slots=True)
class StrengthPanel:
    """``curve`` is the chart's markup, empty where there is no run to screen. ``system`` is where pitch and holes are kept."""

    sheet: StrengthSheet
    curve: str
    system: str


def strength_panel(
    written: Mapping[str, Any], taken: TakeOff, found: SystemWithPrices, business: Business, *, priced: bool
) -> StrengthPanel | None:
    """Return the panel of a take-off, or None if its measure has no screening.

    Args:
        written: the take-off as its document.
        taken: the same.
        found: the system and prices it was made with.
        business: whose currency is shown.
        priced: whether the reader may see what a change costs.
    """
    if priced:
        price = price_change(business.currency, business.locale)
        sheet = strength_sheet(with_prices(written, taken, found), price)
    else:
        sheet = strength_sheet(written)
    if sheet is None:
        return None
    return StrengthPanel(sheet, curve_of(taken), found.code)


def curve_of(taken: TakeOff) -> str:
    """Return the drawing of allowed height against pitch, or an empty text without runs."""
    return draw_chart(chart(screen(taken), current_decimal_sign())) if taken.runs else ""


def lowered(document: Mapping[str, Any], run: str, height: int) -> dict[str, Any]:
    """Return the measure with another height for one run. Gates of the same height follow."""

    def row(one: Mapping[str, Any]) -> dict[str, Any]:
        return {**changed_run(one, {"height_mm": height}), "height_mm": height} if one["id"] == run else dict(one)

    return {**document, "runs": [row(item) for item in document["runs"]]}
