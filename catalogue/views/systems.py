"""A fence system's page: its fields in sections, what it lacks beside them, its JSON as a second way to write it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any
from urllib.parse import urlencode

import orjson
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from catalogue import queries, services
from catalogue.engine import engine_input
from catalogue.engine.completeness import MissingItem, lacks_of
from catalogue.labels import finish_words, role_word
from catalogue.models import FenceSystem, FenceSystemVersion
from catalogue.views.system_form import Document, FenceSystemForm
from catalogue.views.tabs import parts_line
from fencing.model.faults import Fault, InvalidDocument
from fencing.reading import read_json
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.json_encoder import write_json
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS
from shared.web.seen_version import acting_on

ACTIONS = {
    "default": "Set as default for new measures.",
    "end": "Deactivated. New measures cannot use it.",
    "revive": "Reactivated.",
}
"""Changes of the status, and what is shown after each."""


@dataclass(frozen=True, slots=True)
class SystemPageState:
    """Data of the page: the form, the last version, the entered JSON, and the missing items of the version or the entries."""

    form: FenceSystemForm
    number: int
    document: str = ""
    lacks: list[MissingItem] | None = None
    tried: bool = False


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_READ)
def system(request: MemberRequest, ref: str) -> HttpResponse:
    """Show or change a stored fence system."""
    row = find(queries.systems(request.business), ref)
    last = queries.system_version(request.business, row.code)
    if request.method == "POST":
        if not request.actor.may(Scope.CATALOGUE_WRITE):
            raise PermissionDenied
        action = request.POST.get("do", "")
        return _change(request, row, last) if action in ACTIONS else _save(request, row, last)
    form = FenceSystemForm(last.document, _sold(request.business))
    return _page(request, row, SystemPageState(form, last.number, lacks=_lacks(last)))


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_WRITE)
def new_system(request: MemberRequest) -> HttpResponse:
    """Show or save a new fence system, as a copy of another if one is given."""
    model = request.GET.get("from") or request.POST.get("model") or ""
    like = find(queries.systems(request.business), model) if model else None
    base = dict(queries.system_version(request.business, like.code).document) if like else {}
    for name in ("code", "label"):
        base.pop(name, None)
    if request.method == "POST":
        return _save(request, None, FenceSystemVersion(business=request.business, number=0, document=base), model)
    return _page(request, None, SystemPageState(FenceSystemForm(base, _sold(request.business)), 0), model)


def _change(request: MemberRequest, row: FenceSystem, last: FenceSystemVersion) -> HttpResponse:
    """Make a system the default, deactivate it or reactivate it."""
    action = request.POST["do"]
    values = {"is_default": True, "active": True} if action == "default" else {"active": action == "revive"}
    try:
        with acting_on(request, queries.systems(request.business), row.ref, _facts) as row:
            services.change_system(system=row, actor=request.actor, values=values)
    except PAGE_ERRORS as refused:
        form = FenceSystemForm(last.document, _sold(request.business))
        form.refuse(refused)
        return _page(request, row, SystemPageState(form, last.number, lacks=_lacks(last)))
    messages.success(request, ACTIONS[action])
    return redirect("fence-system", row.ref)


def _facts(row: FenceSystem) -> dict[str, str]:
    """Return the status and every field of a fence system, by label."""
    status = ", ".join(text for text, holds in (("default", row.is_default), ("inactive", not row.active)) if holds)
    document = queries.system_version(row.business, row.code).document
    return {"Status": status or "active", **FenceSystemForm(document).facts()}


def _save(request: MemberRequest, row: FenceSystem | None, last: FenceSystemVersion, model: str = "") -> HttpResponse:
    """Save the next version, or only check it. If it is rejected, show the page with all entries."""
    action = request.POST.get("do", "")
    if action == "json":
        return _save_json(request, row, last, model)
    form = FenceSystemForm(last.document, _sold(request.business), data=request.POST)
    if form.is_valid() and action == "check":
        plain = orjson.loads(write_json(form.document))
        tried = FenceSystemVersion(business=request.business, number=last.number + 1, document=plain)
        return _page(request, row, SystemPageState(form, last.number, lacks=_lacks(tried), tried=True), model)
    if form.is_valid():
        try:
            return _store(request, row, last, form.document)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
    return _page(request, row, SystemPageState(form, last.number), model)


def _save_json(request: MemberRequest, row: FenceSystem | None, last: FenceSystemVersion, model: str) -> HttpResponse:
    """Save the document as entered. It has no fields, so its errors are in one line."""
    form, text = FenceSystemForm(last.document, _sold(request.business)), request.POST.get("document", "")
    try:
        document = read_json(text)
        if not isinstance(document, dict):
            raise InvalidDocument([Fault("", "type", "A fence system is a JSON object.")])
        return _store(request, row, last, document)
    except InvalidDocument as refused:
        form.add_error(None, "; ".join(f"{item.pointer} {item.text}".strip() for item in refused.faults))
    except PAGE_ERRORS as refused:
        form.refuse(refused)
    return _page(request, row, SystemPageState(form, last.number, text), model)


def _store(
    request: MemberRequest, row: FenceSystem | None, last: FenceSystemVersion, document: Document
) -> HttpResponse:
    store = partial(services.store_system, business=request.business, actor=request.actor, document=document)
    if row is None:
        with transaction.atomic():
            saved = store(system=None)
    else:
        with acting_on(request, queries.systems(request.business), row.ref, _facts) as locked:
            saved = store(system=locked)
    text = f"Version {saved.number} saved. Older quotes keep their version."
    messages.success(request, "No changes to save." if saved.number == last.number else text)
    return redirect("fence-system", saved.system.ref)


def _lacks(version: FenceSystemVersion) -> list[MissingItem]:
    try:
        return lacks_of(version)
    except InvalidDocument as refused:
        return [MissingItem(fault.code, "", None, fault.text) for fault in refused.faults]


def _page(request: MemberRequest, row: FenceSystem | None, seen: SystemPageState, model: str = "") -> HttpResponse:
    form, sections = seen.form, seen.form.sections
    heading_of = {box.name: part.section.heading for part in sections for box in part.boxes + part.more}
    values = {
        "system": row,
        "facts": _facts(row) if row else None,
        "seen": seen,
        "form": form,
        "next": seen.number + 1,
        "sections": sections,
        "faulty": [(box, heading_of[box.name]) for box in form.faulty],
        "lacks": _ways(request.business, seen.lacks or [], row),
        "document": seen.document or orjson.dumps(form.before, option=orjson.OPT_INDENT_2).decode(),
        "model": model,
        "may_write": request.actor.may(Scope.CATALOGUE_WRITE),
        "parts": parts_line(request),
    }
    return render(request, "catalogue/system.html", values, status=form.status)


def _sold(business: Business) -> Mapping[str, list[tuple[str, str]]]:
    sold: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for article in engine_input.market(business).articles:
        sold[article.role].append((article.sku, f"{article.label} ({article.sku})"))
    return sold


def _ways(business: Business, lacks: list[MissingItem], row: FenceSystem | None) -> list[tuple[str, str, str]]:
    """Return the missing items as texts, each with the link to add it and its label."""
    names = finish_words(business)
    return [(in_names(lack, names), *_way(lack, names, row.ref if row else "")) for lack in lacks]


def in_names(lack: MissingItem, names: Mapping[str, str]) -> str:
    """Return the missing items, with finishes by name."""
    text, finish = lack.text, lack.finish or ""
    if finish in names:
        text = text.removesuffix(f" in {finish}") + f" in {names[finish]}"
    return text[:1].upper() + text[1:]


def _way(lack: MissingItem, names: Mapping[str, str], ref: str) -> tuple[str, str]:
    if lack.code == "component.missing":
        size = f" {lack.length}" if lack.length else ""
        place = f", {names.get(lack.finish, lack.finish)}" if lack.finish else ""
        given = {"role": lack.role, "finish": lack.finish or "", "length_mm": lack.length or "",
                 "label": f"{role_word(lack.role)}{size}{place}"}  # fmt: skip
        return _new("components", given, ref), "Add it"
    if lack.code == "price.missing":
        return _new("supplier-prices", {"component": lack.key}, ref), "Add a price"
    kind = {
        "labour.missing": "labour",
        "factor.missing": "factor",
        "markup.missing": "markup",
        "tax.missing": "tax" if lack.key else "tax_code_for",
    }.get(lack.code)
    if kind:
        return _new("price-rules", {"kind": kind, "applies_to": lack.key}, ref), "Add it"
    return (_new("finishes", {}, ref), "Add one") if lack.code == "finish.missing" else ("", "")


def _new(name: str, given: Mapping[str, Any], ref: str) -> str:
    return (
        reverse("prices-new", args=[name])
        + "?"
        + urlencode({key: value for key, value in {**given, "for": ref}.items() if value})
    )
