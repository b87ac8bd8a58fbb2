"""A fence system's page: its fields in sections, what it lacks beside them, its JSON as a second way to write it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any
from urllib.parse import urlencode

import orjson
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
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
from catalogue.views.system_form import Document, by_label, faults_of, parts, read_fields, read_form, shown
from catalogue.views.tabs import parts_line
from fencing.model.faults import Fault, InvalidDocument
from fencing.reading import read_json, read_system
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.json_encoder import write_json
from shared.common.problems import Problem, from_validation
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, PageError, error_status, error_text
from shared.web.seen_version import acting_on

ACTIONS = ("default", "end", "revive")


@dataclass(frozen=True, slots=True)
class SystemPageState:
    """Data of the page: entered fields, errors by field, missing items, entered JSON, and the base version."""

    texts: Mapping[str, str]
    number: int
    faults: Mapping[str, str] = field(default_factory=dict)
    document: str = ""
    lacks: list[MissingItem] | None = None
    tried: bool = False


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_READ)
def system(request: MemberRequest, ref: str) -> HttpResponse:
    """Show or change a stored fence system."""
    row = find(queries.systems(request.business), ref)
    last = queries.system_version(request.business, row.code)
    if request.method != "POST":
        return _page(request, row, SystemPageState(shown(last.document), last.number, lacks=_lacks(last)))
    if not request.actor.may(Scope.CATALOGUE_WRITE):
        raise PermissionDenied
    if request.POST.get("do") in ACTIONS:
        return _change(request, row, SystemPageState(shown(last.document), last.number, lacks=_lacks(last)))
    return _save(request, row, last)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_WRITE)
def new_system(request: MemberRequest) -> HttpResponse:
    """Show or save a new fence system, as a copy of another if one is given."""
    model = request.GET.get("from") or request.POST.get("model") or ""
    like = find(queries.systems(request.business), model) if model else None
    base = queries.system_version(request.business, like.code).document if like else {}
    if request.method == "POST":
        return _save(request, None, FenceSystemVersion(business=request.business, number=0, document=base), model)
    texts = shown(base) | {"code": "", "label": ""}
    return _page(request, None, SystemPageState(texts, 0), model)


def _change(request: MemberRequest, row: FenceSystem, seen: SystemPageState) -> HttpResponse:
    """Make a system the default, deactivate it or reactivate it."""
    action = request.POST["do"]
    values = {"is_default": True, "active": True} if action == "default" else {"active": action == "revive"}
    try:
        with acting_on(request, queries.systems(request.business), row.ref, _facts) as row:
            services.change_system(system=row, actor=request.actor, values=values)
    except PAGE_ERRORS as refused:
        return _page(request, row, _with(seen, {"": error_text(refused)}), status=error_status(refused))
    data = {
        "default": "Set as default for new measures.",
        "end": "Deactivated. New measures cannot use it.",
        "revive": "Reactivated.",
    }
    messages.success(request, data[action])
    return redirect("fence-system", row.ref)


def _with(seen: SystemPageState, faults: Mapping[str, str]) -> SystemPageState:
    return SystemPageState(seen.texts, seen.number, faults, seen.document, seen.lacks)


def _facts(row: FenceSystem) -> dict[str, str]:
    """Return the status and every field of a fence system, by label."""
    status = ", ".join(text for text, holds in (("default", row.is_default), ("inactive", not row.active)) if holds)
    return {"Status": status or "active", **by_label(queries.system_version(row.business, row.code).document)}


def _save(request: MemberRequest, row: FenceSystem | None, last: FenceSystemVersion, model: str = "") -> HttpResponse:
    """Save the next version, or only check it. If it is rejected, show the page with all entries."""
    as_json = request.POST.get("do") == "json"
    texts = shown(last.document) if as_json else read_fields(request.POST) | ({"code": row.code} if row else {})
    raw = request.POST.get("document", "") if as_json else ""
    try:
        document = _read_raw(raw) if as_json else read_form(texts, last.document)
        tried = FenceSystemVersion(business=request.business, number=last.number + 1, document=_plain(document))
        if request.POST.get("do") == "check":
            return _page(request, row, SystemPageState(texts, last.number, lacks=_lacks(tried), tried=True), model)
        saved = _store(request, row, document)
    except (*PAGE_ERRORS, ValidationError) as fault:
        status = 422 if isinstance(fault, ValidationError) else error_status(fault)
        state = SystemPageState(texts, last.number, _faults(fault, as_json=as_json), raw)
        return _page(request, row, state, model, status)
    same = saved.number == last.number
    messages.success(
        request, "No changes to save." if same else f"Version {saved.number} saved. Older quotes keep their version."
    )
    return redirect("fence-system", saved.system.ref)


def _store(request: MemberRequest, row: FenceSystem | None, document: Document) -> FenceSystemVersion:
    store = partial(services.store_system, business=request.business, actor=request.actor, document=document)
    if row is None:
        with transaction.atomic():
            return store(system=None)
    with acting_on(request, queries.systems(request.business), row.ref, _facts) as locked:
        return store(system=locked)


def _faults(fault: PageError | ValidationError, *, as_json: bool) -> dict[str, str]:
    """Return the errors by field. A document entered as JSON has no fields, so its errors are in one line."""
    if isinstance(fault, Problem):
        return {"": fault.detail}
    if isinstance(fault, ValidationError):
        return {error["pointer"].removeprefix("#/"): error["detail"] for error in from_validation(fault).errors}
    if as_json:
        return {"": "; ".join(f"{item.pointer} {item.text}".strip() for item in fault.faults)}
    return faults_of(fault)


def _read_raw(text: str) -> Document:
    document = read_json(text)
    if not isinstance(document, dict):
        raise InvalidDocument([Fault("", "type", "A fence system is a JSON object.")])
    return document


def _plain(document: Document) -> Document:
    """As it would be stored; refused where it would be."""
    read_system(document)
    plain: Document = orjson.loads(write_json(document))
    return plain


def _lacks(version: FenceSystemVersion) -> list[MissingItem]:
    try:
        return lacks_of(version)
    except InvalidDocument as refused:
        return [MissingItem(fault.code, "", None, fault.text) for fault in refused.faults]


def _page(
    request: MemberRequest, row: FenceSystem | None, seen: SystemPageState, model: str = "", status: int = 422
) -> HttpResponse:
    may_write = request.actor.may(Scope.CATALOGUE_WRITE)
    made = parts(seen.texts, seen.faults, _sold(request.business), new=row is None)
    named = {box.name: (box, part) for part in made for box in (*part.boxes, *part.more)}
    values = {
        "system": row,
        "facts": _facts(row) if row else None,
        "seen": seen,
        "next": seen.number + 1,
        "sections": made,
        "faulty": [(*named[path], text) for path, text in seen.faults.items() if path in named],
        "loose": [text for path, text in seen.faults.items() if path not in named],
        "lacks": _ways(request.business, seen.lacks or [], row),
        "document": seen.document or (_json(request.business, row) if row else ""),
        "model": model,
        "may_write": may_write,
        "parts": parts_line(request),
    }
    return render(request, "catalogue/system.html", values, status=status if seen.faults else 200)


def _json(business: Business, row: FenceSystem) -> str:
    return orjson.dumps(queries.system_version(business, row.code).document, option=orjson.OPT_INDENT_2).decode()


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
