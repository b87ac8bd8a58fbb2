"""A job's materials afterwards: quoted against ordered and used, and what came back put into the yard again."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from catalogue.models import Component
from catalogue.queries import components
from fencing.buying.purchase_lines import plain
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.roles import name_role
from quotes.jobs import queries
from quotes.jobs.models import Job
from quotes.purchasing.stock_services import ReturnedMaterial, add_returns_to_stock, leftovers
from quotes.quoting.price_summary import compare_built
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, error_status, error_text
from shared.web.seen_version import acting_on

MAX_SKUS = 1_000
LONGEST = 100_000
"""Largest length that can be entered [mm]."""


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.PRICES_READ)
def materials(request: MemberRequest, ref: str) -> HttpResponse:
    """Compare the quoted, ordered and used quantity of each role. POST adds the crew's returns to stock, each once."""
    rows = queries.jobs(request.business).select_related("business", "site")
    job = find(rows, ref)
    if request.method != "POST":
        return _sheet(request, job)
    if not request.actor.may(Scope.STOCK_WRITE):
        raise PermissionDenied
    try:
        with acting_on(request, rows, ref, _return_facts, exact=True) as job:
            items = add_returns_to_stock(job=job, actor=request.actor, named=_resolve_components(request, job))
    except PAGE_ERRORS as refused:
        return _sheet(request, find(rows, ref), error_text(refused), error_status(refused))
    text = "Added to stock." if items else "Nothing was added. Select the component of each item."
    messages.success(request, text)
    return redirect("job-materials", ref)


def _return_facts(job: Job) -> dict[str, str]:
    """Return what the crew brought back from a job and whether it is in stock, by label."""
    return {
        f"Return {index}, {_words(item)}": f"{plain(item.entry.quantity)}, {'in stock' if item.lies else 'not added'}"
        for index, item in enumerate(leftovers(job), 1)
    }


def _resolve_components(request: MemberRequest, job: Job) -> dict[str, tuple[Component, int | None]]:
    """Component and length of what the crew named by its role alone. Refused with every fault."""
    named: dict[str, tuple[Component, int | None]] = {}
    faults: list[Fault] = []
    skus = {str(value).strip() for name, value in request.POST.items() if name.startswith("sku-")}
    known = {row.sku: row for row in components(request.business).select_related("business").filter(sku__in=skus)}
    for item in leftovers(job):
        ref = item.entry.ref
        sku, length = (request.POST.get(f"{name}-{ref}", "").strip() for name in ("sku", "length"))
        if item.component or item.lies or not sku:
            continue
        if sku not in known:
            faults.append(Fault(f"/{ref}/component", "unknown", f"There is no component {sku}. Choose a listed one."))
        elif length and not _is_length(length):
            text = f"Length {length}: enter whole millimetres up to {LONGEST}."
            faults.append(Fault(f"/{ref}/length_mm", "range", text))
        else:
            named[ref] = known[sku], int(length) if length else None
    if faults:
        raise InvalidDocument(faults)
    return named


def _is_length(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 9 and 0 < int(text) <= LONGEST


def _sheet(request: MemberRequest, job: Job, fault: str = "", status: int = 200) -> HttpResponse:
    brought = leftovers(job)
    waiting = [item for item in brought if not item.lies]
    may_put_in = request.actor.may(Scope.STOCK_WRITE) and bool(waiting)
    unnamed = any(item.component is None for item in waiting)
    data: dict[str, Any] = {
        "job": job,
        "facts": _return_facts(job),
        "fault": fault,
        "brought": [(item, _words(item), request.POST.get(f"sku-{item.entry.ref}", "")) for item in brought],
        "may_put_in": may_put_in,
        "skus": components(request.business).order_by("sku").values_list("sku", "name")[:MAX_SKUS] if unnamed else [],
        "locale": request.business.locale,
        "currency": request.business.currency,
    }
    try:
        compared = compare_built(job)
    except Problem as refused:  # nothing is agreed yet
        return render(request, "office/materials.html", {**data, "nothing": refused.detail}, status=status)
    rows = [{**row, "name": name_role(row["role"])} for row in compared["rows"]]
    return render(request, "office/materials.html", {**data, "rows": rows, "totals": compared["totals"]}, status=status)


def _words(one: ReturnedMaterial) -> str:
    return one.component.name if one.component else name_role(one.entry.role, one.entry.quantity)
