"""Orders and messages about them as files, the same for the business and its supplier."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations.messages.message import Message
from quotes.integrations.renderers import FILE_SCHEMAS, XML_SCHEMA, as_xml, order_file
from quotes.purchasing.api_fields import ORDER_FULL_SCHEMA
from quotes.purchasing.models import SupplierOrder
from shared.api.endpoint import Endpoint
from shared.business.roles import Scope


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
