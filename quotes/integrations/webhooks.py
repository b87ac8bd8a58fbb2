"""Webhook endpoints and deliveries: event types, ten attempts in about 75 hours, and replay of events."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from django.conf import settings
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations.messages import MESSAGES
from quotes.integrations.models import Attempt, DeliveryState, EndpointState, Sandbox, WebhookDelivery, WebhookEndpoint
from quotes.integrations.webhook_http import SECONDS, HttpResult, new_secret
from quotes.integrations.webhook_targets import target_of
from quotes.purchasing.models import OrderEvent
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.common.json_encoder import write_json
from shared.common.problems import Problem
from shared.database import audit_log
from shared.models import Business, SupplierAccount

MAX_ENDPOINTS = 10
MAX_REPLAYED = 1_000
EVENT_TYPES = (
    "order.drafted", "order.placed", "order.changed", *(event for message in MESSAGES for event in message.events),
    "order.changes_decided", "order.goods_received", "order.lines_cancelled", "order.returned", "order.cancelled",
    "order.closed",
)  # fmt: skip
PAUSES: Final = (
    timedelta(seconds=5), timedelta(minutes=5), timedelta(minutes=30), timedelta(hours=2), timedelta(hours=5),
    timedelta(hours=10), timedelta(hours=14), timedelta(hours=20), timedelta(hours=24),
)  # fmt: skip
"""Pauses between attempts (Standard Webhooks 1.0.0): ten attempts, the last 75:35:05 after the first."""
TRIES: Final = len(PAUSES) + 1
JITTER_PERCENT = 10
SECRET_KEPT = timedelta(hours=24)
SLOW_DOWN = frozenset({429, 502, 504})
GONE = 410
HANGING_MS: Final = 5_000
"""An attempt of this length without an answer blocks a worker, so the endpoint is paused before its next delivery."""
TURN = timedelta(seconds=SECONDS)
REST = (timedelta(minutes=1), timedelta(hours=1))
"""The shortest and the longest pause; between them, a quarter of the time since its last success."""


def endpoints_of(
    *, business: Business | None, account: SupplierAccount | None, test: bool
) -> QuerySet[WebhookEndpoint]:
    """Return the endpoints of a business or a supplier."""
    return WebhookEndpoint.objects.filter(business=business, account=account, test=test)


@transaction.atomic
def add_endpoint(
    *,
    business: Business | None,
    account: SupplierAccount | None,
    test: bool,
    url: str,
    event_types: Sequence[str],
    actor: Actor,
) -> WebhookEndpoint:
    """Create an endpoint. It is pending until it answers a signed challenge."""
    if endpoints_of(business=business, account=account, test=test).count() >= MAX_ENDPOINTS:
        raise Problem("conflict", f"At most {MAX_ENDPOINTS} endpoints.")
    target_of(url)
    check_event_types(event_types)
    endpoint = WebhookEndpoint.objects.create(
        business=business,
        account=account,
        test=test,
        url=url,
        event_types=list(event_types),
        secrets=[{"key": new_secret()}],
    )
    ask_consent(endpoint)
    _record(endpoint, actor, "webhook.added", {"url": endpoint.url, "event_types": endpoint.event_types})
    return endpoint


@transaction.atomic
def change_endpoint(*, endpoint: WebhookEndpoint, changes: dict[str, Any], actor: Actor) -> WebhookEndpoint:
    """Change an endpoint's address, event types or enabled state. A new address needs a new challenge."""
    if "event_types" in changes:
        check_event_types(changes["event_types"])
        endpoint.event_types = changes["event_types"]
    moved = "url" in changes and changes["url"] != endpoint.url
    if moved:
        target_of(changes["url"])
        endpoint.url = changes["url"]
    if "enabled" in changes and not changes["enabled"]:
        endpoint.state, endpoint.reason = EndpointState.DISABLED, "switched off"
    elif moved or (changes.get("enabled") and endpoint.state == EndpointState.DISABLED):
        endpoint.state, endpoint.reason, endpoint.failing_since = EndpointState.PENDING, "", None
        ask_consent(endpoint)
    endpoint.version += 1
    endpoint.save()
    _record(endpoint, actor, "webhook.changed", dict(changes))
    return endpoint


@transaction.atomic
def remove_endpoint(*, endpoint: WebhookEndpoint, actor: Actor) -> None:
    """Delete an endpoint with its log. Lock it first, so that an attempt that is being recorded ends before."""
    endpoint.delete()
    _record(endpoint, actor, "webhook.removed", {"url": endpoint.url})


