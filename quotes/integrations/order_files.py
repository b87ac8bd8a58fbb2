"""Orders, order responses and despatches as files, the same for the business and its supplier."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations.renderers import FILE_SCHEMAS, XML_SCHEMA, as_xml, order_file
from quotes.integrations.supplier_documents import despatch_ubl, response_ubl
from quotes.purchasing.api_fields import ORDER_FULL_SCHEMA
from quotes.purchasing.models import Despatch, OrderResponse, SupplierOrder
from shared.api.endpoint import Endpoint


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


class FileOfResponse(_OfAnOrder):
    """An order response as a UBL 2.1 OrderResponse."""

    @extend_schema(responses=XML_SCHEMA, summary="Get an order response as UBL")
    def get(self, request: Request, ref: str, response_ref: str) -> HttpResponse:
        order = self.order(ref)
        found = self.find(OrderResponse.objects.of(order.business).filter(order=order), response_ref)
        return as_xml(response_ubl(order, found), f"{order.number}-response-{found.ref}")


class FileOfDespatch(_OfAnOrder):
    """A despatch as a UBL 2.1 DespatchAdvice."""

    @extend_schema(responses=XML_SCHEMA, summary="Get a despatch as UBL")
    def get(self, request: Request, ref: str, despatch: str) -> HttpResponse:
        order = self.order(ref)
        found = self.find(Despatch.objects.of(order.business).filter(order=order), despatch)
        return as_xml(despatch_ubl(order, found), f"{order.number}-despatch-{found.ref}")
