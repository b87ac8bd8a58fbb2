"""Import and export of spreadsheets: preview, import, status and export."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain
from typing import IO, Any

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue import queries
from catalogue.api.api_fields import IMPORT, IMPORT_SCHEMA, REPORT_SCHEMA, row_serializer, serialize_row, shape
from catalogue.rules.codes import ImportKind
from catalogue.spreadsheets import export, import_jobs
from catalogue.spreadsheets.import_rows import dry_run, report
from catalogue.spreadsheets.limits import MAX_BYTES, SheetRefusedError
from fencing.model.faults import Fault, InvalidDocument
from shared.api.endpoint import Endpoint
from shared.api.json_formats import whole_body
from shared.api.openapi import page_of
from shared.business.roles import Scope
from shared.common.problems import Problem


class CsvParser(BaseParser):
    """Takes the body as it is."""

    media_type = "text/csv"

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        content = whole_body(stream, MAX_BYTES, parser_context)
        if len(content) > MAX_BYTES:
            raise Problem("too-large", f"A file may have {MAX_BYTES} bytes.")
        return content


class XlsxParser(CsvParser):
    media_type = export.FORMATS["xlsx"]


class AnyFileParser(CsvParser):
    media_type = "application/octet-stream"


_IMPORTS = row_serializer(IMPORT)
_FILE = {
    media_type: {"type": "string", "format": "binary"} for media_type in (CsvParser.media_type, XlsxParser.media_type)
}


def _kind(text: str) -> ImportKind:
    try:
        return ImportKind(text)
    except ValueError:
        fault = {"parameter": "kind", "code": "choice", "detail": f"Choose from: {', '.join(ImportKind)}."}
        raise Problem("invalid-parameter", errors=[fault]) from None


def _needs_prices(endpoint: Endpoint, kind: ImportKind, scope: Scope) -> None:
    """Price rules are the owner's; the other sheets need what the address needs."""
    if kind is ImportKind.PRICE_RULES and not endpoint.actor.may(scope):
        raise Problem("forbidden", f"This needs the scope {scope}.")


def _refused(fault: SheetRefusedError) -> InvalidDocument:
    return InvalidDocument([Fault(f"/rows/{fault.row}" if fault.row else "", f"file.{fault.code}", fault.reason)])


class Imports(Endpoint):
    """Imported files. The body of POST is the file."""

    scopes = {"GET": Scope.CATALOGUE_READ, "POST": Scope.CATALOGUE_WRITE}
    paged = True
    parser_classes = [CsvParser, XlsxParser, AnyFileParser]
    parameters = {
        "kind": f"Content of the file, required for POST: {', '.join(ImportKind)}.",
        "file_name": "Name of the file, for the record.",
        "dry_run": "true: report what the file would change and change nothing.",
    }

    @extend_schema(responses={200: page_of(shape(IMPORT))}, summary="List imports")
    def get(self, request: Request) -> Response:
        rows = queries.imports(self.business)
        if "kind" in request.query_params:
            rows = rows.filter(kind=_kind(request.query_params["kind"]))
        return self.page(rows, _IMPORTS)

    @extend_schema(
        request=_FILE,
        responses={
            200: OpenApiResponse(REPORT_SCHEMA, "What the file would do (dry_run)."),
            202: OpenApiResponse(IMPORT_SCHEMA, "The import is running; read its address for the status."),
        },
        summary="Import a file or preview the import",
    )
    def post(self, request: Request) -> Response:
        asked = request.query_params
        kind = _kind(asked.get("kind", ""))
        _needs_prices(self, kind, Scope.PRICES_WRITE)
        body: Any = request.data
        content = body if isinstance(body, bytes) else b""
        if self.flag("dry_run"):
            try:
                return Response(report(*dry_run(kind, content, self.business), self.business))
            except SheetRefusedError as fault:
                raise _refused(fault) from fault
        try:
            row = import_jobs.ask(
                business=self.business,
                actor=self.actor,
                kind=kind,
                content=content,
                file_name=asked.get("file_name", ""),
            )
        except SheetRefusedError as fault:
            raise _refused(fault) from fault
        data = serialize_row(IMPORT, {column: getattr(row, column) for column, _ in IMPORT.values()})
        return self.one({**data, "report": row.report}, row, status=202, at=f"{request.path}/{row.ref}")


class ImportDetail(Endpoint):
    """Status of an import, and its report."""

    scopes = {"GET": Scope.CATALOGUE_READ}

    @extend_schema(responses={200: IMPORT_SCHEMA}, summary="Get import status and report")
    def get(self, request: Request, ref: str) -> Response:
        row = self.find(queries.imports(self.business), ref)
        data = serialize_row(IMPORT, {column: getattr(row, column) for column, _ in IMPORT.values()})
        return self.one({**data, "report": row.report}, row)


class ExportFile(Endpoint):
    """A spreadsheet of the catalogue as a file; importing it again changes nothing."""

    scopes = {"GET": Scope.CATALOGUE_READ}

    @extend_schema(
        responses={(200, media_type): OpenApiTypes.BINARY for media_type in export.FORMATS.values()},
        summary="Export catalogue data as CSV or XLSX",
    )
    def get(self, request: Request, kind: str, format: str) -> Any:
        if kind not in ImportKind.__members__.values() or format not in export.FORMATS:
            raise Problem("not-found")
        wanted = ImportKind(kind)
        _needs_prices(self, wanted, Scope.PRICES_READ)
        if format == "csv":
            lines = export.csv_sheet(wanted, self.business)
            first = next(lines)  # what fails, fails before the answer begins
            answer: Any = StreamingHttpResponse(chain([first], lines), content_type=export.FORMATS["csv"])
        else:
            answer = StreamingHttpResponse(
                iter([export.xlsx_sheet(wanted, self.business)]), content_type=export.FORMATS["xlsx"]
            )
        answer["Content-Disposition"] = f'attachment; filename="{kind}.{format}"'
        return answer