def _record(endpoint: WebhookEndpoint, actor: Actor, action: str, detail: dict[str, Any] | None = None) -> None:
    """Write the audit entry of a change. A supplier's endpoint belongs to no business and has no audit log."""
    if endpoint.business is not None:
        audit_log.record(endpoint.business, actor, action, f"webhook:{endpoint.ref}", detail)


def check_event_types(event_types: Sequence[str]) -> None:
    """Raise InvalidDocument with every unknown event type."""
    faults = [
        Fault(f"/event_types/{place}", "unknown", f"Choose from: {', '.join(EVENT_TYPES)}.")
        for place, kind in enumerate(event_types)
        if kind not in EVENT_TYPES
    ]
    if faults:
        raise InvalidDocument(faults)


def ask_consent(endpoint: WebhookEndpoint) -> None:
    """Send the challenge after this transaction."""
    publish_event("webhook.challenge", endpoint.ref)


@transaction.atomic
def challenge(*, endpoint: WebhookEndpoint, actor: Actor) -> None:
    """Send the challenge to an endpoint again."""
    ask_consent(endpoint)
    _record(endpoint, actor, "webhook.challenged")


@transaction.atomic
def rotate(*, endpoint: WebhookEndpoint, actor: Actor) -> str:
    """Create a secret. The old one signs for another day."""
    secret = new_secret()
    until = (timezone.now() + SECRET_KEPT).isoformat()
    endpoint.secrets = [{"key": secret}, {"key": endpoint.secrets[0]["key"], "until": until}]
    endpoint.version += 1
    endpoint.save()
    _record(endpoint, actor, "webhook.secret")
    return secret


def keys_of(endpoint: WebhookEndpoint, now: datetime) -> list[str]:
    """Return the secrets that sign now, newest first."""
    return [
        secret["key"]
        for secret in endpoint.secrets
        if "until" not in secret or datetime.fromisoformat(secret["until"]) > now
    ]


def wanting(event: OrderEvent) -> Iterable[WebhookEndpoint]:
    """Return the active endpoints for an event: those of the business, and of the supplier if it may see the order."""
    account = event.order.supplier.account_id if event.for_supplier and event.order.placed_at else None
    test = Sandbox.objects.filter(business=event.business_id).exists()
    whose = Q(business=event.business_id)
    if account is not None:
        whose |= Q(account=account, test=test)
    rows = WebhookEndpoint.objects.filter(whose, state=EndpointState.ACTIVE).order_by("id")
    return [row for row in rows if not row.event_types or event.kind in row.event_types]


def body_of(event: OrderEvent, endpoint: WebhookEndpoint) -> str:
    """Return the short body: the event, its order and the order's address."""
    where = "supply/orders" if endpoint.account_id else "orders"
    data = {
        "type": event.kind,
        "timestamp": event.created_at,
        "data": {
            "event": event.ref,
            "sequence": event.sequence,
            "order": event.order.ref,
            "order_number": event.order.number,
            "href": f"{settings.PUBLIC_URL}/api/v1/{where}/{event.order.ref}",
        },
    }
    return write_json(data).decode()


def enqueue(endpoint: WebhookEndpoint, event: OrderEvent, replay: int = 0) -> WebhookDelivery | None:
    """Create the delivery of an event to an endpoint. Return None if it exists already."""
    found, new = WebhookDelivery.objects.get_or_create(
        endpoint=endpoint, event=event, replay=replay, defaults={"message_id": "", "body": body_of(event, endpoint)}
    )
    if not new:
        return None
    return _begin(found)


def enqueue_test(endpoint: WebhookEndpoint) -> WebhookDelivery:
    """Create the delivery of a test event."""
    body = write_json({"type": "endpoint.test", "timestamp": timezone.now(), "data": {"endpoint": endpoint.ref}})
    return _begin(WebhookDelivery.objects.create(endpoint=endpoint, message_id="", body=body.decode()))


@transaction.atomic
def send_test(*, endpoint: WebhookEndpoint, actor: Actor) -> WebhookDelivery:
    """Send a requested test event."""
    delivery = enqueue_test(endpoint)
    _record(endpoint, actor, "webhook.tested")
    return delivery


def _begin(delivery: WebhookDelivery) -> WebhookDelivery:
    delivery.message_id, delivery.next_attempt_at = f"msg_{delivery.ref}", timezone.now()
    delivery.save()
    publish_event("webhook.due", delivery.ref)
    return delivery


