"""A supplier's own side: its orders, its word on them, its dockets, its prices, and the log of everything that happened."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations import bulk_prices, order_formats, sandbox, supplier_queries
from quotes.integrations.order_files import FileOfDespatch, FileOfOrder, FileOfReply
from quotes.integrations.renderers import FILE_SCHEMAS, PARSERS, RENDERERS, answered, asked_form
from quotes.integrations.ubl.despatch_advice import read_despatch
from quotes.integrations.ubl.order_response import read_response
from quotes.jobs.api_fields import DOCUMENT, WHOLE, shape
from quotes.purchasing import serializers as serializers_module
from quotes.purchasing.api_fields import EVENT_SCHEMA, EVENTS, ORDER_FULL_SCHEMA, ORDERS, order_full
from quotes.purchasing.deliveries import despatch
from quotes.purchasing.models import OrderEvent, SupplierOrder
from quotes.purchasing.order_lists import LISTED_SCHEMA, WITH, with_lines
from quotes.purchasing.order_responses import record_response
from quotes.purchasing.queries import state_asked
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.problems import Problem
from shared.api.row_serializer import SharedQuery
from shared.api.serializers import StrictSerializer, validated_data
from shared.business.roles import Scope
from shared.models import SupplierAccount

_OUTCOME = shape(
    (),
    index=WHOLE,
    status={"type": "integer", "enum": [200, 201, 422, 424]},
    result={
        "type": "string",
        "enum": ["stored", "unchanged", "would_be_stored", "not_stored", "refused"],
        "description": "unchanged: stored already with the same values, as when a batch is sent again. "
        "not_stored: another one was refused, and all or nothing was asked for.",
    },
    ref={"type": ["string", "null"]},
    errors={"type": "array", "items": DOCUMENT},
)
_BATCH_SCHEMA = shape((), items={"type": "array", "items": _OUTCOME}, stored=WHOLE, unchanged=WHOLE)
_WHOLE_BODY = "application/xml"


class SupplyEndpoint(Endpoint):
    """What a supplier's addresses share."""

    def order(self, ref: str) -> SupplierOrder:
        """One of the supplier's orders, or 404: another's is not there."""
        return self.find(supplier_queries.visible(self.actor).select_related("supplier", "business"), ref)

    def told(self, order: SupplierOrder, status: int = 200) -> Response:
        """The order as the supplier sees it, with its tag."""
        order.refresh_from_db()
        return self.one(order_full(order, own=False), order, status=status)

    def body(self, kind: type[serializers.BaseSerializer[Any]]) -> dict[str, Any] | bytes:
        """JSON as values, or the bytes of an XML document."""
        data: Any = self.request.data
        return data if isinstance(data, bytes) else validated_data(kind, data)


class SupplyOrders(SupplyEndpoint):
    """Orders sent to the supplier. ``after_sequence`` makes polling complete: nothing that changed is ever missed."""

    scopes = {"GET": Scope.SUPPLY_READ}
    paged = True
    parameters = {
        "state": "placed, acknowledged, despatched, received, closed or cancelled.",
        "business": "The ref of a business.",
        "number": "The number of an order.",
        "with": WITH,
        "after_sequence": "Only orders whose changed is higher, in the order of changes: start with 0, go on with the last.",
    }

    @extend_schema(responses={200: page_of(LISTED_SCHEMA)}, summary="Orders of a supplier")
    def get(self, request: Request) -> Response:
        asked, account, test = (
            request.query_params.dict(),
            supplier_queries.account_of(self.actor),
            supplier_queries.is_test(self.actor),
        )
        by = "changed" if "after_sequence" in asked else "-id"
        alike = _alike(account, test)
        return with_lines(self.page(lambda: _asked_for(account, test, asked), ORDERS, by=by, alike=alike), asked)


class SupplyOrderDetail(SupplyEndpoint):
    """One order: JSON, or by Accept or suffix UBL (xml), CSV, XLSX or PDF."""

    scopes = {"GET": Scope.SUPPLY_READ}
    renderer_classes = RENDERERS

    @extend_schema(
        responses={(200, "application/json"): ORDER_FULL_SCHEMA, **FILE_SCHEMAS},
        summary="One order of a supplier",
    )
    def get(self, request: Request, ref: str) -> Response | HttpResponse:
        order, form = self.order(ref), asked_form(request)
        return self.told(order) if form == "json" else answered(order, form)


