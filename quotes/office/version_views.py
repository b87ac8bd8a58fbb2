"""Earlier versions of a measure: what was kept when and by whom, how each looked, and taking one up again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_http_methods, require_safe

from fencing.model.faults import InvalidDocument
from quotes.documents.number_format import by_locale
from quotes.jobs import queries
from quotes.jobs.document_text import parsed
from quotes.jobs.measure_services import newest, restore_version
from quotes.jobs.models import MeasureVersion, StoredMeasure
from quotes.jobs.takeoff_cache import take_off_measure
from quotes.office.measure_drafts import measure_facts
from quotes.office.measure_preview import NARROW, WIDE, elevation_of, in_words, plan_of
from quotes.office.takeoff_rows import moved_between
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.seen_version import acting_on

A_SHEET = 50


@dataclass(frozen=True, slots=True)
class VersionSummary:
    """One line of the list: the version, and its fence in short."""

    version: MeasureVersion
    runs: int
    length_mm: int


@require_safe
@require_scope(Scope.MEASURES_READ)
def versions(request: MemberRequest, ref: str) -> HttpResponse:
    """Every version that was kept, the newest first."""
    measure = find(queries.measures(request.business).select_related("job"), ref)
    rows = queries.versions(request.business).filter(measure=measure).order_by("-number")
    page = Paginator(rows, A_SHEET).get_page(request.GET.get("page"))
    data = {"measure": measure, "job": measure.job, "page": page, "kept": [_summarize(row) for row in page.object_list]}
    return render(request, "office/measure_versions.html", data)


def _summarize(version: MeasureVersion) -> VersionSummary:
    runs = parsed(version.document)["runs"]
    return VersionSummary(version, len(runs), sum(run["length_mm"] for run in runs))


@gzip_page
@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.MEASURES_READ)
def version(request: MemberRequest, ref: str, number: int) -> HttpResponse:
    """Show one version and the changes since it was saved. POST restores it as the draft."""
    measures = queries.measures(request.business).select_related("job", "business")
    measure = find(measures, ref)
    row = _get_version(measure, number)
    if request.method != "POST":
        return _sheet(request, row)
    if not request.actor.may(Scope.MEASURES_WRITE):
        raise PermissionDenied
    if measure.draft and not request.POST.get("drop"):
        return _sheet(request, row, "Unsaved changes would be lost. Select “Discard unsaved changes” to continue.", 422)
    try:
        with acting_on(request, measures, ref, measure_facts):
            restore_version(version=row)
    except Problem as refused:
        return _sheet(request, _get_version(measure, number), refused.detail, refused.status)
    messages.success(request, f"Version {number} is restored as the draft. Save the draft to create the next version.")
    return redirect("measure", ref)


def _get_version(measure: StoredMeasure, number: int) -> MeasureVersion:
    rows = queries.versions(measure.business).select_related("measure__job", "measure__business")
    row = rows.filter(measure=measure, number=number).first()
    if row is None:
        raise Http404
    return row


def _sheet(request: MemberRequest, row: MeasureVersion, fault: str = "", status: int = 200) -> HttpResponse:
    measure = row.measure
    data: dict[str, Any] = {
        "measure": measure,
        "facts": measure_facts(measure),
        "job": measure.job,
        "version": row,
        "fault": fault,
        "may_take_up": request.actor.may(Scope.MEASURES_WRITE)
        and (row.number != measure.latest_version or measure.draft_at),
    }
    return render(request, "office/measure_version.html", {**data, **_drawn(request, row)}, status=status)


def _drawn(request: MemberRequest, row: MeasureVersion) -> Mapping[str, Any]:
    """Return the drawings of the version with today's catalogue, or its errors, and the difference to the latest version."""
    width = NARROW if "narrow" in request.COOKIES else WIDE
    try:
        taken = take_off_measure(request.business, parsed(row.document)).takeoff
    except InvalidDocument as refused:
        return {"faults": refused.faults}
    with by_locale(request.business.locale):
        data = {"words": in_words(taken), "plan": plan_of(taken, width), "elevation": elevation_of(taken, width)}
    last = newest(row.measure)
    if last is None or last.number == row.number:
        return data
    try:
        now = take_off_measure(request.business, parsed(last.document)).takeoff
    except InvalidDocument:  # its own page shows the errors
        return data
    return {**data, "moved": moved_between(taken, now)}
