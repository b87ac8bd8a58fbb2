"""Measure page: entries are saved, drawn and priced at once. Every button works without script too."""

from __future__ import annotations

import re
import secrets
from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_http_methods, require_safe

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs import queries
from quotes.jobs.measure_services import adopt_draft, start_measure
from quotes.jobs.models import StoredMeasure
from quotes.office.measure_drafts import EditConflict, EditingPage, current_document, offered, save_entries
from quotes.office.measure_edits import CORNER_TURN_DEG, apply_edit
from quotes.office.measure_fields import SheetFields, sheet_fields
from quotes.office.measure_form import read_fields
from quotes.office.measure_preview import MeasurePreview, draw, in_words, ways_of
from quotes.office.notice_fixes import notices_of
from quotes.office.run_fields import LAYOUT_CHOICES, turn_field
from shared.business.roles import Scope
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find

_A_LENGTH = re.compile(r"write a whole number of mm from -?\d+ to \d+")
_BOOK = re.compile(r"a levelling book is a list of 2 to \d+ rows\Z")
WORKER = settings.ROOT / "quotes" / "office" / "static" / "office" / "offline-worker.js"


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.MEASURES_READ)
def of_job(request: MemberRequest, ref: str) -> HttpResponse:
    """Redirect to a job's measure. Start the first one if there is none."""
    job = find(queries.jobs(request.business), ref)
    measure = queries.measures(request.business).filter(job=job).order_by("-id").first()
    if measure is None:
        _may_write(request)
        measure = start_measure(job=job, actor=request.actor)
    return redirect("measure", measure.ref)


@gzip_page
@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.MEASURES_READ)
def measure(request: MemberRequest, ref: str) -> HttpResponse:
    """Show the measure page, or process its form."""
    row = find(queries.measures(request.business).select_related("job__customer", "job__site", "business"), ref)
    if request.method == "POST":
        _may_write(request)
        return _edit_draft(request, row)
    document = current_document(row)
    drawn = _drawn(request, row, document)
    opened = _whole(request.GET.get("open", ""))
    return _answer(request, row, document, drawn, "office/measure.html", page=secrets.token_hex(8), opened=opened)


@require_safe
@require_scope(Scope.MEASURES_READ)
def run_fields(request: MemberRequest, ref: str, place: int) -> HttpResponse:
    """Show the additional fields of one run, which a page with many runs leaves out."""
    row = find(queries.measures(request.business), ref)
    document = current_document(row)
    runs = sheet_fields(document, offered(request.business, document.get("system")), place).runs
    if place >= len(runs):
        raise Http404
    data = {"run": runs[place], "measure": row, "may_write": request.actor.may(Scope.MEASURES_WRITE)}
    return render(request, "office/run_fields.html", data)


@require_safe
@require_scope(Scope.MEASURES_READ)
def options(request: MemberRequest, ref: str, place: int) -> HttpResponse:
    """List every build option of one run with its price."""
    row = find(queries.measures(request.business).select_related("job"), ref)
    document = current_document(row)
    try:
        found = ways_of(request.business, document, place)
    except InvalidDocument as refused:
        return render(
            request, "office/measure_options.html", {"faults": refused.faults, "place": place, "measure": row}
        )
    except IndexError:
        raise Http404 from None
    run = document["runs"][place]
    best = f"Best option for each slope method, run {run['id']} only: materials and labour, before tax."
    tables = [
        (best, [way for way in found if way.leads]),
        ("Sorted by must-fix notices, then cost.", [way for way in found if not way.leads]),
    ]
    data = {"tables": tables, "count": len(found), "place": place, "run": run, "measure": row}
    data |= {"job": row.job, "layouts": dict(LAYOUT_CHOICES)}
    name = "office/measure_options.html" if request.htmx else "office/measure_options_page.html"  # type: ignore[attr-defined]  # HtmxMiddleware
    return render(request, name, data)


@require_safe
def offline_worker(request: Any) -> HttpResponse:
    """Return the service worker. Its address is at the root because measure and build pages share it."""
    response = HttpResponse(WORKER.read_bytes(), content_type="text/javascript; charset=utf-8")
    response["Cache-Control"] = "no-cache"
    return response


def _edit_draft(request: MemberRequest, row: StoredMeasure) -> HttpResponse:
    """Read the fields, apply the edit, save the draft, and return the changes."""
    action = request.POST.get("do", "draw")
    document = read_fields(_posted(request, action), current_document(row))
    taken = _drawn(request, row, document, priced=False).taken if action.startswith("gate-in:") else None
    reshaped = apply_edit(document, action, taken)
    drawn = _drawn(request, row, document)
    hand = EditingPage(request.POST.get("page", "")[:32], _whole(request.POST.get("version", "")))
    over = action == "keep-mine" and request.POST.get("over") == str(row.version)
    try:
        row = save_entries(row, document, drawn.faults, hand, request.session, over=over)
    except EditConflict:
        return _conflict(request, row, document, drawn, hand)
    if action == "keep" and not drawn.faults:
        return _save_version(request, row)
    if not request.htmx:  # type: ignore[attr-defined]  # HtmxMiddleware
        return redirect("measure", row.ref)
    whole = reshaped or action in ("restore", "keep-mine")
    return _answer(
        request,
        row,
        document,
        drawn,
        "office/measure_changes.html",
        page=hand.page,
        whole=whole,
        asked=action == "keep",
    )