class SupplyOrderFile(SupplyEndpoint, FileOfOrder):
    """One order as a file: xml (UBL 2.1), csv, xlsx, pdf or json."""

    scopes = {"GET": Scope.SUPPLY_READ}


class SupplyReplies(SupplyEndpoint):
    """The supplier's word: JSON, or a UBL OrderResponse. The same number again is the same reply."""

    scopes = {"POST": Scope.SUPPLY_WRITE}
    parser_classes = PARSERS

    @extend_schema(
        request={"application/json": serializers_module.OrderReplyIn, _WHOLE_BODY: OpenApiTypes.BINARY},
        responses={200: ORDER_FULL_SCHEMA, 201: ORDER_FULL_SCHEMA},
        summary="Acknowledge, accept, refuse or propose",
    )
    def post(self, request: Request, ref: str) -> Response:
        order, body = self.order(ref), self.body(serializers_module.OrderReplyIn)
        data = (
            order_formats.read_reply(read_response(body), order)
            if isinstance(body, bytes)
            else serializers_module.read_response(body)
        )
        order, new = record_response(order=order, told=data, actor=self.actor)
        return self.told(order, 201 if new else 200)


class SupplyDespatches(SupplyEndpoint):
    """What is on the lorry: JSON, or a UBL DespatchAdvice. The same number again is the same despatch."""

    scopes = {"POST": Scope.SUPPLY_WRITE}
    parser_classes = PARSERS

    @extend_schema(
        request={"application/json": serializers_module.DocketIn, _WHOLE_BODY: OpenApiTypes.BINARY},
        responses={200: ORDER_FULL_SCHEMA, 201: ORDER_FULL_SCHEMA},
        summary="Despatch",
    )
    def post(self, request: Request, ref: str) -> Response:
        order, body = self.order(ref), self.body(serializers_module.DocketIn)
        docket = (
            order_formats.read_docket(read_despatch(body), order)
            if isinstance(body, bytes)
            else serializers_module.docket(body)
        )
        order, _, new = despatch(order=order, docket=docket, actor=self.actor)
        return self.told(order, 201 if new else 200)


class SupplyReplyFile(SupplyEndpoint, FileOfReply):
    """A reply of the supplier's own, as a UBL 2.1 OrderResponse."""

    scopes = {"GET": Scope.SUPPLY_READ}


class SupplyDespatchFile(SupplyEndpoint, FileOfDespatch):
    """A despatch of the supplier's own, as a UBL 2.1 DespatchAdvice."""

    scopes = {"GET": Scope.SUPPLY_READ}


class SupplyOrderEvents(SupplyEndpoint):
    """Everything that happened to one order."""

    scopes = {"GET": Scope.SUPPLY_READ}
    paged = True

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="Events of a supplier's order")
    def get(self, request: Request, ref: str) -> Response:
        rows = OrderEvent.unscoped.filter(
            order=self.order(ref), for_supplier=True
        )  # unscoped: the supplier's own order
        return self.page(rows, EVENTS, by="id")


class SupplyEvents(SupplyEndpoint):
    """The log of everything that happened to the supplier's orders, in one order, kept for as long as the orders are."""

    scopes = {"GET": Scope.SUPPLY_READ}
    paged = True
    parameters = {
        "after": "The ref of an event: only what came after it.",
        "type": "Only events of a type, such as order.placed.",
    }

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="The event log")
    def get(self, request: Request) -> Response:
        account, test = supplier_queries.account_of(self.actor), supplier_queries.is_test(self.actor)
        asked = request.query_params

        def rows() -> QuerySet[OrderEvent]:
            found = supplier_queries.events_seen_by(account, test=test)
            if "after" in asked:
                found = found.filter(id__gt=self.find(found, asked["after"]).pk)
            return found.filter(kind=asked["type"]) if "type" in asked else found

        return self.page(rows, EVENTS, by="id", alike=_alike(account, test))


