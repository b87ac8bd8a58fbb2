"""Orders and quotes go into the books as they change."""

from __future__ import annotations

from quotes.accounting.order_posting import post
from quotes.accounting.quote_posting import post_quotes
from quotes.purchasing.models import OrderEvent
from shared.background.outbox import Event, handles


@handles("order.event")
def enter(event: Event) -> None:
    """Posts the order the event is about."""
    if event.business is not None:
        rows = OrderEvent.objects.of(event.business).select_related("order__business")
        post(rows.get(ref=event.subject).order)


@handles("quote.sent")
def enter_sent(event: Event) -> None:
    """Post a quote that was sent."""
    if event.business is not None:
        post_quotes(event.business)


@handles("quote.accepted")
def enter_accepted(event: Event) -> None:
    """Post a quote that was accepted."""
    if event.business is not None:
        post_quotes(event.business)


@handles("quote.declined")
def enter_declined(event: Event) -> None:
    """Post a quote that was declined."""
    if event.business is not None:
        post_quotes(event.business)


@handles("quote.lapsed")
def enter_lapsed(event: Event) -> None:
    """Post a quote that lapsed."""
    if event.business is not None:
        post_quotes(event.business)


@handles("quote.cancelled")
def enter_cancelled(event: Event) -> None:
    """Post a quote that was cancelled with its job."""
    if event.business is not None:
        post_quotes(event.business)
