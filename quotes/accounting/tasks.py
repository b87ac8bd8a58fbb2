"""Orders and quotes go into the books as they change."""

from __future__ import annotations

from quotes.accounting.order_posting import post
from quotes.accounting.quote_posting import post_quotes
from quotes.purchasing.models import OrderEvent
from shared.background.outbox import Event, on_event


@on_event("order.event", name="accounting.enter_order_event")
def enter_order_event(event: Event) -> None:
    """Post the order of the event."""
    if event.business is not None:
        rows = OrderEvent.objects.of(event.business).select_related("order__business")
        post(rows.get(ref=event.subject).order)


@on_event("quote.sent", name="accounting.enter_sent_quote")
def enter_sent_quote(event: Event) -> None:
    """Post a quote that was sent."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.accepted", name="accounting.enter_accepted_quote")
def enter_accepted_quote(event: Event) -> None:
    """Post a quote that was accepted."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.declined", name="accounting.enter_declined_quote")
def enter_declined_quote(event: Event) -> None:
    """Post a quote that was declined."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.expired", name="accounting.enter_expired_quote")
def enter_expired_quote(event: Event) -> None:
    """Post a quote that expired."""
    if event.business is not None:
        post_quotes(event.business)


@on_event("quote.cancelled", name="accounting.enter_cancelled_quote")
def enter_cancelled_quote(event: Event) -> None:
    """Post a quote that was cancelled with its job."""
    if event.business is not None:
        post_quotes(event.business)
