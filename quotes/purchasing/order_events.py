"""Locks orders, changes their state and records their events."""

from __future__ import annotations

from typing import Any

from django.db import connection

from quotes.purchasing.models import MOVES, OrderEvent, OrderLine, OrderState, SupplierOrder
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.database import audit_log
from shared.database.numbering import hold

_ACCOUNTS = 0x6F726465


def locked(order: SupplierOrder) -> SupplierOrder:
    """Return the current order, locked until the transaction ends."""
    rows = SupplierOrder.objects.of(order.business).select_related("supplier", "business")
    return rows.select_for_update(no_key=True, of=("self",)).get(pk=order.pk)


def lines_of(order: SupplierOrder) -> list[OrderLine]:
    """Return the lines of a locked order by position."""
    rows = OrderLine.objects.of(order.business).filter(order=order).select_related("component")
    return list(rows.order_by("position"))


def require(order: SupplierOrder, *states: str) -> None:
    """Raise 409 unless the order is in one of these states."""
    if order.state not in states:
        raise Problem("conflict", f"Order {order.number} is {order.state}. It must be: {', '.join(states)}.")


def move(order: SupplierOrder, to: str) -> None:
    """Change the state unless another request changed it. Raise 409 if the change is not allowed."""
    if order.state == to:
        return
    ways = MOVES[order.state]
    if to not in ways:
        raise Problem("conflict", f"An order that is {order.state} can go to: {', '.join(sorted(ways)) or 'nowhere'}.")
    same = SupplierOrder.objects.of(order.business).filter(pk=order.pk, state=order.state)
    if not same.update(state=to):
        raise Problem("conflict", f"Order {order.number} was changed by another request. Read it again.")
    order.state = OrderState(to)
    order.version += 1


def note(
    order: SupplierOrder,
    kind: str,
    text: str,
    actor: Actor,
    facts: dict[str, Any] | None = None,
    *,
    for_supplier: bool = True,
) -> OrderEvent:
    """Record an event, last in its transaction. Events of a business and of a supplier get ids in the order of commits.

    A caller that reads the events after the last known one misses none.
    """
    hold(order.business)
    _hold_account(order.supplier.account_id if for_supplier else None)
    event = OrderEvent.objects.of(order.business).create(
        order=order,
        sequence=order.sequence + 1,
        kind=kind,
        text=text[:2_000],
        created_by=actor.name[:160],
        details=facts or {},
        for_supplier=for_supplier,
    )
    order.sequence, order.change_sequence = event.sequence, event.pk
    order.save(update_fields=["sequence", "change_sequence"])
    audit_log.record(order.business, actor, kind, f"order:{order.ref}", {"text": text, **(facts or {})})
    publish_event("order.event", event.ref, business=order.business)
    return event


def _hold_account(account: int | None) -> None:
    if account is not None and connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [_ACCOUNTS, account % 2**31])
