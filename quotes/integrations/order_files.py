"""Orders and messages about them as files, the same for the business and its supplier, with their renderers and parsers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import IO, Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations.messages.message import Message
from quotes.integrations.order_formats import FORMS
from quotes.integrations.ubl.xml import MAX_BYTES
from quotes.purchasing.api import OwnOrder
from quotes.purchasing.api_fields import ORDER_FULL_SCHEMA
from quotes.purchasing.models import SupplierOrder
from shared.api.endpoint import Endpoint
from shared.api.json_formats import JsonRenderer, StrictJsonParser, whole_body
from shared.business.roles import Scope
from shared.common.problems import Problem


class _FileRenderer(BaseRenderer):
    """A document that is written already; only its name is needed to negotiate."""

    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        return JsonRenderer().render(data)


class XmlForm(_FileRenderer):
    media_type = "application/xml"
    format = "xml"


class CsvForm(_FileRenderer):
    media_type = "text/csv"
    format = "csv"


class XlsxForm(_FileRenderer):
    media_type = FORMS["xlsx"][0]
    format = "xlsx"


class PdfForm(_FileRenderer):
    media_type = "application/pdf"
    format = "pdf"


class UblParser(BaseParser):
    """Parser that passes on the bytes of an XML body. The UBL readers check its content."""

    media_type = "application/xml"

    def parse(  # type: ignore[override]  # the bytes are the value
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> bytes:
        body = whole_body(stream, MAX_BYTES, parser_context)
        if len(body) > MAX_BYTES:
            raise Problem("too-large", f"A document may have at most {MAX_BYTES} bytes.")
        return body


FILE_SCHEMAS = {(200, kind.split(";")[0]): {"type": "string", "format": "binary"} for kind, _ in FORMS.values()}
"""Media types of an order as a file, for the OpenAPI document."""

RENDERERS = [JsonRenderer, XmlForm, CsvForm, XlsxForm, PdfForm]
PARSERS = [StrictJsonParser, UblParser]


def order_file(order: SupplierOrder, form: str) -> HttpResponse:
    """Return the order as a file. Raise 404 for an unknown format."""
    if form not in FORMS:
        raise Problem("not-found", f"Choose a format: {', '.join(['json', *FORMS])}.")
    kind, write = FORMS[form]
    response = HttpResponse(write(order), content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="{order.number}.{form}"'
    response["Vary"] = "Accept, Authorization, Cookie"
    return response


def as_xml(body: bytes, name: str) -> HttpResponse:
    """Return a UBL document as a file."""
    response = HttpResponse(body, content_type="application/xml")
    response["Content-Disposition"] = f'attachment; filename="{name}.xml"'
    return response


XML_SCHEMA = {(200, "application/xml"): {"type": "string", "format": "binary"}}


def requested_format(request: Request) -> str:
    """Return the format that the Accept header requests."""
    chosen = getattr(request, "accepted_renderer", None)
    return str(chosen.format) if chosen is not None else "json"


class _OfAnOrder(Endpoint):
    def order(self, ref: str) -> SupplierOrder:
        """Return the caller's order. Raise 404 if there is none."""
        raise NotImplementedError

    def order_response(self, order: SupplierOrder) -> Response:
        """Return the order as the caller may see it."""
        raise NotImplementedError


class FileOfOrder(_OfAnOrder):
    """An order as a file."""

    @extend_schema(
        responses={(200, "application/json"): ORDER_FULL_SCHEMA, **FILE_SCHEMAS}, summary="Get an order as a file"
    )
    def get(self, request: Request, ref: str, format: str) -> Response | HttpResponse:
        order = self.order(ref)
        return self.order_response(order) if format == "json" else order_file(order, format)


class FileOfMessage(_OfAnOrder):
    """A message of a supplier about an order as UBL."""

    message: Message

    def get(self, request: Request, ref: str, **refs: str) -> HttpResponse:
        order, message = self.order(ref), self.message
        row = self.find(message.rows(order), refs[f"{message.name}_ref"])
        return as_xml(message.write_xml(order, row), f"{order.number}-{message.name}-{row.ref}")


def file_of_message(message: Message, base: type[Endpoint], scope: Scope) -> type[Endpoint]:
    """Return the endpoint of the UBL documents of a kind. ``base`` finds the orders that the caller may see."""
    about = f"{message.noun.capitalize()} as a UBL 2.1 {message.document}."
    members = {"message": message, "scopes": {"GET": scope}, "__doc__": about}
    endpoint = type(f"{base.__name__}{message.document}File", (base, FileOfMessage), members)
    return extend_schema_view(get=extend_schema(responses=XML_SCHEMA, summary=f"Get {message.noun} as UBL"))(endpoint)


class OrderFile(OwnOrder, FileOfOrder):
    """An order as a file: xml (UBL 2.1), csv, xlsx, pdf or json."""

    scopes = {"GET": Scope.ORDERS_READ}
