"""Jobs that were agreed, and orders in every state, made by the services themselves."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from catalogue.models import Component, Supplier
from catalogue.queries import components, suppliers
from quotes.jobs.models import Job
from quotes.purchasing import services
from quotes.purchasing.draft_orders import start_order
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.quoting.customer_responses import accept
from shared.business.actors import Actor
from shared.business.roles import SUPPLIER_SCOPES
from shared.models import Business, SupplierAccount
from tests.quotes.quoting.cast import actor_of, measure, sent, token

ONE = [{"key": "owner", "name": "Ada Quill", "email": "ada@example.test", "chooses_options": True}]


def agreed_job(business: Business, *lengths: int) -> Job:
    """A job of level runs whose only party accepted its quote."""
    return agreed_fence(business, measure(*(lengths or (12000,))))


def agreed_fence(business: Business, document: Mapping[str, Any]) -> Job:
    """A job with this measure, whose only party accepted its quote."""
    revision = sent(business, {"parties": ONE}, document)
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)
    return Job.objects.of(business).select_related("business", "site").get(pk=revision.quote.job_id)


def supplier_actor(account: SupplierAccount) -> Actor:
    """A supplier's machine."""
    return Actor("supplier", "key", account.name, SUPPLIER_SCOPES, None, account)


def component_of(business: Business, role: str) -> Component:
    """Return the first component of a role that a supplier sells."""
    found = components(business).filter(role=role, offers__isnull=False).order_by("sku").first()
    assert found is not None
    return found


def seller_of(business: Business, component: Component, account: SupplierAccount | None = None) -> Supplier:
    """Return the supplier of a component, with ``account`` for its system."""
    supplier = suppliers(business).filter(offers__component=component).order_by("code").first()
    assert supplier is not None
    if account is not None and supplier.account_id is None:
        supplier.account = account
        supplier.save()
    return supplier


def drafted(
    business: Business, quantities: Mapping[str, str] | None = None, account: SupplierAccount | None = None
) -> SupplierOrder:
    """A draft by hand, priced 2.50 each: quantities by role."""
    wanted = quantities or {"rail": "10", "screw": "100"}
    found = {role: component_of(business, role) for role in wanted}
    supplier = seller_of(business, next(iter(found.values())), account)
    lines = [
        {"component": component.sku, "quantity": Decimal(wanted[role]), "price": Decimal("2.50")}
        for role, component in found.items()
    ]
    return start_order(supplier=supplier, actor=actor_of(business), lines=lines)


def placed(business: Business, quantities: Mapping[str, str] | None = None, **who: Any) -> SupplierOrder:
    """An order that was just placed."""
    order = drafted(business, quantities, **who)
    return services.place(order=order, actor=actor_of(business), allow_below_minimum=True)


def line(order: SupplierOrder, position: int) -> OrderLine:
    """A line as it is now."""
    return OrderLine.objects.of(order.business).get(order=order, position=position)


def now(order: SupplierOrder) -> SupplierOrder:
    """An order as it is now."""
    return SupplierOrder.objects.of(order.business).select_related("business", "supplier").get(pk=order.pk)
