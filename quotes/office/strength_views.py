"""Views of the strength panel: lower a run, and download the screening annex."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fencing.documents.takeoff_document import takeoff_document
from fencing.model.faults import InvalidDocument
from quotes.documents.screening_annex import annex_pdf, place_of
from quotes.jobs import queries
from quotes.jobs.change_price_hooks import with_prices
from quotes.jobs.document_text import parsed
from quotes.jobs.measure_services import newest, save_measure
from quotes.jobs.takeoff_cache import take_off_measure
from quotes.office.strength_panel import curve_of, lowered
from quotes.quoting.content_document import face
from shared.api.etags import find
from shared.business.access import MemberRequest, require_scope
from shared.business.roles import Scope


@require_POST
@require_scope(Scope.MEASURES_WRITE)
def height(request: MemberRequest, ref: str) -> HttpResponse:
    """Save the measure with the suggested height for one run, unless it was changed in the meantime."""
    measure = find(queries.measures(request.business).select_related("job"), ref)
    version = newest(measure)
    run, typed = request.POST.get("run", ""), request.POST.get("height_mm", "")
    data = typed.isascii() and typed.isdigit() and len(typed) < 6
    if version is None or measure.draft_at or request.POST.get("version") != str(version.number) or not data:
        messages.warning(request, "The measure has changed. Check the suggested changes again.")
        return redirect(_panel(ref))
    try:
        save_measure(measure=measure, document=lowered(parsed(version.document), run, int(typed)), actor=request.actor)
    except InvalidDocument as refused:
        messages.error(request, " ".join(fault.text for fault in refused.faults[:4]))
    else:
        messages.success(request, f"Height of run {run} set to {typed} mm. The earlier version is in the history.")
    return redirect(_panel(ref))


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
        place=place_of({"address": job.site.address, "city": job.site.city}),
        made=now,
    )
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="screening-{job.number}-{version.number}.pdf"'
    response["Cache-Control"] = "no-store"
    return response


def _panel(ref: str) -> str:
    return reverse("takeoff", args=[ref]) + "#strength"
