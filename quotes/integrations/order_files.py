"""An order and what was said about it as files: alike for the business and its supplier, each of whom finds its own orders."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations.renderers import FILE_SCHEMAS, XML_SCHEMA, answered, as_xml
from quotes.integrations.supplier_documents import despatch_ubl, reply_ubl
from quotes.purchasing.api_fields import ORDER_FULL_SCHEMA
from quotes.purchasing.models import Despatch, OrderResponse, SupplierOrder
from shared.api.endpoint import Endpoint


class _OfAnOrder(Endpoint):
    def order(self, ref: str) -> SupplierOrder:
        """The caller's order, or 404."""
        raise NotImplementedError

    def told(self, order: SupplierOrder) -> Response:
        """The order as the caller may see it."""
        raise NotImplementedError


class FileOfOrder(_OfAnOrder):
    """An order as a file."""

    @extend_schema(
        responses={(200, "application/json"): ORDER_FULL_SCHEMA, **FILE_SCHEMAS}, summary="An order as a file"
    )
    def get(self, request: Request, ref: str, form: str) -> Response | HttpResponse:
        order = self.order(ref)
        return self.told(order) if form == "json" else answered(order, form)


class FileOfReply(_OfAnOrder):
    """A reply as a UBL 2.1 OrderResponse."""

    @extend_schema(responses=XML_SCHEMA, summary="A reply as UBL")
    def get(self, request: Request, ref: str, reply: str) -> HttpResponse:
        order = self.order(ref)
        found = self.find(OrderResponse.objects.of(order.business).filter(order=order), reply)
        return as_xml(reply_ubl(order, found), f"{order.number}-reply-{found.ref}")


class FileOfDespatch(_OfAnOrder):
    """A despatch as a UBL 2.1 DespatchAdvice."""

    @extend_schema(responses=XML_SCHEMA, summary="A despatch as UBL")
    def get(self, request: Request, ref: str, despatch: str) -> HttpResponse:
        order = self.order(ref)
        found = self.find(Despatch.objects.of(order.business).filter(order=order), despatch)
        return as_xml(despatch_ubl(order, found), f"{order.number}-despatch-{found.ref}")
