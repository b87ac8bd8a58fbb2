"""Views of the strength panel: lower a run, and download the screening annex."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fencing.documents.takeoff_document import takeoff_document
from fencing.model.faults import Fault, InvalidDocument
from quotes.documents.kinds.screening import annex_pdf
from quotes.documents.page_parts import place_of
from quotes.jobs import queries
from quotes.jobs.document_text import parsed
from quotes.jobs.hooks import with_prices
from quotes.jobs.measure_services import newest, save_measure
from quotes.jobs.models import StoredMeasure
from quotes.jobs.takeoff_cache import take_off_measure
from quotes.office.measure_drafts import measure_facts
from quotes.office.strength_panel import curve_of, lowered
from quotes.quoting.content_document import face
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
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
    written = takeoff_document(taken)
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
