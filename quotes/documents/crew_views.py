"""Build page for the crew's phone: set-out in digging order, checklist that works offline, as-built entries.

The phone queues marks and entries without a connection and sends them later.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from fencing.model.faults import Fault, InvalidDocument
from fencing.model.roles import ROLES
from quotes.documents.kinds.set_out import crew_values
from quotes.jobs.as_built import ChecklistMark, record_built, take_back, tick, ticked
from quotes.jobs.models import BuiltKind, Job
from quotes.jobs.queries import as_built, jobs
from quotes.jobs.serializers import BuiltIn
from quotes.quoting import queries
from quotes.quoting.party_documents import crew_document
from quotes.quoting.totals import build_of
from shared.api.serializers import validated_data
from shared.business.actors import Actor
from shared.business.roles import Scope
from shared.common.typed_numbers import typed_number
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, error_status, error_text


@dataclass(frozen=True, slots=True)
class ChecklistItem:
    """An item of the checklist: a hole, bay or gate."""

    id: str
    done: bool


@require_GET
@require_scope(Scope.SET_OUT_READ)
def build(request: MemberRequest, ref: str) -> HttpResponse:
    """Show the build page, or a notice if no quote is accepted yet."""
    job = _job(request, ref)
    return render(request, "documents/build.html", _values(request, job))


@require_POST
@require_scope(Scope.AS_BUILT_WRITE)
def build_ticks(request: MemberRequest, ref: str) -> HttpResponse:
    """Save the checklist: JSON from the page's script, or the whole form without script."""
    job = _job(request, ref)
    is_json = request.content_type == "application/json"
    known = frozenset(_places(job))
    try:
        if is_json:
            return JsonResponse(_queue(request, job, known))
        tick(job=job, marks=_form_marks(request, job, known), known=known, actor=request.actor)
    except InvalidDocument as refused:
        texts = [fault.text for fault in refused.faults]
        if is_json:
            return JsonResponse({"faults": texts}, status=422)
        messages.error(request, " ".join(texts), extra_tags="Failed")
        return redirect("job-build", ref)
    messages.success(request, "Progress saved.")
    return redirect("job-build", ref)


def _queue(request: MemberRequest, job: Job, known: frozenset[str]) -> dict[str, Any]:
    """Save the queue of the page's script. Return the marks, the errors by entry and the new list of entries."""
    sent = read_sent(request.body)
    data: dict[str, Any] = {"marks": tick(job=job, marks=sent.marks, known=known, actor=request.actor)}
    if sent.entries:
        data["entries"] = keep_entries(job=job, entries=sent.entries, actor=request.actor)
        data["built"] = render_to_string(
            "documents/built_entries.html", {"job": job, **_entries(request, job)}, request
        )
    return data


@require_POST
@require_scope(Scope.AS_BUILT_WRITE)
def build_record(request: MemberRequest, ref: str) -> HttpResponse:
    """Record an as-built entry, or undo one."""
    job = _job(request, ref)
    try:
        if entry := request.POST.get("take_back", ""):
            take_back(entry=find(as_built(job).select_related("job", "business"), entry), actor=request.actor)
            messages.success(request, "Entry undone. Both entries stay on record.")
        else:
            record_built(job=job, actor=request.actor, **entry_values(request.POST))
            messages.success(request, "Recorded.")
    except PAGE_ERRORS as refused:
        values = {**_values(request, job), "refusal": error_text(refused)}
        return render(request, "documents/build.html", values, status=error_status(refused))
    return redirect("job-build", ref)


def _job(request: MemberRequest, ref: str) -> Job:
    return find(jobs(request.business).select_related("customer", "site", "business"), ref)


def _places(job: Job) -> list[str]:
    build = queries.agreed_build(job)
    if build is None:
        return []
    runs = build.takeoff["runs"]
    found = [item["id"] for run in runs for kind in ("posts", "bays", "gates") for item in run[kind]]
    found += [bay["id"] for item in build.takeoff.get("retrofits", []) for bay in item["bays"]]
    return list(dict.fromkeys(found))


def _form_marks(request: MemberRequest, job: Job, known: frozenset[str]) -> list[ChecklistMark]:
    """Return the marks that this form changes. Marks that others set in the meantime stay."""
    before, now = ticked(job), timezone.now()
    shown = frozenset(request.POST.getlist("was")) & known
    wanted = frozenset(request.POST.getlist("done")) & known
    changed = shown ^ wanted
    return [ChecklistMark(place, place in wanted, now) for place in changed if place in wanted or before.get(place)]


