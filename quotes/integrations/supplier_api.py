"""Supplier API: orders, order responses, despatches, prices and events."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations import bulk_prices, sandbox, supplier_access
from quotes.integrations.messages.message import Message
from quotes.integrations.order_files import FILE_SCHEMAS, PARSERS, RENDERERS, FileOfOrder, order_file, requested_format
from quotes.jobs.api_fields import DOCUMENT, WHOLE, shape
from quotes.purchasing import serializers as serializers_module
from quotes.purchasing.api_fields import EVENT_SCHEMA, EVENTS, ORDER_FULL_SCHEMA, ORDERS, order_full
from quotes.purchasing.models import OrderEvent, SupplierOrder
from quotes.purchasing.order_lists import INCLUDE, LISTED_SCHEMA, with_lines
from quotes.purchasing.queries import requested_status
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import SharedQuery
from shared.api.serializers import StrictSerializer, validated_data
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.models import SupplierAccount

_OUTCOME = shape(
    (),
    index=WHOLE,
    status={"type": "integer", "enum": [200, 201, 422, 424]},
    result={
        "type": "string",
        "enum": ["stored", "unchanged", "would_be_stored", "not_stored", "rejected"],
        "description": "unchanged: the same price is stored already, as when a batch is sent again. "
        "not_stored: another price was rejected and all_or_nothing was set.",
    },
    ref={"type": ["string", "null"]},
    errors={"type": "array", "items": DOCUMENT},
)
_BATCH_SCHEMA = shape((), items={"type": "array", "items": _OUTCOME}, stored_count=WHOLE, unchanged_count=WHOLE)


class SupplyEndpoint(Endpoint):
    """Base of the supplier's endpoints."""

    def order(self, ref: str) -> SupplierOrder:
        """Return an order of the supplier. Raise 404 for any other order."""
        return self.find(supplier_access.visible(self.actor).select_related("supplier", "business"), ref)

    def order_response(self, order: SupplierOrder, status: int = 200) -> Response:
        """Return the order as the supplier sees it, with its ETag."""
        order.refresh_from_db()
        return self.one(order_full(order, own=False), order, status=status)


class SupplyOrders(SupplyEndpoint):
    """Orders sent to the supplier. Polling with ``after_sequence`` misses no change."""

    scopes = {"GET": Scope.SUPPLY_READ}
    paged = True
    parameters = {
        "status": "placed, acknowledged, despatched, received, closed or cancelled.",
        "business": "The ref of a business.",
        "number": "The number of an order.",
        "include": INCLUDE,
        "after_sequence": "Only orders with a higher change_sequence, sorted by it. Start with 0, continue with the last one.",
    }

    @extend_schema(responses={200: page_of(LISTED_SCHEMA)}, summary="List orders")
    def get(self, request: Request) -> Response:
        parameters, account, test = (
            request.query_params.dict(),
            supplier_access.account_of(self.actor),
            supplier_access.is_test(self.actor),
        )
        by = "change_sequence" if "after_sequence" in parameters else "-id"
        shared = _shared_query(account, test)
        return with_lines(
            self.page(lambda: _filtered_orders(account, test, parameters), ORDERS, by=by, shared=shared), parameters
        )


class SupplyOrderDetail(SupplyEndpoint):
    """One order: JSON, or by Accept or suffix UBL (xml), CSV, XLSX or PDF."""

    scopes = {"GET": Scope.SUPPLY_READ}
    renderer_classes = RENDERERS

    @extend_schema(
        responses={(200, "application/json"): ORDER_FULL_SCHEMA, **FILE_SCHEMAS},
        summary="Get an order",
    )
    def get(self, request: Request, ref: str) -> Response | HttpResponse:
        order, form = self.order(ref), requested_format(request)
        return self.order_response(order) if form == "json" else order_file(order, form)


class SupplyOrderFile(SupplyEndpoint, FileOfOrder):
    """One order as a file: xml (UBL 2.1), csv, xlsx, pdf or json."""

    scopes = {"GET": Scope.SUPPLY_READ}


class SupplyMessages(SupplyEndpoint):
    """Messages of one kind about an order."""

    scopes = {"POST": Scope.SUPPLY_WRITE}
    parser_classes = PARSERS
    message: Message

    def post(self, request: Request, ref: str) -> Response:
        order, message = self.order(ref), self.message
        body: Any = request.data
        is_xml = isinstance(body, bytes)
        data = message.read_xml(body, order) if is_xml else message.read_json(validated_data(message.body, body))
        order, is_new = message.store(order, data, self.actor)
        return self.order_response(order, 201 if is_new else 200)


def supply_messages(message: Message) -> type[Endpoint]:
    """Return the endpoint to which suppliers send messages of a kind."""
    about = f"{message.noun.capitalize()} in JSON or UBL. The same number again is the same {message.name}."
    schema = extend_schema(
        request={"application/json": message.body, "application/xml": OpenApiTypes.BINARY},
        responses={200: ORDER_FULL_SCHEMA, 201: ORDER_FULL_SCHEMA},
        summary=message.summary,
    )
    endpoint = type(f"Supply{message.document}s", (SupplyMessages,), {"message": message, "__doc__": about})
    return extend_schema_view(post=schema)(endpoint)