def _posted(request: MemberRequest, action: str) -> dict[str, str]:
    """Return the entered fields, with the value that a fix enters into one of them."""
    typed = {name: str(value) for name, value in request.POST.items()}
    name, is_fix, value = action.removeprefix("fix:").partition("=")
    return typed | {name: value} if action.startswith("fix:") and is_fix else typed


def _save_version(request: MemberRequest, row: StoredMeasure) -> HttpResponse:
    if row.draft:
        adopt_draft(measure=row, actor=request.actor)
    if not request.htmx:  # type: ignore[attr-defined]  # HtmxMiddleware
        return redirect("takeoff", row.ref)
    response = HttpResponse(status=204)
    response["HX-Redirect"] = reverse("takeoff", args=[row.ref])
    return response


def _conflict(
    request: MemberRequest, row: StoredMeasure, document: dict[str, Any], drawn: MeasurePreview, hand: EditingPage
) -> HttpResponse:
    """Show both versions of a measure. Nothing is saved until the user chooses one."""
    row.refresh_from_db()
    theirs = _drawn(request, row, current_document(row), priced=False)
    data: dict[str, Any] = {
        "mine": _in_words(drawn),
        "theirs": _in_words(theirs),
        "over": row.version,
        "theirs_at": row.draft_at,
    }
    if request.htmx:  # type: ignore[attr-defined]  # HtmxMiddleware
        response = render(request, "office/measure_conflict.html", {**data, "measure": row, "oob": True})
    else:
        response = _answer(request, row, document, drawn, "office/measure.html", page=hand.page, conflict=data, **data)
    response.status_code = 409
    return response


def _answer(
    request: MemberRequest,
    row: StoredMeasure,
    document: dict[str, Any],
    drawn: MeasurePreview,
    template: str,
    opened: int | None = None,
    **extra: Any,
) -> HttpResponse:
    fields = sheet_fields(document, offered(request.business, document.get("system")), opened)
    new = not (row.latest_version or row.draft or extra.get("asked")) and not drawn.taken
    faults = [] if new else placed(fields, drawn.faults)  # a new measure shows no errors before the first entry
    context = {
        "measure": row,
        "job": row.job,
        "document": document,
        "fields": fields,
        "turn": turn_field("runs/0", CORNER_TURN_DEG),
        "drawn": drawn,
        "faults": faults,
        "new": new,
        "unbuilt": not any(code for item in fields.job if item.name == "system" for code, _ in item.choices),
        "may_build": request.actor.may(Scope.CATALOGUE_WRITE),
        "fault_of": {name: text for name, _, text in faults},
        "notices": [(row, notices_of(drawn.taken, drawn.notices, row.id)) for row in fields.rows],
        "faulty": {
            run.place for run in fields.runs if {item.name for item in run.more} & {name for name, _, _ in faults}
        },
        "opened": opened,
        "may_write": request.actor.may(Scope.MEASURES_WRITE),
        **extra,
    }
    return render(request, template, context)


def placed(fields: SheetFields, faults: tuple[Fault, ...]) -> list[tuple[str, str, str]]:
    """Return the field name, the field's id and the text of every error, with labels in place of member names."""
    labels = {field.name: field.label for field in fields.all()}
    found = []
    for fault in faults:
        name = fields.place_of(fault.pointer)
        if name == "system":
            continue
        member = fault.pointer.rpartition("/")[2]
        text = _A_LENGTH.sub("enter a length, such as 18.24, 18,24 m or 18240", fault.text)
        text = _BOOK.sub("enter the first readings: a backsight, then one reading for each point", text)
        if "_" in member:  # where many runs hide the field, its own words do
            there = name.endswith(f"/{member}")
            text = text.replace(member, labels[name] if there else member.removesuffix("_mm").replace("_", " "), 1)
        found.append((name, "f-" + name.replace("/", "-") if name else "", text[:1].upper() + text[1:]))
    return [*_unbuilt(fields, faults), *found]


def _unbuilt(fields: SheetFields, faults: tuple[Fault, ...]) -> list[tuple[str, str, str]]:
    """Return the errors of the fence system: one if none is chosen, else those of the chosen system."""
    data = [fault for fault in faults if fields.place_of(fault.pointer) == "system"]
    chosen = next(item for item in fields.job if item.name == "system")
    if not data:
        return []
    if chosen.value:
        return [("system", chosen.id, fault.text[:1].upper() + fault.text[1:]) for fault in data]
    words = (
        "Select a fence system."
        if any(code for code, _ in chosen.choices)
        else "There is no fence system yet. Add one on the Prices page."
    )
    return [("system", chosen.id, words)]


def _drawn(
    request: MemberRequest, row: StoredMeasure, document: dict[str, Any], *, priced: bool = True
) -> MeasurePreview:
    narrow = "narrow" in request.POST or "narrow" in request.COOKIES or "Mobi" in request.headers.get("User-Agent", "")
    live = request.POST.get("live", "")[:40] or None
    priced = priced and request.actor.may(Scope.QUOTES_READ)
    returning = priced and queries.is_returning(row.job)
    return draw(request.business, document, live=live, priced=priced, returning=returning, narrow=narrow)


def _in_words(drawn: MeasurePreview) -> str:
    return in_words(drawn.taken) if drawn.taken else "\n".join(fault.text for fault in drawn.faults)


def _may_write(request: MemberRequest) -> None:
    if not request.actor.may(Scope.MEASURES_WRITE):
        raise PermissionDenied


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 18 else -1
