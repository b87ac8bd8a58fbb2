"""A supplier's sandbox: a make-believe business with a catalogue and sample orders, and no mail that leaves."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.db import transaction

from catalogue.models import Supplier
from catalogue.queries import suppliers
from catalogue.spreadsheets.sample_catalogue import load_starter
from quotes.integrations.models import Sandbox
from quotes.purchasing import services
from quotes.purchasing.draft_orders import start_order
from quotes.purchasing.models import OrderState, SupplierOrder
from shared.business.actors import SYSTEM
from shared.models import Business, SupplierAccount

NAME = "Sandbox Fencing"
SAMPLES = 2
MAX_LINES = 20


@transaction.atomic
def open_sandbox(account: SupplierAccount) -> Business:
    """Return the supplier's sandbox. It is created with sample orders on first use."""
    account = SupplierAccount.objects.select_for_update(no_key=True).get(pk=account.pk)
    known = Sandbox.objects.filter(account=account).select_related("business").first()
    if known is not None:
        return known.business
    business = Business.objects.create(
        name=NAME,
        country="NZ",
        currency="NZD",
        city="Tern Bay",
        address="1 Trial Street",
        email="sandbox@example.test",
    )
    load_starter(business, tax_name="Tax", tax_rate=Decimal(15))
    supplier = _seller(business)
    supplier.account, supplier.name, supplier.email = account, account.name, ""
    supplier.save()
    Sandbox.objects.create(account=account, business=business)
    for _ in range(SAMPLES):
        sample_order(account)
    return business


@transaction.atomic
def sample_order(account: SupplierAccount, lines: list[dict[str, Any]] | None = None) -> SupplierOrder:
    """Place an order in the sandbox. Default for ``lines``: one of three typical orders."""
    business = open_sandbox(account)
    supplier = _seller(business)
    order = start_order(
        supplier=supplier,
        actor=SYSTEM,
        lines=lines or _ordinary(supplier),
        deliver_to={"address": "4 Reed Lane", "city": "Tern Bay", "postcode": "0123", "country": "NZ"},
        note="A sample order: nothing is delivered or paid.",
    )
    return services.place(order=order, actor=SYSTEM, allow_below_minimum=True)


@transaction.atomic
def reset(account: SupplierAccount) -> Business:
    """Reset the sandbox: cancel open orders and place new sample orders. Events stay."""
    business = open_sandbox(account)
    rows = SupplierOrder.objects.of(business).exclude(state__in=[OrderState.CANCELLED, OrderState.CLOSED])
    for order in rows.select_related("supplier", "business").order_by("id"):
        if order.state in {OrderState.DESPATCHED, OrderState.RECEIVED}:
            _finish(order)
        else:
            services.cancel(order=order, actor=SYSTEM, reason="The sandbox was reset.")
    for _ in range(SAMPLES):
        sample_order(account)
    return business


def _finish(order: SupplierOrder) -> None:
    if order.state == OrderState.DESPATCHED:
        positions = [line.position for line in order.lines.all() if line.outstanding]
        for line in order.lines.filter(in_transit__gt=0):
            line.in_transit = Decimal(0)
            line.save()
        order = services.cancel_outstanding(
            order=order, actor=SYSTEM, positions=positions, reason="The sandbox was reset."
        )
    services.close(order=order, actor=SYSTEM)


def _seller(business: Business) -> Supplier:
    sellers = suppliers(business).filter(offers__component__role="rail").order_by("code").distinct()
    found = sellers.filter(account__isnull=False).first() or sellers.first()
    if found is None:
        raise LookupError("the starter catalogue has a supplier of rails")
    return found


def _ordinary(supplier: Supplier) -> list[dict[str, Any]]:
    skus: list[str] = []
    for role in ("rail", "sheet", "post.channel"):
        offer = supplier.offers.filter(component__role=role).select_related("component").order_by("id").first()
        if offer is not None:
            skus.append(offer.component.sku)
    return [{"component": sku, "quantity": Decimal(10 * place)} for place, sku in enumerate(skus, 1)]
