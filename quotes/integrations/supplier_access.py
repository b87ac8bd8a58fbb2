"""Access of a supplier's system: its keys, and the orders that they may see. A sandbox key sees only the sandbox."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import transaction
from django.db.models import Q, QuerySet

from catalogue.models import Supplier
from quotes.integrations.models import Sandbox
from quotes.integrations.sandbox import open_sandbox
from quotes.purchasing.models import OrderEvent, SupplierOrder
from quotes.purchasing.queries import orders_of
from shared.business.actors import Actor
from shared.business.keys import TEST
from shared.business.models import ApiKey
from shared.business.roles import SUPPLIER_SCOPES, Scope
from shared.common.problems import Problem
from shared.database import audit_log
from shared.members.services import issue_key, refuse_more_than_own
from shared.models import SupplierAccount


@transaction.atomic
def issue_supplier_key(*, supplier: Supplier, name: str, live: bool, actor: Actor) -> tuple[ApiKey, str]:
    """Create a key for a supplier's system and return it with its text. The first key creates the account.

    Raises:
        Problem: the account serves other businesses too.
    """
    account = supplier.account
    if account is None:
        account = supplier.account = SupplierAccount.objects.create(name=supplier.name, email=supplier.email)
        supplier.save()
    elif has_other_businesses(account, supplier):
        raise Problem("conflict", "This supplier serves other businesses too. It creates its own keys.")
    if not live:
        open_sandbox(account)
    key, text = issue_key(name=name, scopes=SUPPLIER_SCOPES, supplier_account=account, live=live, actor=actor)
    audit_log.record(
        supplier.business, actor, "supplier.key", f"supplier:{supplier.ref}", {"key": key.ref, "live": live}
    )
    return key, text


def keys_for(supplier: Supplier) -> QuerySet[ApiKey]:
    """Return the keys of a supplier's system that this business may see and end: none if it serves other businesses too."""
    account = supplier.account
    if account is None or has_other_businesses(account, supplier):
        return ApiKey.objects.none()
    return ApiKey.objects.filter(supplier_account=account)


@transaction.atomic
def issue_own_key(*, actor: Actor, name: str, scopes: Iterable[Scope]) -> tuple[ApiKey, str]:
    """Create a further key for the supplier whose key this is: of the same kind, test or live, and with no more scopes."""
    requested = frozenset(scopes)
    refuse_more_than_own(requested, actor)
    return issue_key(
        name=name, scopes=requested, supplier_account=actor.supplier_account, live=not actor.test, actor=actor
    )


def own_keys(actor: Actor) -> QuerySet[ApiKey]:
    """Return the keys of the supplier whose key this is: a test key reaches test keys alone."""
    rows = ApiKey.objects.filter(supplier_account=actor.supplier_account)
    is_test = Q(prefix__startswith=TEST)
    return rows.filter(is_test if actor.test else ~is_test)


def has_other_businesses(account: SupplierAccount, supplier: Supplier) -> bool:
    """Return whether the supplier's account serves other businesses too."""
    others = Supplier.unscoped.filter(account=account)  # unscoped: only whether there are others is asked
    return others.exclude(business_id=supplier.business_id).filter(business__sandbox=None).exists()


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
