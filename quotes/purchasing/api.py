"""A business's own orders: drafting, placing, deciding, counting in, sending back."""

from __future__ import annotations

from datetime import date
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.models import Supplier
from catalogue.queries import suppliers
from fencing.buying.supplier_prices import Order
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import Job
from quotes.jobs.queries import jobs
from quotes.purchasing import queries, serializers, services
from quotes.purchasing.api_fields import (
    EVENT_SCHEMA,
    EVENTS,
    ORDER_FULL_SCHEMA,
    ORDERS,
    PLAN_SCHEMA,
    amount,
    number,
    order_full,
)
from quotes.purchasing.deliveries import return_goods
from quotes.purchasing.draft_orders import change_draft, order_for, plan_jobs, start_order
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.order_lists import LISTED_SCHEMA, WITH, with_lines
from quotes.purchasing.purchase_plan import PurchasePlan
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.dates import today

_MANY = {"type": "object", "properties": {"items": {"type": "array", "items": ORDER_FULL_SCHEMA}}}


class OwnOrder(Endpoint):
    """What endpoints about one order share."""

    def order(self, ref: str) -> SupplierOrder:
        """The order, or 404."""
        rows = queries.orders(self.business).select_related("supplier", "business")
        return self.find(rows, ref)

    def told(self, order: SupplierOrder, status: int = 200) -> Response:
        """The whole order with its tag."""
        order.refresh_from_db()
        return self.one(order_full(order), order, status=status)


class Orders(OwnOrder):
    """Orders, from the newest. POST drafts one by hand."""

    scopes = {"GET": Scope.ORDERS_READ, "POST": Scope.ORDERS_WRITE}
    idempotent = frozenset({"POST"})
    paged = True
    parameters = {
        "state": "draft, placed, acknowledged, despatched, received, closed or cancelled.",
        "supplier": "The code of a supplier.",
        "job": "The ref of a job.",
        "number": "The number of an order.",
        "with": WITH,
    }

    @extend_schema(responses={200: page_of(LISTED_SCHEMA)}, summary="Orders")
    def get(self, request: Request) -> Response:
        asked = request.query_params.dict()
        return with_lines(self.page(lambda: queries.orders(self.business, asked), ORDERS, all_of=self.business), asked)

    @extend_schema(request=serializers.OrderIn, responses={201: ORDER_FULL_SCHEMA}, summary="A new draft by hand")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.OrderIn)
        supplier = _supplier(self, body.pop("supplier"))
        job = _jobs(self, [body.pop("job")])[0] if "job" in body else None
        order = start_order(supplier=supplier, actor=self.actor, job=job, **body)
        return self.created(order_full(order), order)


class OrderPlan(Endpoint):
    """What ordering for jobs would buy, from whom, and what it would cost. Stores nothing."""

    scopes = {"POST": Scope.ORDERS_WRITE}
    computes_only = True

    @extend_schema(request=serializers.PlanIn, responses={200: PLAN_SCHEMA}, summary="Plan the buying for jobs")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.PlanIn)
        found = _jobs(self, body["jobs"])
        plan = plan_jobs(
            found, days=_days(self.business, body.get("deliver_by")), max_suppliers=body.get("max_suppliers")
        )
        return Response(_plan(plan, self.business.currency))


class OrdersForJobs(OwnOrder):
    """Drafts for one job or several together."""

    scopes = {"POST": Scope.ORDERS_WRITE}
    idempotent = frozenset({"POST"})

    @extend_schema(request=serializers.JobsIn, responses={201: _MANY}, summary="Draft orders for accepted jobs")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.JobsIn)
        orders = order_for(jobs=_jobs(self, body.pop("jobs")), actor=self.actor, **body)
        return Response({"items": [order_full(order) for order in orders]}, status=201)


class OrderDetail(OwnOrder):
    """One order. PATCH changes a draft; ``lines`` are said whole."""

    scopes = {"GET": Scope.ORDERS_READ, "PATCH": Scope.ORDERS_WRITE}

    @extend_schema(responses={200: ORDER_FULL_SCHEMA}, summary="One order")
    def get(self, request: Request, ref: str) -> Response:
        order = self.order(ref)
        return self.one(order_full(order), order)

    @extend_schema(request=serializers.OrderChange, responses={200: ORDER_FULL_SCHEMA}, summary="Change a draft")
    def patch(self, request: Request, ref: str) -> Response:
        rows = queries.orders(self.business).select_related("supplier", "business")
        order = self.get_for_update(rows, ref)
        changes = self.validated_data(serializers.OrderChange)
        if place := changes.get("deliver_to"):
            changes["deliver_to"] = {**order.deliver_to, **place}
        return self.told(change_draft(order=order, actor=self.actor, **changes))


