"""Endpoints of deliveries: goods to unload and counted quantities, without prices."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.purchasing import delivery_queries, serializers
from quotes.purchasing.deliveries import receive
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.queries import requested_status
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope


class _DeliveryEndpoint(Endpoint):
    def order(self, ref: str) -> SupplierOrder:
        """Return the order, or 404."""
        return self.find(delivery_queries.deliveries(self.business).select_related("supplier", "business"), ref)

    def answer(self, order: SupplierOrder, status: int = 200) -> Response:
        """Return the delivery with its ETag."""
        order.refresh_from_db()
        return self.one(delivery_queries.delivery_document(order), order, status=status)


class Deliveries(_DeliveryEndpoint):
    """Placed orders to unload, the newest first."""

    scopes = {"GET": Scope.DELIVERIES_READ}
    paged = True
    parameters = {"status": "placed, acknowledged, despatched, received or closed."}

    @extend_schema(responses={200: page_of(delivery_queries.DELIVERY_SCHEMA)}, summary="List deliveries")
    def get(self, request: Request) -> Response:
        parameters = request.query_params.dict()
        states = {"state": requested_status(parameters)} if parameters.get("status") else {}
        return self.page(
            lambda: delivery_queries.deliveries(self.business).filter(**states), delivery_queries.DELIVERIES
        )


class DeliveryDetail(_DeliveryEndpoint):
    """One order to unload: lines, despatches and receipts."""

    scopes = {"GET": Scope.DELIVERIES_READ}

    @extend_schema(responses={200: delivery_queries.DELIVERY_FULL_SCHEMA}, summary="Get a delivery")
    def get(self, request: Request, ref: str) -> Response:
        return self.answer(self.order(ref))


class DeliveryReceipts(_DeliveryEndpoint):
    """The count of one docket. It is a fact, so it needs no If-Match."""

    scopes = {"POST": Scope.DELIVERIES_WRITE}
    idempotent = frozenset({"POST"})

    @extend_schema(
        request=serializers.ReceiptIn,
        responses={201: delivery_queries.DELIVERY_FULL_SCHEMA},
        summary="Record a delivery",
        description=(
            "`arrived_quantity` counts all pieces of a line; `damaged_quantity` is the damaged part of them. "
            "Damaged and missing pieces stay outstanding. More than the docket states is refused unless "
            "`more_than_docket` is true."
        ),
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.ReceiptIn)
        more = body.pop("more_than_docket", False)
        order, _, is_new = receive(
            order=self.order(ref), count=serializers.read_receipt(body), actor=self.actor, more_than_docket=more
        )
        return self.answer(order, 201 if is_new else 200)
