"""Orders go into the ledger as they change."""

from __future__ import annotations

from quotes.books.posting import post
from quotes.orders.models import OrderEvent
from shared.outbox import Event, handles


@handles("order.event")
def enter(event: Event) -> None:
    """Posts the order the event is about."""
    if event.business is not None:
        rows = OrderEvent.objects.of(event.business).select_related("order__business")
        post(rows.get(ref=event.subject).order)
