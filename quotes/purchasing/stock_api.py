"""Endpoints of stock: items, movements and reservations for jobs."""

from __future__ import annotations

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.queries import components
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import Job
from quotes.jobs.queries import jobs
from quotes.purchasing import queries, serializers, stock_services
from quotes.purchasing.api_fields import (
    MOVEMENT_SCHEMA,
    RESERVATION_SCHEMA,
    RESERVATIONS,
    STOCK,
    STOCK_MOVEMENTS,
    STOCK_SCHEMA,
)
from quotes.purchasing.models import StockItem
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope

_ITEMS = {"type": "object", "properties": {"items": {"type": "array", "items": STOCK_SCHEMA}}}


class _StockEndpoint(Endpoint):
    def item(self, ref: str) -> StockItem:
        """Return an item. Raise 404 if there is none."""
        return self.find(self._rows(), ref)

    def item_for_update(self, ref: str) -> StockItem:
        """Return an item, locked, if it still is the version that If-Match names: 404, 428, 412."""
        return self.get_for_update(self._rows(), ref)

    def _rows(self) -> QuerySet[StockItem]:
        return StockItem.objects.of(self.business).select_related("component", "business")

    def job(self, ref: str) -> Job:
        """Return the job of a body. Raise 422 if there is none."""
        found = jobs(self.business).select_related("business").filter(ref=ref).first()
        if found is None:
            raise InvalidDocument([Fault("/job", "unknown", "There is no such job.")])
        return found

    def item_response(self, item: StockItem, status: int = 200) -> Response:
        """Return the current item."""
        return self.one(STOCK.of(item), item, status=status, at=f"/api/v1/stock/{item.ref}" if status == 201 else "")


class StockListView(_StockEndpoint):
    """Stock items. POST adds stock to the item with the same properties."""

    scopes = {"GET": Scope.STOCK_READ, "POST": Scope.STOCK_WRITE}
    idempotent = frozenset({"POST"})
    paged = True
    parameters = {
        "component": "The sku of a component.",
        "role": "A role, such as rail.",
        "kind": "whole or remnant.",
        "job": "Ref of the job it is reserved for.",
    }

    @extend_schema(responses={200: page_of(STOCK_SCHEMA)}, summary="List stock")
    def get(self, request: Request) -> Response:
        parameters = request.query_params.dict()
        return self.page(lambda: queries.stock(self.business, parameters), STOCK, all_of=self.business)

    @extend_schema(request=serializers.StockIn, responses={201: STOCK_SCHEMA}, summary="Add stock")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.StockIn)
        component = components(self.business).select_related("business").filter(sku=body.pop("component")).first()
        if component is None:
            raise InvalidDocument([Fault("/component", "unknown", "There is no such component.")])
        job = self.job(body.pop("job")) if "job" in body else None
        item = stock_services.add_stock(component=component, actor=self.actor, job=job, **body)
        return self.item_response(item, 201)


class StockDetail(_StockEndpoint):
    """One item."""

    scopes = {"GET": Scope.STOCK_READ}

    @extend_schema(responses={200: STOCK_SCHEMA}, summary="Get a stock item")
    def get(self, request: Request, ref: str) -> Response:
        return self.item_response(self.item(ref))


class StockRemove(_StockEndpoint):
    """Removal of stock: scrapped, sold or lost."""

    scopes = {"POST": Scope.STOCK_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=serializers.StockRemovalIn, responses={200: STOCK_SCHEMA}, summary="Remove stock")
    def post(self, request: Request, ref: str) -> Response:
        item = stock_services.remove_stock(
            item=self.item_for_update(ref), actor=self.actor, **self.validated_data(serializers.StockRemovalIn)
        )
        return self.item_response(item)


class StockMovements(_StockEndpoint):
    """Movements of an item, newest first."""

    scopes = {"GET": Scope.STOCK_READ}
    paged = True

    @extend_schema(responses={200: page_of(MOVEMENT_SCHEMA)}, summary="List movements of a stock item")
    def get(self, request: Request, ref: str) -> Response:
        return self.page(queries.movements(self.item(ref)), STOCK_MOVEMENTS)


class StockReservations(_StockEndpoint):
    """Reservation of an item for a job."""

    scopes = {"POST": Scope.STOCK_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    @extend_schema(
        request=serializers.ReservationIn, responses={201: RESERVATION_SCHEMA}, summary="Reserve stock for a job"
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.ReservationIn)
        job = self.job(body["job"])
        reservation = stock_services.reserve_item(
            item=self.item_for_update(ref), job=job, quantity=body["quantity"], actor=self.actor
        )
        return self.one(
            RESERVATIONS.of(reservation), reservation, status=201, at=f"/api/v1/reservations/{reservation.ref}"
        )


class ReturnedMaterials(_StockEndpoint):
    """Returned materials of a job. POST adds them to stock; repeating it adds nothing."""

    scopes = {"POST": Scope.STOCK_WRITE}

    @extend_schema(request=None, responses={200: _ITEMS}, summary="Add a job's returned materials to stock")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(jobs(self.business).select_related("business"), ref)
        taken = stock_services.add_returns_to_stock(job=job, actor=self.actor)
        rows = StockItem.objects.of(self.business).filter(pk__in=[item.pk for item in taken]).order_by("id")
        return Response({"items": STOCK.read(rows)[0]})


class Reservations(Endpoint):
    """Reservations of all jobs."""

    scopes = {"GET": Scope.STOCK_READ}
    paged = True
    parameters = {"status": "reserved, used or released.", "job": "The ref of a job."}

    @extend_schema(responses={200: page_of(RESERVATION_SCHEMA)}, summary="List reservations")
    def get(self, request: Request) -> Response:
        parameters = request.query_params
        by = {"status": "state", "job": "job__ref"}
        rows = queries.reservations(self.business).filter(
            **{by[name]: parameters[name] for name in by if name in parameters}
        )
        return self.page(rows, RESERVATIONS, all_of=self.business)


class ReservationDetail(Endpoint):
    """One reservation. PATCH marks it as used or releases it."""

    scopes = {"GET": Scope.STOCK_READ, "PATCH": Scope.STOCK_WRITE}

    @extend_schema(responses={200: RESERVATION_SCHEMA}, summary="Get a reservation")
    def get(self, request: Request, ref: str) -> Response:
        reservation = self.find(queries.reservations(self.business), ref)
        return self.one(RESERVATIONS.of(reservation), reservation)

    @extend_schema(
        request=serializers.ReservationChange,
        responses={200: RESERVATION_SCHEMA},
        summary="Use or release a reservation",
    )
    def patch(self, request: Request, ref: str) -> Response:
        rows = queries.reservations(self.business).select_related("item__business", "job")
        reservation = self.get_for_update(rows, ref)
        reservation = stock_services.close_reservation(
            reservation=reservation,
            state=self.validated_data(serializers.ReservationChange)["status"],
            actor=self.actor,
        )
        return self.one(RESERVATIONS.of(reservation), reservation)
