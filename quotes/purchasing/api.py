"""Endpoints of a business's orders: draft, place, cancel, decide on changes, return."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.models import Supplier
from catalogue.queries import suppliers
from fencing.buying.suppliers import Order
from fencing.model.faults import Fault, InvalidDocument
from quotes.documents.kinds.saw_sheet import SAW_SHEET
from quotes.documents.services import stored_document
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
from quotes.purchasing.order_lists import INCLUDE, LISTED_SCHEMA, with_lines
from quotes.purchasing.purchase_plan import PurchasePlan
from quotes.purchasing.saw_sheets import last_agreed
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.dates import today

_MANY = {"type": "object", "properties": {"items": {"type": "array", "items": ORDER_FULL_SCHEMA}}}


class OwnOrder(Endpoint):
    """Base of the endpoints of one order."""

    def order(self, ref: str) -> SupplierOrder:
        """Return the order. Raise 404 if there is none."""
        rows = queries.orders(self.business).select_related("supplier", "business")
        return self.find(rows, ref)

    def order_response(self, order: SupplierOrder, status: int = 200) -> Response:
        """Return the whole order with its ETag."""
        order.refresh_from_db()
        return self.one(order_full(order), order, status=status)


class Orders(OwnOrder):
    """Orders, newest first. POST creates a draft."""

    scopes = {"GET": Scope.ORDERS_READ, "POST": Scope.ORDERS_WRITE}
    idempotent = frozenset({"POST"})
    paged = True
    parameters = {
        "status": "draft, placed, acknowledged, despatched, received, closed or cancelled.",
        "supplier": "The code of a supplier.",
        "job": "The ref of a job.",
        "number": "The number of an order.",
        "include": INCLUDE,
    }

    @extend_schema(responses={200: page_of(LISTED_SCHEMA)}, summary="List orders")
    def get(self, request: Request) -> Response:
        parameters = request.query_params.dict()
        return with_lines(
            self.page(lambda: queries.orders(self.business, parameters), ORDERS, all_of=self.business), parameters
        )

    @extend_schema(request=serializers.OrderIn, responses={201: ORDER_FULL_SCHEMA}, summary="Create a draft order")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.OrderIn)
        supplier = _supplier(self, body.pop("supplier"))
        job = _jobs(self, [body.pop("job")])[0] if "job" in body else None
        order = start_order(supplier=supplier, actor=self.actor, job=job, **body)
        return self.created(order_full(order), order)


class OrderPlan(Endpoint):
    """Plan of purchases for jobs: suppliers, quantities and costs. It stores nothing."""

    scopes = {"POST": Scope.ORDERS_WRITE}
    computes_only = True

    @extend_schema(request=serializers.OrderPlanIn, responses={200: PLAN_SCHEMA}, summary="Plan purchases for jobs")
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.OrderPlanIn)
        found = _jobs(self, body["jobs"])
        plan = plan_jobs(
            found, days=_days(self.business, body.get("deliver_by")), max_suppliers=body.get("max_suppliers")
        )
        return Response(_plan(plan, self.business.currency))


class OrdersForJobs(OwnOrder):
    """Draft orders for one job or for several jobs together."""

    scopes = {"POST": Scope.ORDERS_WRITE}
    idempotent = frozenset({"POST"})

    @extend_schema(
        request=serializers.OrdersForJobsIn, responses={201: _MANY}, summary="Create draft orders for accepted jobs"
    )
    def post(self, request: Request) -> Response:
        body = self.validated_data(serializers.OrdersForJobsIn)
        orders = order_for(jobs=_jobs(self, body.pop("jobs")), actor=self.actor, **body)
        return Response({"items": [order_full(order) for order in orders]}, status=201)


class OrderDetail(OwnOrder):
    """One order. PATCH changes a draft and replaces all ``lines``."""

    scopes = {"GET": Scope.ORDERS_READ, "PATCH": Scope.ORDERS_WRITE}

    @extend_schema(responses={200: ORDER_FULL_SCHEMA}, summary="Get an order")
    def get(self, request: Request, ref: str) -> Response:
        order = self.order(ref)
        return self.one(order_full(order), order)

    @extend_schema(request=serializers.OrderChange, responses={200: ORDER_FULL_SCHEMA}, summary="Change a draft order")
    def patch(self, request: Request, ref: str) -> Response:
        rows = queries.orders(self.business).select_related("supplier", "business")
        order = self.get_for_update(rows, ref)
        changes = self.validated_data(serializers.OrderChange)
        if place := changes.get("deliver_to"):
            changes["deliver_to"] = {**order.deliver_to, **place}
        return self.order_response(change_draft(order=order, actor=self.actor, **changes))


class _OrderAction(OwnOrder):
    """Base of actions on an order in the version that was read."""

    scopes = {"POST": Scope.ORDERS_WRITE}
    idempotent = frozenset({"POST"})
    needs_if_match = frozenset({"POST"})

    def seen(self, ref: str) -> SupplierOrder:
        """Return the order, locked, if it still is the version that If-Match names: 404, 428, 412."""
        return self.get_for_update(queries.orders(self.business).select_related("supplier", "business"), ref)


class OrderPlace(_OrderAction):
    """Place action: the supplier can read the order."""

    @extend_schema(request=serializers.OrderPlacingIn, responses={200: ORDER_FULL_SCHEMA}, summary="Place an order")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.OrderPlacingIn)
        return self.order_response(services.place(order=self.seen(ref), actor=self.actor, **body))


class OrderCancel(_OrderAction):
    """Cancel action, while nothing is in transit."""

    @extend_schema(request=serializers.ReasonIn, responses={200: ORDER_FULL_SCHEMA}, summary="Cancel an order")
    def post(self, request: Request, ref: str) -> Response:
        reason = self.validated_data(serializers.ReasonIn)["reason"]
        return self.order_response(services.cancel(order=self.seen(ref), actor=self.actor, reason=reason))


class OrderCancelLines(_OrderAction):
    """Cancel action for outstanding quantities of some lines."""

    @extend_schema(
        request=serializers.CancelLinesIn,
        responses={200: ORDER_FULL_SCHEMA},
        summary="Cancel outstanding quantities of lines",
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.CancelLinesIn)
        order = services.cancel_outstanding(
            order=self.seen(ref), actor=self.actor, positions=body["lines"], reason=body["reason"]
        )
        return self.order_response(order)


class OrderClose(_OrderAction):
    """Close action for a received order."""

    @extend_schema(request=None, responses={200: ORDER_FULL_SCHEMA}, summary="Close an order")
    def post(self, request: Request, ref: str) -> Response:
        return self.order_response(services.close(order=self.seen(ref), actor=self.actor))


class OrderDecideChanges(_OrderAction):
    """Decision on the changes a supplier proposes."""

    @extend_schema(
        request=serializers.ChangeDecisionsIn,
        responses={200: ORDER_FULL_SCHEMA},
        summary="Accept or reject a supplier's changes",
    )
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(serializers.ChangeDecisionsIn)
        decisions = {line["line"]: line["accept"] for line in body["lines"]}
        return self.order_response(services.decide(order=self.seen(ref), actor=self.actor, decisions=decisions))


class OrderReturns(_OrderAction):
    """Returns of goods."""

    @extend_schema(request=serializers.ReturnIn, responses={201: ORDER_FULL_SCHEMA}, summary="Return goods")
    def post(self, request: Request, ref: str) -> Response:
        order, _ = return_goods(order=self.seen(ref), actor=self.actor, **self.validated_data(serializers.ReturnIn))
        return self.order_response(order, 201)


class OrderEvents(OwnOrder):
    """Events of an order, oldest first."""

    scopes = {"GET": Scope.ORDERS_READ}
    paged = True

    @extend_schema(responses={200: page_of(EVENT_SCHEMA)}, summary="List order events")
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
        "goods_total": amount(order.goods, currency),
        "delivery_fee": amount(order.delivery, currency),
        "total": amount(order.total, currency),
        "lines": [
            {
                "component": line.component,
                "quantity": number(line.ordered),
                "price": amount(line.price, currency),
                "purchase_reason": line.reason,
            }
            for line in order.lines
        ],
    }


def _plan(plan: PurchasePlan, currency: str) -> dict[str, Any]:
    saving = plan.sourcing.saving
    return {
        "orders": [_part(order, currency) for order in plan.chosen(None).orders],
        "single_supplier_options": [
            {
                "supplier": code,
                "total": amount(split.total, currency) if split else None,
                "rejection_reason": plan.sourcing.refused.get(code, ""),
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


class SawSheet(Endpoint):
    """Each bar to scale with its cuts, for the person at the saw; it names no money, so the crew may have it."""

    scopes = {"GET": Scope.SET_OUT_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(
        responses={(200, "application/pdf"): {"type": "string", "format": "binary"}},
        summary="Get the saw sheet of a job",
    )
    def get(self, request: Request, ref: str) -> HttpResponse:
        job = self.find(jobs(self.business).select_related("business"), ref)
        answer = HttpResponse(
            stored_document(revision=last_agreed(job), kind=SAW_SHEET), content_type="application/pdf"
        )
        answer["Content-Disposition"] = f'attachment; filename="saw-sheet-{job.number}.pdf"'
        return answer
