"""Background tasks: deliver webhooks with retries, and send orders by mail to suppliers without a system."""

from __future__ import annotations

import hmac
import json
import secrets
from datetime import timedelta

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import F
from django.db.models.functions import Now
from django.utils import timezone

from quotes.documents.models import Document
from quotes.integrations import webhook_http
from quotes.integrations.models import DeliveryState, EndpointState, Sandbox, WebhookDelivery, WebhookEndpoint
from quotes.integrations.order_formats import FORMS
from quotes.integrations.webhook_http import HttpResult, post
from quotes.integrations.webhooks import TRIES, enqueue, keys_of, note_try, resting_until, wanting
from quotes.purchasing.models import OrderEvent, OrderState, SupplierOrder
from shared.background import outgoing_mail
from shared.background.outbox import Event, Finish, OutboxTask, RetryLater, TaskState, on_event, run_every
from shared.common.json_encoder import write_json

MAILED = ("pdf", "csv", "xlsx")
KEPT = timedelta(days=90)
WAITED, AGAIN = timedelta(seconds=0.5), timedelta(seconds=5)
AGENT = {"Content-Type": "application/json", "User-Agent": "Baywright-Webhooks/1"}


@on_event("order.event", name="integrations.queue_webhooks")
def queue_webhooks(event: Event) -> None:
    """Queue a delivery for every endpoint that receives the event."""
    if event.business is None:
        return
    rows = OrderEvent.objects.of(event.business).select_related("order__supplier")
    happened = rows.get(ref=event.subject)
    for endpoint in wanting(happened):
        enqueue(endpoint, happened)


def _send(endpoint: WebhookEndpoint, message: str, body: bytes) -> HttpResult:
    now = timezone.now()
    data = webhook_http.signature_headers(keys_of(endpoint, now), message, int(now.timestamp()), body)
    return post(endpoint.url, body, {**AGENT, **data})


@on_event("webhook.due", name="integrations.deliver_webhook", slow=True, attempts=50)
def deliver_webhook(event: Event) -> Finish | None:
    """Make one attempt. The outbox row schedules the next one, never the broker."""
    found = WebhookDelivery.objects.select_related("endpoint").filter(ref=event.subject).first()
    if found is None or found.state != DeliveryState.WAITING:
        return None
    delivery, endpoint, now = found, found.endpoint, timezone.now()
    if endpoint.state == EndpointState.DISABLED:
        WebhookDelivery.objects.filter(pk=delivery.pk).update(state=DeliveryState.FAILED, next_attempt_at=None)
        return None
    if until := resting_until(endpoint, now):
        raise RetryLater(until, "the endpoint is paused", begun=False)
    if _waited_for(delivery):
        raise RetryLater(now + AGAIN, "another delivery waits for this endpoint", begun=False)
    answer = _send(endpoint, delivery.message_id, delivery.body.encode())

    def finish() -> None:
        note_try(delivery, answer, timezone.now())

    if answer.succeeded:
        return finish
    delivery = note_try(delivery, answer, timezone.now())
    if delivery.next_attempt_at is not None:
        raise RetryLater(
            delivery.next_attempt_at, f"try {delivery.attempt_count} of {TRIES}: {answer.status or answer.fault}"
        )
    return None


def _waited_for(delivery: WebhookDelivery) -> bool:
    """Return whether another worker already waits for this endpoint. Then this one does other work."""
    begun = Now() + settings.JOB_LEASE - WAITED
    tries = OutboxTask.objects.filter(handler="integrations.deliver_webhook", state=TaskState.QUEUED)
    elsewhere = tries.filter(leased_until__gt=Now(), leased_until__lt=begun).exclude(event__subject=delivery.ref)
    return WebhookDelivery.objects.filter(
        endpoint=delivery.endpoint_id, ref__in=elsewhere.values("event__subject")
    ).exists()


@on_event("webhook.challenge", name="integrations.challenge_endpoint", slow=True, attempts=5)
def challenge_endpoint(event: Event) -> Finish | None:
    """Send the challenge to an endpoint. It stays pending until it returns the challenge's value."""
    endpoint = WebhookEndpoint.objects.filter(ref=event.subject, state=EndpointState.PENDING).first()
    if endpoint is None:
        return None
    word = secrets.token_urlsafe(24)
    data = {"type": "endpoint.challenge", "timestamp": timezone.now(), "data": {"challenge": word}}
    answer = _send(endpoint, f"msg_{event.ref}", write_json(data))
    consents = answer.succeeded and _answered(answer.body, word)

    def finish() -> None:
        same = WebhookEndpoint.objects.filter(pk=endpoint.pk, url=endpoint.url, state=EndpointState.PENDING)
        if consents:
            same.update(state=EndpointState.ACTIVE, reason="")
        else:
            same.update(reason=f"The challenge was not answered: {answer.status or answer.fault}"[:500])

    return finish


def _answered(body: str, word: str) -> bool:
    """Return whether the body is the value itself or ``{"challenge": value}``."""
    try:
        data = json.loads(body)
    except ValueError:
        data = body.strip()
    value = data.get("challenge", "") if isinstance(data, dict) else data
    return isinstance(value, str) and hmac.compare_digest(value.encode(), word.encode())


@on_event("webhook.disabled", name="integrations.mail_endpoint_disabled", slow=True)
def mail_endpoint_disabled(event: Event) -> Finish | None:
    """Send a mail about a disabled endpoint to its owner."""
    endpoint = WebhookEndpoint.objects.select_related("business", "account").get(ref=event.subject)
    to = endpoint.business.email if endpoint.business else endpoint.account.email if endpoint.account else ""
    if to and not endpoint.test:
        text = (
            f"Events are no longer sent to {endpoint.url}. {endpoint.reason} Enable it again when the endpoint works."
        )
        outgoing_mail.send(event, "switched-off", EmailMessage("A webhook was disabled", text, None, [to]))
    return None


@on_event("order_list.made", name="integrations.mail_order", slow=True)
def mail_order(event: Event) -> Finish | None:
    """Send the order list to a supplier without a system: PDF, CSV and XLSX."""
    if event.business is None or Sandbox.objects.filter(business=event.business).exists():
        return None
    paper = Document.objects.of(event.business).get(ref=event.subject)
    rows = SupplierOrder.objects.of(event.business).select_related("supplier", "business")
    order = rows.get(ref=paper.subject)
    if order.mailed_at or order.state == OrderState.CANCELLED or order.supplier.account_id or not order.supplier.email:
        return None
    text = f"Dear {order.supplier.name},\n\nplease find our order {order.number} attached.\n\n{order.business.name}\n"
    mail = EmailMessage(f"Order {order.number} from {order.business.name}", text, None, [order.supplier.email])
    for form in MAILED:  # the stored PDF, or a new one if the order has changed: all three have the same content
        kind, write = FORMS[form]
        mail.attach(f"{order.number}.{form}", write(order), kind.split(";")[0])
    outgoing_mail.send(event, "order", mail)

    def finish() -> None:
        SupplierOrder.objects.of(order.business).filter(pk=order.pk).update(
            mailed_at=timezone.now(), version=F("version"), updated_at=F("updated_at")
        )

    return finish


@run_every(timedelta(hours=6), name="integrations.delete_old_deliveries")
def delete_old_deliveries() -> None:
    """Delete deliveries that are older than 90 days. Events stay."""
    old = WebhookDelivery.objects.filter(created_at__lt=timezone.now() - KEPT).exclude(state=DeliveryState.WAITING)
    old.delete()