@transaction.atomic
def replay(*, endpoint: WebhookEndpoint, events: Sequence[OrderEvent], actor: Actor) -> list[WebhookDelivery]:
    """Send events again, each with a new message id."""
    if len(events) > MAX_REPLAYED:
        raise InvalidDocument([Fault("/after", "range", f"At most {MAX_REPLAYED} events at once.")])
    made: list[WebhookDelivery] = []
    for event in events:
        times = WebhookDelivery.objects.filter(endpoint=endpoint, event=event).count()
        delivery = enqueue(endpoint, event, times)
        if delivery is not None:
            made.append(delivery)
    _record(endpoint, actor, "webhook.replayed", {"events": len(made)})
    return made


def due_after(delivery: WebhookDelivery, answer: HttpResult | None, now: datetime) -> datetime | None:
    """Return the time of the next attempt, or None after the last one."""
    if delivery.attempt_count >= TRIES:
        return None
    pause = PAUSES[delivery.attempt_count - 1]
    chance = int.from_bytes(hashlib.sha256(f"{delivery.ref}.{delivery.attempt_count}".encode()).digest()[:4], "big")
    pause += pause * (chance % (JITTER_PERCENT + 1)) / 100
    if answer is not None and answer.retry_after:
        pause = max(pause, timedelta(seconds=answer.retry_after))
    return now + pause


def resting_until(endpoint: WebhookEndpoint, now: datetime) -> datetime | None:
    """Return when to try an endpoint again, or None to try now. A failing endpoint is tried by one delivery at a time."""
    resting = endpoint.paused_until if endpoint.paused_until and endpoint.paused_until > now else None
    if resting or endpoint.failing_since is None:
        return resting
    until = now + TURN
    free = Q(paused_until=None) | Q(paused_until__lte=now)
    mine = WebhookEndpoint.objects.filter(free, pk=endpoint.pk).update(paused_until=until)
    return None if mine else until


def _rest(endpoint: WebhookEndpoint, answer: HttpResult, now: datetime) -> datetime | None:
    """Return the end of the pause after an attempt. A pause that the endpoint requested stays; the turn of a delivery ends."""
    if answer.status in SLOW_DOWN:
        return now + timedelta(seconds=answer.retry_after or 60)
    if answer.status is None and answer.duration_ms >= HANGING_MS:
        shortest, longest = REST
        return now + min(max((now - (endpoint.failing_since or now)) / 4, shortest), longest)
    asked_for = endpoint.paused_until is not None and endpoint.paused_until > now + TURN
    return endpoint.paused_until if asked_for else None


@transaction.atomic
def note_try(delivery: WebhookDelivery, answer: HttpResult, now: datetime) -> WebhookDelivery:
    """Record an attempt and update its delivery and endpoint."""
    endpoint = WebhookEndpoint.objects.select_for_update(no_key=True).filter(pk=delivery.endpoint_id).first()
    if endpoint is None:
        return delivery  # deleted in the meantime, with all its deliveries
    delivery = WebhookDelivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
    Attempt.objects.create(
        delivery=delivery,
        attempted_at=now,
        http_status=answer.status,
        response_body=answer.body,
        error=answer.fault,
        duration_ms=answer.duration_ms,
    )
    delivery.attempt_count += 1
    if answer.succeeded:
        delivery.state, delivery.next_attempt_at, endpoint.failing_since = DeliveryState.DELIVERED, None, None
    else:
        delivery.next_attempt_at = due_after(delivery, answer, now)
        endpoint.failing_since = endpoint.failing_since or now
        if answer.status == GONE:
            _disable(endpoint, "It answered 410: gone.")
        if delivery.next_attempt_at is None or endpoint.state == EndpointState.DISABLED:
            delivery.state, delivery.next_attempt_at = DeliveryState.FAILED, None
        if delivery.attempt_count >= TRIES and endpoint.failing_since <= delivery.created_at:
            _disable(endpoint, "Nothing was delivered for about 75 hours.")
    endpoint.paused_until = _rest(endpoint, answer, now)
    delivery.save()
    endpoint.save()
    return delivery


def _disable(endpoint: WebhookEndpoint, reason: str) -> None:
    if endpoint.state != EndpointState.DISABLED:
        endpoint.state, endpoint.reason = EndpointState.DISABLED, reason
        endpoint.version += 1
        publish_event("webhook.disabled", endpoint.ref)
