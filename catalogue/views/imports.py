"""Views of the import and export of spreadsheets, with a preview of each import."""

from __future__ import annotations

import base64
import binascii
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from catalogue import queries
from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets import export, import_jobs
from catalogue.spreadsheets.import_rows import dry_run, report
from catalogue.spreadsheets.limits import MAX_BYTES, SheetRefusedError
from catalogue.views.tabs import parts_line
from fencing.model.faults import Fault, InvalidDocument
from shared.business.roles import Scope
from shared.members.access import MemberRequest, require_scope

HOLDS = {
    "finishes": "Finishes", "components": "Components", "suppliers": "Suppliers", "supplier_terms": "Supplier terms",
    "supplier_prices": "Supplier prices", "price_rules": "Price rules", "fence_systems": "Fence systems",
}  # fmt: skip
STATES = {"waiting": "waiting", "running": "importing", "done": "imported", "rejected": "rejected"}
MAX_CARRIED = 1_000_000


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.CATALOGUE_WRITE)
def import_file(request: MemberRequest) -> HttpResponse:
    """Show the preview of an import, then import the file."""
    values: dict[str, Any] = {
        "parts": parts_line(request),
        "kinds": [(kind.value, HOLDS.get(kind, kind)) for kind in _kinds(request)],
        "asked": request.POST.get("kind", ""),
    }
    if request.method == "POST":
        try:
            done = _import_file(request, values)
        except (SheetRefusedError, InvalidDocument) as fault:
            values["fault"] = _error_text(fault)
            done = None
        if done is not None:
            return done
    rows = queries.imports(request.business).order_by("-id")[:20]
    values["imports"] = [(row, HOLDS.get(row.kind, row.kind), STATES.get(row.state, row.state)) for row in rows]
    return render(request, "catalogue/import_file.html", values, status=422 if "fault" in values else 200)


def _error_text(fault: SheetRefusedError | InvalidDocument) -> str:
    """Return the error of a file, with its row if it is known."""
    if isinstance(fault, InvalidDocument):
        return " ".join(item.text for item in fault.faults)
    return fault.reason if fault.row is None else f"Row {fault.row}: {fault.reason}"


def _import_file(request: MemberRequest, values: dict[str, Any]) -> HttpResponse | None:
    kind = next((item for item in _kinds(request) if item == request.POST.get("kind")), None)
    if kind is None:
        raise InvalidDocument([Fault("/kind", "kind", "Say what the file holds.")])
    content, name = _content(request)
    if request.POST.get("do") == "take":
        row = import_jobs.ask(
            business=request.business, actor=request.actor, kind=kind, content=content, file_name=name
        )
        messages.success(request, f"Importing {row.file_name}. The report appears below.")
        return redirect("import-file")
    values["report"] = report(*dry_run(kind, content, request.business), request.business)
    values["file_name"] = name
    values["carried"] = base64.b64encode(content).decode() if len(content) <= MAX_CARRIED else ""
    return None


def _content(request: MemberRequest) -> tuple[bytes, str]:
    upload = request.FILES.get("file")
    if upload is not None:
        if upload.size is None or upload.size > MAX_BYTES:
            raise InvalidDocument([Fault("/file", "file.large", f"A file may have {MAX_BYTES} bytes.")])
        return upload.read(), upload.name or ""
    try:
        content = base64.b64decode(request.POST.get("carried", ""), validate=True)
    except binascii.Error:
        content = b""
    if not content:
        raise InvalidDocument([Fault("/file", "file.missing", "Choose a file first.")])
    return content, request.POST.get("file_name", "")


@require_GET
@require_scope(Scope.CATALOGUE_READ)
def sheet_file(request: MemberRequest, kind: str, form: str) -> HttpResponse:
    """Return a spreadsheet as a file; importing it again changes nothing."""
    if form not in export.FORMATS or kind not in set(ImportKind):
        raise Http404
    if kind == ImportKind.PRICE_RULES and not request.actor.may(Scope.PRICES_READ):
        raise PermissionDenied
    wanted = ImportKind(kind)
    made = export.csv_sheet(wanted, request.business) if form == "csv" else export.xlsx_sheet(wanted, request.business)
    response = HttpResponse(made, content_type=export.FORMATS[form])
    response["Content-Disposition"] = f'attachment; filename="{kind}.{form}"'
    return response


def _kinds(request: MemberRequest) -> list[ImportKind]:
    return [kind for kind in ImportKind if kind is not ImportKind.PRICE_RULES or request.actor.may(Scope.PRICES_WRITE)]
