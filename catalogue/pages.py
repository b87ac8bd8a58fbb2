"""Prices: what is sold and bought, how it is priced, spreadsheets in and out, what a fence system still lacks."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from typing import Any

import orjson
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from catalogue import queries, services
from catalogue.codes import ImportKind
from catalogue.completeness import lacks
from catalogue.models import FenceSystemVersion
from catalogue.resource_form import boxes, read_typed, stored, word
from catalogue.resources import RESOURCES, Resource
from catalogue.rows import columns, told
from catalogue.sheets import exporting, importing
from catalogue.sheets.refusing import MOST_BYTES, SheetRefusedError
from catalogue.sheets.taking_in import dry_run, report
from fencing.faults import Fault, Refused
from shared.boxes import faults_by_pointer, unplaced
from shared.business.doors import MemberRequest, needs
from shared.business.roles import Scope
from shared.conditional import find
from shared.problems import Problem, from_validation
from shared.reading import read

SHEETS = {"components": "components", "offers": "offers", "price-rules": "price_rules"}
WORDS = {
    "components": "Components", "offers": "Offers", "price-rules": "Price rules", "suppliers": "Suppliers",
    "supplier-terms": "Supplier terms", "finishes": "Finishes",
}  # fmt: skip
SHOWN: Mapping[str, tuple[str, ...]] = {
    "components": ("sku", "label", "role", "finish", "length_mm", "sale_unit"),
    "offers": ("component", "supplier", "price", "least_quantity", "valid_from", "valid_to"),
    "price-rules": ("kind", "key", "amount", "choice", "label", "valid_from", "valid_to"),
    "suppliers": ("code", "name", "email", "phone", "preferred", "active"),
    "supplier-terms": ("supplier", "valid_from", "least_order", "lead_days"),
    "finishes": ("code", "name", "active"),
}
NUMBERS = frozenset({"length_mm", "price", "least_quantity", "amount", "least_order", "lead_days"})
A_PAGE = 100
MOST_CARRIED = 1_000_000


@require_GET
@needs(Scope.CATALOGUE_READ)
def prices(request: MemberRequest) -> HttpResponse:
    """What fence systems still lack, and the way to everything else."""
    systems = []
    for row in queries.systems(request.business).order_by("code"):
        try:
            missing = [one.text for one in lacks(request.business, row.code)] if row.active else []
        except Refused as refused:
            missing = [fault.text for fault in refused.faults]
        systems.append({"row": row, "lacks": missing})
    counts = [(name, WORDS[name], RESOURCES[name].rows(request.business).count()) for name in _visible(request)]
    return render(request, "catalogue/prices.html", {"systems": systems, "counts": counts, "parts": _parts(request)})


@require_GET
@needs(Scope.CATALOGUE_READ)
def resource_list(request: MemberRequest, name: str) -> HttpResponse:
    """Rows of one kind, by words and day."""
    resource = _resource(request, name)
    asked = {key: value for key, value in request.GET.dict().items() if value and key in resource.parameters}
    fault = ""
    try:
        rows = resource.narrow(resource.rows(request.business), asked)
    except Problem as problem:
        rows, fault = resource.rows(request.business), "; ".join(error["detail"] for error in problem.errors)
    page = Paginator(rows.order_by("-id").values(*columns(resource.members)), A_PAGE).get_page(request.GET.get("page"))
    shown = [_cells(name, told(resource.members, row)) for row in page]
    values = {
        **_named(request, name),
        "heads": [(word(one), one in NUMBERS) for one in SHOWN[name]],
        "rows": shown,
        "page": page,
        "asked": [(key, word(key), asked.get(key, "")) for key in resource.parameters],
        "query": "".join(f"&{key}={value}" for key, value in asked.items()),
        "fault": fault,
    }
    return render(request, "catalogue/list.html", values)


def _cells(name: str, row: Mapping[str, Any]) -> dict[str, Any]:
    def text(value: Any) -> str:
        return "" if value is None else {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)

    cells = [(word(one), text(row[one]), one in NUMBERS) for one in SHOWN[name]]
    return {"ref": row["ref"], "name": cells[0][1] or row.get("kind", ""), "cells": cells}


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Scope.CATALOGUE_READ)
def resource_row(request: MemberRequest, name: str, ref: str = "") -> HttpResponse:
    """One row to look at, change or remove; without a ref a new one."""
    resource = _resource(request, name)
    row = find(resource.rows(request.business), ref) if ref else None
    if request.method != "POST":
        given = stored(resource, request.business, ref) if row else {}
        return _form(request, name, given, {}, ref)
    if not request.actor.may(resource.write):
        raise PermissionDenied
    try:
        _write(request, resource, ref)
    except (Refused, ValidationError) as fault:
        faults = faults_by_pointer(fault) if isinstance(fault, Refused) else _pointed(fault)
        return _form(request, name, request.POST.dict(), faults, ref)
    messages.success(request, "Removed." if request.POST.get("do") == "remove" else "Kept.")
    return redirect("prices-list", name)


@transaction.atomic
def _write(request: MemberRequest, resource: Resource, ref: str) -> None:
    row = find(resource.rows(request.business).select_for_update(of=("self",)), ref) if ref else None
    if row is not None and request.POST.get("do") == "remove":
        resource.remove(row, actor=request.actor)
        return
    values = resource.resolve(request.business, read(resource.body, read_typed(resource, request.POST)))
    if row is None:
        resource.add(resource.model(business=request.business), actor=request.actor, values=values)
    else:
        resource.change(row, actor=request.actor, values=values)


def _pointed(fault: ValidationError) -> dict[str, str]:
    return {error["pointer"].removeprefix("#"): error["detail"] for error in from_validation(fault).errors}


def _form(
    request: MemberRequest, name: str, given: Mapping[str, Any], faults: Mapping[str, str], ref: str
) -> HttpResponse:
    shown = boxes(RESOURCES[name], given, faults)
    values = {**_named(request, name), "boxes": shown, "loose": unplaced(faults, shown), "ref": ref}
    return render(request, "catalogue/row.html", values, status=422 if faults else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Scope.CATALOGUE_READ)
def system(request: MemberRequest, ref: str) -> HttpResponse:
    """A fence system: what it lacks, its document, making it the default, storing the next version."""
    row = find(queries.systems(request.business), ref)
    fault, typed = "", None
    if request.method == "POST":
        if not request.actor.may(Scope.CATALOGUE_WRITE):
            raise PermissionDenied
        try:
            _change_system(request, row)
        except Refused as refused:
            fault, typed = (
                " ".join(f"{one.pointer} {one.text}".strip() for one in refused.faults),
                request.POST.get("document"),
            )
        else:
            messages.success(request, "Kept.")
            return redirect("fence-system", ref)
    version = FenceSystemVersion.objects.of(request.business).filter(system=row, number=row.latest).first()
    document = orjson.dumps(version.document, option=orjson.OPT_INDENT_2).decode() if version else ""
    try:
        missing = [one.text for one in lacks(request.business, row.code)]
    except Refused as refused:
        missing = [one.text for one in refused.faults]
    values = {"system": row, "document": typed or document, "lacks": missing, "fault": fault, "parts": _parts(request),
              "may_write": request.actor.may(Scope.CATALOGUE_WRITE)}  # fmt: skip
    return render(request, "catalogue/system.html", values, status=422 if fault else 200)


def _change_system(request: MemberRequest, row: Any) -> None:
    deed = request.POST.get("do", "")
    if deed == "default":
        services.change_system(system=row, actor=request.actor, values={"is_default": True, "active": True})
    elif deed in ("end", "revive"):
        services.change_system(system=row, actor=request.actor, values={"active": deed == "revive"})
    else:
        try:
            document = orjson.loads(request.POST.get("document", ""))
        except orjson.JSONDecodeError as bad:
            raise Refused([Fault("", "json", f"This is not JSON: {bad.msg} at character {bad.pos}.")]) from None
        if not isinstance(document, dict):
            raise Refused([Fault("", "type", "A fence system is a JSON object.")])
        services.store_system(business=request.business, actor=request.actor, document=document, system=row)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Scope.CATALOGUE_WRITE)
def take_in(request: MemberRequest) -> HttpResponse:
    """A spreadsheet: first what it would do, then taking it in."""
    values: dict[str, Any] = {"parts": _parts(request), "kinds": _kinds(request), "asked": request.POST.get("kind", "")}
    if request.method == "POST":
        try:
            done = _take_in(request, values)
        except (SheetRefusedError, Refused) as fault:
            values["fault"] = fault.reason if isinstance(fault, SheetRefusedError) else fault.faults[0].text
            done = None
        if done is not None:
            return done
    values["imports"] = queries.imports(request.business).order_by("-id")[:20]
    return render(request, "catalogue/take_in.html", values, status=422 if "fault" in values else 200)


def _take_in(request: MemberRequest, values: dict[str, Any]) -> HttpResponse | None:
    kind = next((one for one in _kinds(request) if one == request.POST.get("kind")), None)
    if kind is None:
        raise Refused([Fault("/kind", "kind", "Say what the file holds.")])
    content, name = _content(request)
    if request.POST.get("do") == "take":
        row = importing.ask(business=request.business, actor=request.actor, kind=kind, content=content, file_name=name)
        messages.success(request, f"{row.file_name} is being taken in; its report appears below.")
        return redirect("take-in")
    values["report"] = report(*dry_run(kind, content, request.business), request.business)
    values["file_name"] = name
    values["carried"] = base64.b64encode(content).decode() if len(content) <= MOST_CARRIED else ""
    return None


def _content(request: MemberRequest) -> tuple[bytes, str]:
    upload = request.FILES.get("file")
    if upload is not None:
        if upload.size is None or upload.size > MOST_BYTES:
            raise Refused([Fault("/file", "file.large", f"A file may have {MOST_BYTES} bytes.")])
        return upload.read(), upload.name or ""
    try:
        content = base64.b64decode(request.POST.get("carried", ""), validate=True)
    except binascii.Error:
        content = b""
    if not content:
        raise Refused([Fault("/file", "file.missing", "Choose a file first.")])
    return content, request.POST.get("file_name", "")


@require_GET
@needs(Scope.CATALOGUE_READ)
def sheet_file(request: MemberRequest, kind: str, form: str) -> HttpResponse:
    """A sheet as a file; taken in again it changes nothing."""
    if form not in exporting.FORMATS or kind not in set(ImportKind):
        raise Http404
    if kind == ImportKind.PRICE_RULES and not request.actor.may(Scope.PRICES_READ):
        raise PermissionDenied
    wanted = ImportKind(kind)
    made = (
        exporting.csv_sheet(wanted, request.business)
        if form == "csv"
        else exporting.xlsx_sheet(wanted, request.business)
    )
    response = HttpResponse(made, content_type=exporting.FORMATS[form])
    response["Content-Disposition"] = f'attachment; filename="{kind}.{form}"'
    return response


def _kinds(request: MemberRequest) -> list[ImportKind]:
    return [kind for kind in ImportKind if kind is not ImportKind.PRICE_RULES or request.actor.may(Scope.PRICES_WRITE)]


def _visible(request: MemberRequest) -> list[str]:
    return [name for name in WORDS if request.actor.may(RESOURCES[name].read)]


def _resource(request: MemberRequest, name: str) -> Resource:
    if name not in WORDS:
        raise Http404
    if not request.actor.may(RESOURCES[name].read):
        raise PermissionDenied
    return RESOURCES[name]


def _parts(request: MemberRequest) -> list[tuple[str, str]]:
    return [(name, WORDS[name]) for name in _visible(request)]


def _named(request: MemberRequest, name: str) -> dict[str, Any]:
    may_write = request.actor.may(RESOURCES[name].write)
    return {
        "name": name,
        "word": WORDS[name],
        "parts": _parts(request),
        "may_write": may_write,
        "sheet": SHEETS.get(name, ""),
    }