def _values(request: MemberRequest, job: Job) -> dict[str, Any]:
    revision = queries.agreed(job)
    base: dict[str, Any] = {"job": job, "page_light": "sun", "agreed": revision is not None}
    if revision is None:
        return base
    content, choices = queries.content_and_choices(revision)
    values = crew_values(crew_document(content, choices), content.dates.sent_at)
    done = {place for place, row in ticked(job).items() if row.done}
    runs = {  # the bays and gates; the holes have their own rows
        run["id"]: {
            kind: [ChecklistItem(item["id"], item["id"] in done) for item in run[kind]] for kind in ("bays", "gates")
        }
        for run in build_of(content, choices).takeoff["runs"]
    }
    places = _places(job)
    rows = [(sheet, runs.get(sheet.run, {})) for sheet in values["sheet"]["runs"]]
    return {
        **base,
        **values,
        "runs": rows,
        "done": done,
        "places": places,
        "count": len(places),
        "ticked": len(done & set(places)),
        "may_tick": request.actor.may(Scope.AS_BUILT_WRITE),
        **_entries(request, job),
        "typed": {name: request.POST.get(name, "") for name in _FIELDS},
        "kinds": BuiltKind.choices,
        "roles": [(role.code, role.plural.capitalize()) for role in ROLES.values()],
    }


def _entries(request: MemberRequest, job: Job) -> dict[str, Any]:
    return {
        "entries": as_built(job).order_by("-id")[:100],
        "taken": set(as_built(job).exclude(reverses=None).values_list("reverses_id", flat=True)),
        "may_record": job.state in ("accepted", "built") and request.actor.may(Scope.AS_BUILT_WRITE),
    }


MAX_MARKS: Final = 2_000
MAX_ENTRIES: Final = 200
_ID = re.compile(r"[0-9A-Za-z-]{8,40}")
_FIELDS: Final = ("kind", "role", "quantity", "location", "note")


@dataclass(frozen=True, slots=True)
class Sent:
    """One request of the queue."""

    marks: list[ChecklistMark]
    entries: Mapping[str, Mapping[str, Any]]


def read_sent(body: bytes) -> Sent:
    """Read the queue from JSON. Raise InvalidDocument if it does not have the page's format."""
    try:
        data = json.loads(body)
        marks = [
            ChecklistMark(
                str(mark["place"]), bool(mark["done"]), datetime.fromtimestamp(int(mark["at"]) / 1000, tz=UTC)
            )
            for mark in data["marks"][:MAX_MARKS]
        ]
        entries = {str(entry["id"]): {**entry} for entry in data.get("entries", [])[:MAX_ENTRIES]}
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, OSError):
        raise InvalidDocument(
            [Fault("/marks", "marks", "Send marks of place, done and at, and entries with an id.")]
        ) from None
    if not all(_ID.fullmatch(key) for key in entries):
        raise InvalidDocument([Fault("/entries", "id", "An entry needs an id of 8 to 40 letters, digits and hyphens.")])
    return Sent(marks, entries)


def keep_entries(*, job: Job, entries: Mapping[str, Mapping[str, Any]], actor: Actor) -> dict[str, list[str]]:
    """Record each entry on its own and return its errors by its id. An entry that is already recorded changes nothing."""
    return {key: _keep(job, key, entry, actor) for key, entry in entries.items()}


def _keep(job: Job, key: str, entry: Mapping[str, Any], actor: Actor) -> list[str]:
    try:
        if entry.get("take_back"):
            row = find(as_built(job).select_related("job", "business"), str(entry["take_back"]))
            take_back(entry=row, actor=actor)
        else:
            record_built(job=job, actor=actor, sent_as=key, **entry_values(entry))
    except Http404:
        return ["This entry is not on this job."]
    except PAGE_ERRORS as refused:
        return (
            [fault.text for fault in refused.faults] if isinstance(refused, InvalidDocument) else [error_text(refused)]
        )
    return []


def entry_values(typed: Mapping[str, Any]) -> dict[str, Any]:
    """Read the fields of the form. Raise InvalidDocument with every error."""
    data = {name: str(typed.get(name) or "").strip() for name in _FIELDS}
    data["quantity"] = typed_number(data["quantity"])
    if data["kind"] != BuiltKind.CHANGED and data["role"]:
        data["unit"] = "MTQ" if data["role"] == "concrete" else "C62"
    return dict(validated_data(BuiltIn, {name: value for name, value in data.items() if value}))
