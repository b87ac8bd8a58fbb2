"""Queries for suppliers' keys: the orders sent to the supplier. A sandbox key sees only the sandbox."""

from __future__ import annotations

from django.db.models import QuerySet

from quotes.integrations.models import Sandbox
from quotes.purchasing.models import OrderEvent, SupplierOrder
from quotes.purchasing.queries import orders_of
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.models import SupplierAccount


def account_of(actor: Actor) -> SupplierAccount:
    """Return the supplier's account of the caller. Raise 403 for other callers."""
    if actor.supplier_account is None:
        raise Problem("forbidden", "This address is for suppliers' keys.")
    return actor.supplier_account


def is_test(actor: Actor) -> bool:
    """Return whether the caller's key is a sandbox key."""
    return actor.test


def visible(actor: Actor) -> QuerySet[SupplierOrder]:
    """Return the orders that a supplier's key may see."""
    return seen_by(account_of(actor), test=is_test(actor))


def seen_by(account: SupplierAccount, *, test: bool) -> QuerySet[SupplierOrder]:
    """Return a supplier's orders: those of its sandbox, or the real ones."""
    sandboxes = Sandbox.objects.filter(account=account).values("business")
    rows = orders_of(account).filter(business__suspended_at=None)
    return rows.filter(business__in=sandboxes) if test else rows.exclude(business__in=sandboxes)


def events_seen_by(account: SupplierAccount, *, test: bool) -> QuerySet[OrderEvent]:
    """Return the events of a supplier's orders since they were placed, oldest first."""
    orders = seen_by(account, test=test)
    rows = OrderEvent.unscoped.filter(order__in=orders)  # unscoped: a supplier's own orders, in every business
    return rows.filter(for_supplier=True)