class _Step(OwnOrder):
    """An action on an order, of the version that was looked at."""

    scopes = {"POST": Scope.ORDERS_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    def seen(self, ref: str) -> SupplierOrder:
        """Return the order, locked, if it still is the version that If-Match names: 404, 428, 412."""
        return self.get_for_update(queries.orders(self.business).select_related("supplier", "business"), ref)


class OrderPlacing(_Step):
    """Placing: the supplier gets to see the order."""

    @extend_schema(request=serializers.PlacingIn, responses={200: ORDER_FULL_SCHEMA}, summary="Place a draft")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.PlacingIn)
        return self.told(services.place(order=self.seen(ref), actor=self.actor, **body))


class OrderCancelling(_Step):
    """Cancelling, while nothing is on its way."""

    @extend_schema(request=serializers.ReasonIn, responses={200: ORDER_FULL_SCHEMA}, summary="Cancel an order")
    def post(self, request: Request, ref: str) -> Response:
        reason = self.validated_data(serializers.ReasonIn)["reason"]
        return self.told(services.cancel(order=self.seen(ref), actor=self.actor, reason=reason))


class OrderShortening(_Step):
    """Cancels what is outstanding of some lines."""

    @extend_schema(
        request=serializers.ShortenIn, responses={200: ORDER_FULL_SCHEMA}, summary="Cancel outstanding lines"
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.ShortenIn)
        order = services.cancel_outstanding(
            order=self.seen(ref), actor=self.actor, positions=body["lines"], reason=body["reason"]
        )
        return self.told(order)


class OrderClosing(_Step):
    """Files a received order."""

    @extend_schema(request=None, responses={200: ORDER_FULL_SCHEMA}, summary="Close a received order")
    def post(self, request: Request, ref: str) -> Response:
        return self.told(services.close(order=self.seen(ref), actor=self.actor))


class OrderDecisions(_Step):
    """The owner's word on what a supplier would change."""

    @extend_schema(request=serializers.DecisionsIn, responses={200: ORDER_FULL_SCHEMA}, summary="Decide on changes")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.DecisionsIn)
        decisions = {line["line"]: line["agree"] for line in body["lines"]}
        return self.told(services.decide(order=self.seen(ref), actor=self.actor, decisions=decisions))


class OrderReturns(_Step):
    """Sending goods back."""

    @extend_schema(request=serializers.ReturnIn, responses={201: ORDER_FULL_SCHEMA}, summary="Send goods back")
    def post(self, request: Request, ref: str) -> Response:
        order, _ = return_goods(order=self.seen(ref), actor=self.actor, **self.validated_data(serializers.ReturnIn))
        return self.told(order, 201)


class OrderEvents(OwnOrder):
    """Everything that happened to an order, from the first."""

    scopes = {"GET": Scope.ORDERS_READ}
    paged = True

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="Events of an order")
    def get(self, request: Request, ref: str) -> Response:
        return self.page(queries.events(self.order(ref)), EVENTS, by="id")


def _supplier(endpoint: Endpoint, code: str) -> Supplier:
    found = suppliers(endpoint.business).select_related("business").filter(code=code).first()
    if found is None:
        raise InvalidDocument([Fault("/supplier", "unknown", "There is no such supplier.")])
    return found


def _jobs(endpoint: Endpoint, refs: list[str]) -> list[Job]:
    rows = jobs(endpoint.business).filter(ref__in=refs).select_related("business", "site", "customer")
    found = {job.ref: job for job in rows}
    faults = [
        Fault(f"/jobs/{place}", "unknown", "There is no such job.")
        for place, ref in enumerate(refs)
        if ref not in found
    ]
    if faults:
        raise InvalidDocument(faults)
    return [found[ref] for ref in dict.fromkeys(refs)]


def _days(business: Business, deliver_by: date | None) -> int | None:
    return None if deliver_by is None else max(0, (deliver_by - today(business)).days)


def _part(order: Order, currency: str) -> dict[str, Any]:
    return {
        "supplier": order.supplier,
        "goods": amount(order.goods, currency),
        "delivery": amount(order.delivery, currency),
        "total": amount(order.total, currency),
        "lines": [
            {
                "component": line.component,
                "quantity": number(line.ordered),
                "price": amount(line.price, currency),
                "why": line.reason,
            }
            for line in order.lines
        ],
    }


def _plan(plan: PurchasePlan, currency: str) -> dict[str, Any]:
    saving = plan.sourcing.saving
    return {
        "orders": [_part(order, currency) for order in plan.chosen(None).orders],
        "alone": [
            {
                "supplier": code,
                "total": amount(split.total, currency) if split else None,
                "refused": plan.sourcing.refused.get(code, ""),
            }
            for code, split in plan.sourcing.alone.items()
        ],
        "from_stock": [
            {"component": sku, "length_mm": length, "quantity": number(quantity)}
            for (sku, length), quantity in plan.taken.items()
        ],
        "saving_from_combining_jobs": amount(plan.saving_from_combining_jobs, currency),
        "saving_from_several_suppliers": None if saving is None else amount(saving, currency),
        "max_further_saving": amount(plan.sourcing.gap, currency),
        "gap_ppm": plan.gap_ppm,
    }
