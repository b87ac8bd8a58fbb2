"""Orders and quotes go into the books as they change."""

from __future__ import annotations

from quotes.accounting.order_posting import post
from quotes.accounting.quote_posting import post_quotes
from quotes.purchasing.models import OrderEvent
from shared.background.outbox import Event, on_event


@on_event("order.event")
def enter(event: Event) -> None:
    """Posts the order the event is about."""
    if event.business is not None:
        rows = OrderEvent.objects.of(event.business).select_related("order__business")
        post(rows.get(ref=event.subject).order)


@on_event("quote.sent")
def enter_sent(event: Event) -> None:
    """Post a quote that was sent."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.accepted")
def enter_accepted(event: Event) -> None:
    """Post a quote that was accepted."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.declined")
def enter_declined(event: Event) -> None:
    """Post a quote that was declined."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.lapsed")
def enter_lapsed(event: Event) -> None:
    """Post a quote that lapsed."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.cancelled")
def enter_cancelled(event: Event) -> None:
    """Post a quote that was cancelled with its job."""
    if event.business is not None:
        post_quotes(event.business)
