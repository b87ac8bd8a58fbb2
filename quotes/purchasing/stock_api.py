"""The yard by API: what lies there, what comes and goes, what is kept for which job."""

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
from quotes.purchasing.api_fields import HOLD_SCHEMA, HOLDS, MOVE_SCHEMA, STOCK, STOCK_MOVES, STOCK_SCHEMA
from quotes.purchasing.models import StockItem
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope

_ITEMS = {"type": "object", "properties": {"items": {"type": "array", "items": STOCK_SCHEMA}}}


class _StockEndpoint(Endpoint):
    def item(self, ref: str) -> StockItem:
        """One item, or 404."""
        return self.find(self._rows(), ref)

    def item_for_update(self, ref: str) -> StockItem:
        """Return an item, locked, if it still is the version that If-Match names: 404, 428, 412."""
        return self.get_for_update(self._rows(), ref)

    def _rows(self) -> QuerySet[StockItem]:
        return StockItem.objects.of(self.business).select_related("component", "business")

    def job(self, ref: str) -> Job:
        """A job named in a body, or 422."""
        found = jobs(self.business).select_related("business").filter(ref=ref).first()
        if found is None:
            raise InvalidDocument([Fault("/job", "unknown", "There is no such job.")])
        return found

    def told(self, item: StockItem, status: int = 200) -> Response:
        """The item as it is now."""
        return self.one(STOCK.of(item), item, status=status, at=f"/api/v1/stock/{item.ref}" if status == 201 else "")


class StockListView(_StockEndpoint):
    """What lies in the yard. POST puts something in: alike lies with alike."""

    scopes = {"GET": Scope.STOCK_READ, "POST": Scope.STOCK_WRITE}
    idempotent = frozenset({"POST"})
    paged = True
    parameters = {
        "component": "The sku of a component.",
        "role": "A role, such as rail.",
        "kind": "whole or remnant.",
        "job": "The ref of a job it is kept for.",
    }

    @extend_schema(responses={200: page_of(STOCK_SCHEMA)}, summary="StockListView")
    def get(self, request: Request) -> Response:
        asked = request.query_params.dict()
        return self.page(lambda: queries.stock(self.business, asked), STOCK, all_of=self.business)

    @extend_schema(request=serializers.StockIn, responses={201: STOCK_SCHEMA}, summary="Put something into stock")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.StockIn)
        component = components(self.business).select_related("business").filter(sku=body.pop("component")).first()
        if component is None:
            raise InvalidDocument([Fault("/component", "unknown", "There is no such component.")])
        job = self.job(body.pop("job")) if "job" in body else None
        item = stock_services.add_stock(component=component, actor=self.actor, job=job, **body)
        return self.told(item, 201)


class StockDetail(_StockEndpoint):
    """One item."""

    scopes = {"GET": Scope.STOCK_READ}

    @extend_schema(responses={200: STOCK_SCHEMA}, summary="One item of stock")
    def get(self, request: Request, ref: str) -> Response:
        return self.told(self.item(ref))


class StockTaking(_StockEndpoint):
    """Removal of stock: scrapped, sold or lost."""

    scopes = {"POST": Scope.STOCK_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=serializers.TakenIn, responses={200: STOCK_SCHEMA}, summary="Take something out of stock")
    def post(self, request: Request, ref: str) -> Response:
        item = stock_services.remove_stock(
            item=self.item_for_update(ref), actor=self.actor, **self.validated_data(serializers.TakenIn)
        )
        return self.told(item)


class StockMoves(_StockEndpoint):
    """Every change of an item, from the newest."""

    scopes = {"GET": Scope.STOCK_READ}
    paged = True

    @extend_schema(responses={200: page_of(MOVE_SCHEMA)}, summary="Moves of an item")
    def get(self, request: Request, ref: str) -> Response:
        return self.page(queries.moves(self.item(ref)), STOCK_MOVES)


class StockHolds(_StockEndpoint):
    """Reservation of an item for a job."""

    scopes = {"POST": Scope.STOCK_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=serializers.HoldIn, responses={201: HOLD_SCHEMA}, summary="Keep stock for a job")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.HoldIn)
        job = self.job(body["job"])
        held = stock_services.reserve_item(
            item=self.item_for_update(ref), job=job, quantity=body["quantity"], actor=self.actor
        )
        return self.one(HOLDS.of(held), held, status=201, at=f"/api/v1/holds/{held.ref}")


class Leftovers(_StockEndpoint):
    """Puts what the crew brought back from a job into stock; a second time finds nothing new."""

    scopes = {"POST": Scope.STOCK_WRITE}

    @extend_schema(request=None, responses={200: _ITEMS}, summary="Take a job's leftovers in")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(jobs(self.business).select_related("business"), ref)
        taken = stock_services.add_returns_to_stock(job=job, actor=self.actor)
        rows = StockItem.objects.of(self.business).filter(pk__in=[item.pk for item in taken]).order_by("id")
        return Response({"items": STOCK.read(rows)[0]})


class Holds(Endpoint):
    """Everything kept for jobs."""

    scopes = {"GET": Scope.STOCK_READ}
    paged = True
    parameters = {"state": "held, used or released.", "job": "The ref of a job."}

    @extend_schema(responses={200: page_of(HOLD_SCHEMA)}, summary="Stock kept for jobs")
    def get(self, request: Request) -> Response:
        asked = request.query_params
        by = {"state": "state", "job": "job__ref"}
        rows = queries.holds(self.business).filter(**{by[name]: asked[name] for name in by if name in asked})
        return self.page(rows, HOLDS, all_of=self.business)


class HoldDetail(Endpoint):
    """One hold. PATCH says it was used, or lets it go."""

    scopes = {"GET": Scope.STOCK_READ, "PATCH": Scope.STOCK_WRITE}

    @extend_schema(responses={200: HOLD_SCHEMA}, summary="One hold")
    def get(self, request: Request, ref: str) -> Response:
        hold = self.find(queries.holds(self.business), ref)
        return self.one(HOLDS.of(hold), hold)

    @extend_schema(request=serializers.HoldChange, responses={200: HOLD_SCHEMA}, summary="Use or release a hold")
    def patch(self, request: Request, ref: str) -> Response:
        rows = queries.holds(self.business).select_related("item__business", "job")
        hold = self.get_for_update(rows, ref)
        hold = stock_services.close_reservation(
            hold=hold, state=self.validated_data(serializers.HoldChange)["state"], actor=self.actor
        )
        return self.one(HOLDS.of(hold), hold)
