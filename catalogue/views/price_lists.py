"""Prices: what is sold and bought, how it is priced, what a fence system still lacks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from catalogue import labels, queries
from catalogue.api.api_fields import columns, serialize_row
from catalogue.api.resources import RESOURCES, Resource
from catalogue.engine.completeness import missing_items
from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets.sample_catalogue import is_empty, load_sample_catalogue
from catalogue.views.list_cells import has_money, head_of, heads, rows_of
from catalogue.views.record_form import RecordForm, choices_of, stored_record
from catalogue.views.systems import in_names
from catalogue.views.tabs import ONE, WORDS, parts_line, visible
from fencing.model.faults import InvalidDocument
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.dates import today
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.forms import PageForm, PageTextField, entries
from shared.web.page_errors import PAGE_ERRORS
from shared.web.seen_version import acting_on

ORDER = {
    "components": ("role", "name"), "supplier-prices": ("component__name", "supplier__name", "-valid_from"),
    "price-rules": ("kind", "applies_to", "-valid_from"), "suppliers": ("name",),
    "supplier-terms": ("supplier__name", "-valid_from"),
    "finishes": ("name",),
}  # fmt: skip
A_PAGE = 100


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_READ)
def prices(request: MemberRequest) -> HttpResponse:
    """Show the missing items of fence systems and links to all lists; POST loads the sample catalogue into an empty one."""
    if request.method == "POST":
        return _stock(request)
    may_write = request.actor.may(Scope.CATALOGUE_WRITE)
    may_stock = may_write and request.actor.may(Scope.PRICES_WRITE) and is_empty(request.business)
    systems, names = [], labels.finish_words(request.business)
    for row in queries.systems(request.business).order_by("code"):
        try:
            missing = (
                [in_names(item, names) for item in missing_items(request.business, row.code)] if row.active else []
            )
        except InvalidDocument as refused:
            missing = [fault.text for fault in refused.faults]
        systems.append({"row": row, "lacks": missing})
    counts = [(name, WORDS[name], RESOURCES[name].rows(request.business).count()) for name in visible(request)]
    values = {"systems": systems, "counts": counts, "parts": parts_line(request), "may_write": may_write,
              "may_stock": may_stock}  # fmt: skip
    return render(request, "catalogue/prices.html", values)


def _stock(request: MemberRequest) -> HttpResponse:
    if not (request.actor.may(Scope.CATALOGUE_WRITE) and request.actor.may(Scope.PRICES_WRITE)):
        raise PermissionDenied
    try:
        load_sample_catalogue(request.business, actor=request.actor)
    except InvalidDocument as refused:
        messages.warning(request, str(refused), extra_tags="Not added")
    else:
        messages.success(
            request, "The sample catalogue is loaded. Its names and prices are invented: put yours in their place."
        )
    return redirect("prices")


@require_GET
@require_scope(Scope.CATALOGUE_READ)
def resource_list(request: MemberRequest, name: str) -> HttpResponse:
    """Rows of one kind, by words and day."""
    resource = _resource(request, name)
    asked = {key: value for key, value in request.GET.dict().items() if value and key in resource.parameters}
    fault = ""
    try:
        rows = resource.filter_rows(resource.rows(request.business), asked)
    except Problem as problem:
        rows, fault = resource.rows(request.business), "; ".join(error["detail"] for error in problem.errors)
    page = Paginator(rows.order_by(*ORDER[name], "id").values(*columns(resource.members)), A_PAGE).get_page(
        request.GET.get("page")
    )
    shown = rows_of(name, [serialize_row(resource.members, row) for row in page], request.business)
    values = {
        **_list_context(request, name),
        "heads": heads(name),
        "has_money": has_money(name),
        "rows": shown,
        "page": page,
        "filter": _filter_form(request.business, name, asked),
        "query": f"&{urlencode(asked)}" if asked else "",
        "locale": request.business.locale,
        "currency": request.business.currency,
        "fault": fault,
    }
    return render(request, "catalogue/list.html", values)


def _filter_form(business: Business, name: str, asked: Mapping[str, str]) -> PageForm:
    """Return the form that filters a list."""
    fields = {}
    for key in RESOURCES[name].parameters:
        choices = choices_of(business, key, needed=True)
        kind = "date" if key == "as_of" else "pick" if key == "component" else "select" if choices else "text"
        label = {"q": "Contains", "as_of": "Valid on"}.get(key) or head_of(name, key)
        fields[key] = PageTextField(label, kind, choices=(("", "All"), *choices) if kind == "select" else choices)
    return PageForm(fields=fields, initial={**asked})


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_READ)
def resource_row(request: MemberRequest, name: str, ref: str = "") -> HttpResponse:
    """One row to look at, change or remove; without a ref a new one."""
    resource = _resource(request, name)
    rows = resource.rows(request.business)
    initial = stored_record(resource, request.business, find(rows, ref).ref) if ref else _begun(request)
    removes = bool(ref) and request.POST.get("do") == "remove"
    form = RecordForm(resource, request.business, removes=removes, initial=initial, **entries(request))
    if request.method == "POST" and not request.actor.may(resource.write):
        raise PermissionDenied
    if form.is_valid():
        try:
            _write(request, form, ref)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Deleted." if removes else "Saved.")
            asked = request.POST.get("for", "")
            is_system = bool(asked) and queries.systems(request.business).filter(ref=asked).exists()
            return redirect("fence-system", asked) if is_system else redirect("prices-list", name)
    row = find(rows, ref) if ref else None
    values = {
        **_list_context(request, name),
        "form": form,
        "ref": ref,
        "title": _title(request.business, name, ref) if ref else f"New {ONE[name]}",
        "wanted": (request.POST if request.method == "POST" else request.GET).get("for", ""),
        "row": row,
        "facts": _facts(resource)(row) if row else None,
    }
    return render(request, "catalogue/row.html", values, status=form.status)


def _begun(request: MemberRequest) -> dict[str, str]:
    """Return the first values of a new record: those of the link, and today."""
    asked = {key: value[:200] for key, value in request.GET.dict().items() if value}
    return {"sale_unit": "C62", "valid_from": str(today(request.business)), **asked}


def _write(request: MemberRequest, form: RecordForm, ref: str) -> None:
    resource, actor = form.resource, request.actor
    if not ref:
        with transaction.atomic():
            resource.add(resource.model(business=request.business), actor=actor, values=form.cleaned_data)
        return
    with acting_on(request, resource.rows(request.business), ref, _facts(resource)) as row:
        if form.removes:
            resource.remove(row, actor=actor)
        else:
            resource.change(row, actor=actor, values=form.cleaned_data)


def _facts(resource: Resource) -> Callable[[Any], dict[str, str]]:
    """Return a function that gives the values of a record as its form shows them, by label."""
    return lambda row: RecordForm(
        resource, row.business, initial=stored_record(resource, row.business, row.ref)
    ).facts()


def _title(business: Business, name: str, ref: str) -> str:
    """Return the title of a record: the first column of its list."""
    cell = rows_of(name, [stored_record(RESOURCES[name], business, ref)], business)[0]["cells"][0]
    return f"{cell.text or cell.code}"


def _resource(request: MemberRequest, name: str) -> Resource:
    if name not in WORDS:
        raise Http404
    if not request.actor.may(RESOURCES[name].read):
        raise PermissionDenied
    return RESOURCES[name]


def _list_context(request: MemberRequest, name: str) -> dict[str, Any]:
    may_write = request.actor.may(RESOURCES[name].write)
    return {
        "name": name,
        "word": WORDS[name],
        "one": ONE[name],
        "parts": parts_line(request),
        "may_write": may_write,
        "sheet": name.replace("-", "_") if name.replace("-", "_") in set(ImportKind) else "",
    }