class SupplierPriceBatchIn(StrictSerializer):
    """``offers`` as under supply/offers; each is judged for itself."""

    offers = serializers.ListField(child=serializers.JSONField(), min_length=1, max_length=bulk_prices.MAX_OFFERS)


class SupplyOfferBatches(SupplyEndpoint):
    """New prices in bulk."""

    scopes = {"POST": Scope.SUPPLY_PRICES_WRITE}
    parameters = {
        "dry_run": "true: the same answer, nothing is stored.",
        "all_or_nothing": "true: one refused refuses all.",
    }

    @extend_schema(
        request=SupplierPriceBatchIn, responses={200: _BATCH_SCHEMA, 207: _BATCH_SCHEMA}, summary="Prices in bulk"
    )
    def post(self, request: Request) -> Response:
        asked = request.query_params
        outcomes = bulk_prices.take_offers(
            account=supplier_queries.account_of(self.actor),
            actor=self.actor,
            offers=self.validated_data(SupplierPriceBatchIn)["offers"],
            test=supplier_queries.is_test(self.actor),
            whole=_flag(asked, "all_or_nothing"),
            dry=_flag(asked, "dry_run"),
        )
        stored = sum(1 for outcome in outcomes if outcome.status == 201)
        unchanged = sum(1 for outcome in outcomes if outcome.result == "unchanged")
        items = [outcome.row() for outcome in outcomes]
        return Response({"items": items, "stored": stored, "unchanged": unchanged}, status=207)


class SampleIn(StrictSerializer):
    """Without ``lines`` an ordinary order is made."""

    lines = serializers.ListField(
        child=serializers_module.OrderLineIn(), required=False, min_length=1, max_length=sandbox.MAX_LINES
    )


class _SandboxEndpoint(SupplyEndpoint):
    scopes = {"POST": Scope.SUPPLY_WRITE}

    def check_test(self) -> None:
        """403 for a live key: it must never make orders by itself."""
        supplier_queries.account_of(self.actor)
        if not supplier_queries.is_test(self.actor):
            raise Problem("forbidden", "The sandbox is for test keys (bwt_...).")


class SandboxOrders(_SandboxEndpoint):
    """Makes an order in the sandbox."""

    @extend_schema(request=SampleIn, responses={201: ORDER_FULL_SCHEMA}, summary="A sample order")
    def post(self, request: Request) -> Response:
        self.check_test()
        lines = self.validated_data(SampleIn).get("lines")
        order = sandbox.sample_order(supplier_queries.account_of(self.actor), lines)
        response = self.told(order, 201)
        response["Location"] = f"/api/v1/supply/orders/{order.ref}"
        return response


class SandboxReset(_SandboxEndpoint):
    """Begins the sandbox anew with fresh sample orders."""

    @extend_schema(request=None, responses={200: shape(("business",))}, summary="Reset the sandbox")
    def post(self, request: Request) -> Response:
        self.check_test()
        return Response({"business": sandbox.reset(supplier_queries.account_of(self.actor)).ref})


def _alike(account: SupplierAccount, test: bool) -> SharedQuery:
    """What rows that a supplier's key sees differ in from those that another's of the same sort sees."""
    return SharedQuery(("test" if test else "live"), (account.pk, account.pk))


def _asked_for(account: SupplierAccount, test: bool, asked: Mapping[str, str]) -> QuerySet[SupplierOrder]:
    rows = supplier_queries.seen_by(account, test=test)
    rows = rows.filter(state=state_asked(asked)) if "state" in asked else rows
    by = {"business": "business__ref", "number": "number"}
    rows = rows.filter(**{column: asked[name] for name, column in by.items() if name in asked})
    after = asked.get("after_sequence")
    return rows if after is None else rows.filter(changed__gt=_whole(after, "after_sequence"))


def _flag(asked: Mapping[str, str], name: str) -> bool:
    value = asked.get(name, "false")
    if value not in {"true", "false"}:
        raise Problem("invalid-parameter", errors=[{"parameter": name, "code": name, "detail": "true or false."}])
    return value == "true"


def _whole(text: str, name: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 18:
        raise Problem(
            "invalid-parameter", errors=[{"parameter": name, "code": name, "detail": "A whole number from 0."}]
        )
    return int(text)
