"""Strength panel of the take-off page: the screening of every post, suggested changes with prices, and the annex as a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fencing.documents.takeoff_document import write_takeoff
from fencing.drawing.curve_chart import draw_chart
from fencing.model.faults import Fault, InvalidDocument
from fencing.quantities.take_off import TakeOff
from fencing.strength.curves import calculate_chart
from fencing.strength.screening import screen
from quotes.documents.kinds.screening import annex_pdf
from quotes.documents.page_parts import place_of
from quotes.documents.strength_sheet import StrengthSheet, price_change, strength_sheet
from quotes.jobs import queries
from quotes.jobs.document_text import parsed
from quotes.jobs.hooks import with_prices
from quotes.jobs.measure_services import newest, save_measure
from quotes.jobs.models import StoredMeasure
from quotes.jobs.takeoff_cache import SystemWithPrices, take_off_measure
from quotes.office.measure_drafts import measure_facts
from quotes.quoting.build_pricing import changed_run
from quotes.quoting.content_document import face
from shared.business.roles import Scope
from shared.common.figures import current_decimal_sign
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.models import Business
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, error_text
from shared.web.seen_version import acting_on


@require_POST
@require_scope(Scope.MEASURES_WRITE)
def height(request: MemberRequest, ref: str) -> HttpResponse:
    """Save the measure with the suggested height for one run, in the version that the page showed."""
    rows = queries.measures(request.business).select_related("job", "business")
    try:
        with acting_on(request, rows, ref, measure_facts) as measure:
            text = _lower_run(request, measure)
        messages.success(request, text)
    except PAGE_ERRORS as refused:
        messages.error(request, error_text(refused), extra_tags="Failed")
    return redirect(_panel(ref))


def _lower_run(request: MemberRequest, measure: StoredMeasure) -> str:
    run, entered, version = request.POST.get("run", ""), request.POST.get("height_mm", ""), newest(measure)
    if version is None or measure.draft_at:
        raise Problem("conflict", "The measure has a draft. Save or discard it first.")
    if not (entered.isascii() and entered.isdigit() and len(entered) < 6):
        raise InvalidDocument([Fault("/height_mm", "range", "Enter a height in whole millimetres.")])
    save_measure(measure=measure, document=lowered(parsed(version.document), run, int(entered)), actor=request.actor)
    return f"Height of run {run} set to {entered} mm. The earlier version is in the history."


@require_safe
@require_scope(Scope.MEASURES_READ)
def annex(request: MemberRequest, ref: str) -> HttpResponse:
    """Return the screening of the last saved version as a PDF, with prices for persons with access to them."""
    measure = find(queries.measures(request.business).select_related("job__site"), ref)
    version = newest(measure)
    if version is None:
        return redirect("measure", ref)
    try:
        result = take_off_measure(request.business, parsed(version.document))
    except InvalidDocument:
        return redirect(_panel(ref))
    taken, found = result.takeoff, result.found
    written = write_takeoff(taken)
    if "strength" not in written:
        return redirect(_panel(ref))
    if request.actor.may(Scope.QUOTES_READ):
        written = with_prices(written, taken, found)
    job, now = measure.job, timezone.now()
    pdf = annex_pdf(
        written,
        [curve_of(taken)] * bool(taken.runs),
        face=face(request.business),
        heading=f"{job.number} {measure.label}, version {version.number}",
        place=place_of(job.site),
        made=now,
    )
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="screening-{job.number}-{version.number}.pdf"'
    response["Cache-Control"] = "no-store"
    return response


def _panel(ref: str) -> str:
    return reverse("takeoff", args=[ref]) + "#strength"


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
    return draw_chart(calculate_chart(screen(taken), current_decimal_sign())) if taken.runs else ""


def lowered(document: Mapping[str, Any], run: str, height: int) -> dict[str, Any]:
    """Return the measure with another height for one run. Gates of the same height follow."""

    def row(one: Mapping[str, Any]) -> dict[str, Any]:
        return {**changed_run(one, {"height_mm": height}), "height_mm": height} if one["id"] == run else dict(one)

    return {**document, "runs": [row(item) for item in document["runs"]]}