class SupplyOrderEvents(SupplyEndpoint):
    """Events of one order."""

    scopes = {"GET": Scope.SUPPLY_READ}
    paged = True

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="List events of an order")
    def get(self, request: Request, ref: str) -> Response:
        rows = OrderEvent.unscoped.filter(
            order=self.order(ref), for_supplier=True
        )  # unscoped: the supplier's own order
        return self.page(rows, EVENTS, by="id")


class SupplyEvents(SupplyEndpoint):
    """Events of all orders of the supplier, oldest first. They are kept as long as the orders."""

    scopes = {"GET": Scope.SUPPLY_READ}
    paged = True
    parameters = {
        "after": "Ref of an event: only later events.",
        "type": "Only events of a type, such as order.placed.",
    }

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="List events")
    def get(self, request: Request) -> Response:
        account, test = supplier_access.account_of(self.actor), supplier_access.is_test(self.actor)
        parameters = request.query_params

        def rows() -> QuerySet[OrderEvent]:
            found = supplier_access.events_seen_by(account, test=test)
            if "after" in parameters:
                found = found.filter(id__gt=self.find(found, parameters["after"]).pk)
            return found.filter(kind=parameters["type"]) if "type" in parameters else found

        return self.page(rows, EVENTS, by="id", shared=_shared_query(account, test))


class SupplierPriceBatchIn(StrictSerializer):
    """``prices`` as in supply/prices. Each one is checked on its own."""

    prices = serializers.ListField(child=serializers.JSONField(), min_length=1, max_length=bulk_prices.MAX_PRICES)


class SupplyPricesBulk(SupplyEndpoint):
    """Bulk upload of prices."""

    scopes = {"POST": Scope.SUPPLY_PRICES_WRITE}
    parameters = {
        "dry_run": "true: return the same result and store nothing.",
        "all_or_nothing": "true: store nothing if one price is rejected.",
    }

    @extend_schema(
        request=SupplierPriceBatchIn,
        responses={200: _BATCH_SCHEMA, 207: _BATCH_SCHEMA},
        summary="Create prices in bulk",
    )
    def post(self, request: Request) -> Response:
        outcomes = bulk_prices.store_prices(
            account=supplier_access.account_of(self.actor),
            actor=self.actor,
            prices=self.validated_data(SupplierPriceBatchIn)["prices"],
            test=supplier_access.is_test(self.actor),
            whole=bool(self.flag("all_or_nothing")),
            dry=bool(self.flag("dry_run")),
        )
        stored = sum(1 for outcome in outcomes if outcome.status == 201)
        unchanged = sum(1 for outcome in outcomes if outcome.result == "unchanged")
        items = [outcome.row() for outcome in outcomes]
        return Response({"items": items, "stored_count": stored, "unchanged_count": unchanged}, status=207)


class SampleIn(StrictSerializer):
    """Default for ``lines``: a typical order."""

    lines = serializers.ListField(
        child=serializers_module.OrderLineIn(), required=False, min_length=1, max_length=sandbox.MAX_LINES
    )


class _SandboxEndpoint(SupplyEndpoint):
    scopes = {"POST": Scope.SUPPLY_WRITE}

    def check_test(self) -> None:
        """Raise 403 for a live key."""
        supplier_access.account_of(self.actor)
        if not supplier_access.is_test(self.actor):
            raise Problem("forbidden", "Use a sandbox key (bwt_...).")


class SandboxOrders(_SandboxEndpoint):
    """Sample orders in the sandbox."""

    @extend_schema(request=SampleIn, responses={201: ORDER_FULL_SCHEMA}, summary="Create a sample order")
    def post(self, request: Request) -> Response:
        self.check_test()
        lines = self.validated_data(SampleIn).get("lines")
        order = sandbox.sample_order(supplier_access.account_of(self.actor), lines)
        response = self.order_response(order, 201)
        response["Location"] = f"/api/v1/supply/orders/{order.ref}"
        return response


class SandboxReset(_SandboxEndpoint):
    """Reset of the sandbox: new sample orders."""

    @extend_schema(request=None, responses={200: shape(("business",))}, summary="Reset the sandbox")
    def post(self, request: Request) -> Response:
        self.check_test()
        return Response({"business": sandbox.reset(supplier_access.account_of(self.actor)).ref})


def _shared_query(account: SupplierAccount, test: bool) -> SharedQuery:
    """Return the parameters in which the query of one supplier differs from that of another."""
    return SharedQuery(("test" if test else "live"), (account.pk, account.pk))


def _filtered_orders(account: SupplierAccount, test: bool, parameters: Mapping[str, str]) -> QuerySet[SupplierOrder]:
    rows = supplier_access.seen_by(account, test=test)
    rows = rows.filter(state=requested_status(parameters)) if "status" in parameters else rows
    by = {"business": "business__ref", "number": "number"}
    rows = rows.filter(**{column: parameters[name] for name, column in by.items() if name in parameters})
    after = parameters.get("after_sequence")
    return rows if after is None else rows.filter(change_sequence__gt=_whole(after, "after_sequence"))


def _whole(text: str, name: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 18:
        raise Problem(
            "invalid-parameter", errors=[{"parameter": name, "code": name, "detail": "Enter a whole number from 0."}]
        )
    return int(text)
