"""Webhook endpoints: of a business under webhooks, of a supplier under supply/webhooks. Both work the same."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations import supplier_access, webhooks
from quotes.integrations.models import Attempt, DeliveryState, WebhookDelivery, WebhookEndpoint
from quotes.jobs.api_fields import DOCUMENT, TIME, WHOLE, shape
from quotes.purchasing.models import OrderEvent
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import RowSerializer, SharedQuery, same_names
from shared.api.serializers import StrictSerializer, TextField
from shared.business.roles import Scope

ENDPOINT = ("ref", "url", "event_types", "reason", "paused_until", "created_at")
ENDPOINT_SCHEMA = shape(
    (*ENDPOINT, "status"), event_types={"type": "array", "items": {"type": "string"}}, paused_until=TIME
)
SECRET_SCHEMA = shape(
    (*ENDPOINT, "status", "secret"), event_types={"type": "array", "items": {"type": "string"}}, paused_until=TIME
)
DELIVERY = ("ref", "message_id", "attempt_count", "next_attempt_at", "created_at", "body")
DELIVERY_SCHEMA = shape(
    (*DELIVERY, "status"),
    attempt_count=WHOLE,
    next_attempt_at=TIME,
    event={"type": ["string", "null"]},
    attempts={"type": "array", "items": DOCUMENT},
)
ENDPOINTS = RowSerializer({**same_names(*ENDPOINT), "status": "state"})
DELIVERIES = RowSerializer({**same_names(*DELIVERY), "status": "state", "event": "event__ref"})
ATTEMPTS = RowSerializer(same_names("attempted_at", "http_status", "response_body", "error", "duration_ms"))


class EndpointIn(StrictSerializer):
    """``event_types``: only these events. Default: all events."""

    url = TextField(max_length=500)
    event_types = serializers.ListField(child=TextField(max_length=60), required=False, max_length=50)


class EndpointChange(EndpointIn):
    cleared = {"event_types": list}
    enabled = serializers.BooleanField()


class ReplayIn(StrictSerializer):
    """One ``delivery`` by ref, or every event after ``after_event`` up to and including ``until_event``.

    ``only_failed`` leaves out events that were delivered.
    """

    delivery = TextField(max_length=32, required=False)
    after_event = TextField(max_length=32, required=False)
    until_event = TextField(max_length=32, required=False)
    only_failed = serializers.BooleanField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("delivery" in attrs) == ("after_event" in attrs):
            raise serializers.ValidationError({"delivery": "Enter either delivery, or after_event (and until_event)."})
        return attrs


class _WebhookEndpoints(Endpoint):
    """Base of the webhook addresses. The owner of the endpoints follows from the key."""

    def rows(self) -> QuerySet[WebhookEndpoint]:
        """Return the caller's endpoints."""
        return webhooks.endpoints_of(**self.owner())

    def owner(self) -> dict[str, Any]:
        """Return the owner as arguments of the services."""
        account = self.actor.supplier_account
        if account is not None:
            return {"business": None, "account": account, "test": supplier_access.is_test(self.actor)}
        return {"business": self.business, "account": None, "test": False}

    def events(self) -> QuerySet[OrderEvent]:
        """Return the events the caller may see."""
        account = self.actor.supplier_account
        if account is not None:
            return supplier_access.events_seen_by(account, test=supplier_access.is_test(self.actor))
        return OrderEvent.objects.of(self.business)

    def endpoint_response(self, endpoint: WebhookEndpoint, status: int = 200, **more: str) -> Response:
        """Return the endpoint, with ``more`` fields such as a new secret."""
        endpoint.refresh_from_db()
        return self.one({**ENDPOINTS.of(endpoint), **more}, endpoint, status=status)


class Webhooks(_WebhookEndpoints):
    """Webhook endpoints. A new one is pending until it answers a signed challenge. Its secret is shown only once."""

    scopes = {"GET": Scope.WEBHOOKS_READ, "POST": Scope.WEBHOOKS_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(ENDPOINT_SCHEMA)}, summary="List webhook endpoints")
    def get(self, request: Request) -> Response:
        owner = self.owner()
        row = owner["business"] or owner["account"]
        shared = SharedQuery((row is owner["business"], owner["test"]), (row.pk,))
        return self.page(lambda: webhooks.endpoints_of(**owner), ENDPOINTS, shared=shared)

    @extend_schema(request=EndpointIn, responses={201: SECRET_SCHEMA}, summary="Create a webhook endpoint")
    def post(self, request: Request) -> Response:
        body = self.validated_data(EndpointIn)
        endpoint = webhooks.add_endpoint(
            url=body["url"], event_types=body.get("event_types", []), actor=self.actor, **self.owner()
        )
        response = self.endpoint_response(endpoint, 201, secret=endpoint.secrets[0]["key"])
        response["Location"] = f"{request.path.rstrip('/')}/{endpoint.ref}"
        return response


class WebhookDetail(_WebhookEndpoints):
    """One webhook endpoint."""

    scopes = {"GET": Scope.WEBHOOKS_READ, "PATCH": Scope.WEBHOOKS_WRITE, "DELETE": Scope.WEBHOOKS_WRITE}

    @extend_schema(responses={200: ENDPOINT_SCHEMA}, summary="Get a webhook endpoint")
    def get(self, request: Request, ref: str) -> Response:
        return self.endpoint_response(self.find(self.rows(), ref))

    @extend_schema(request=EndpointChange, responses={200: ENDPOINT_SCHEMA}, summary="Change a webhook endpoint")
    def patch(self, request: Request, ref: str) -> Response:
        endpoint = self.get_for_update(self.rows(), ref)
        changes = self.validated_data(EndpointChange, partial=True)
        return self.endpoint_response(webhooks.change_endpoint(endpoint=endpoint, changes=changes, actor=self.actor))

    @extend_schema(responses={204: None}, summary="Delete a webhook endpoint")
    def delete(self, request: Request, ref: str) -> Response:
        endpoint = self.get_for_update(self.rows(), ref)
        webhooks.remove_endpoint(endpoint=endpoint, actor=self.actor)
        return Response(status=204)


class WebhookRotateSecret(_WebhookEndpoints):
    """New secret of an endpoint. The previous one signs for another day."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=None, responses={201: SECRET_SCHEMA}, summary="Create a new signing secret")
    def post(self, request: Request, ref: str) -> Response:
        endpoint = self.get_for_update(self.rows(), ref)
        return self.endpoint_response(endpoint, 201, secret=webhooks.rotate(endpoint=endpoint, actor=self.actor))


class WebhookSendChallenge(_WebhookEndpoints):
    """Action that sends the challenge again to a pending endpoint."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}

    @extend_schema(request=None, responses={202: ENDPOINT_SCHEMA}, summary="Send the challenge again")
    def post(self, request: Request, ref: str) -> Response:
        endpoint = self.find(self.rows(), ref)
        webhooks.challenge(endpoint=endpoint, actor=self.actor)
        return self.endpoint_response(endpoint, 202)


class WebhookSendTest(_WebhookEndpoints):
    """Action that sends a test event."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}

    @extend_schema(request=None, responses={202: DELIVERY_SCHEMA}, summary="Send a test event")
    def post(self, request: Request, ref: str) -> Response:
        delivery = webhooks.send_test(endpoint=self.find(self.rows(), ref), actor=self.actor)
        return Response({**DELIVERIES.of(delivery), "attempts": []}, status=202)


class WebhookDeliveries(_WebhookEndpoints):
    """Deliveries of an endpoint with their attempts, newest first. They are kept for 90 days."""

    scopes = {"GET": Scope.WEBHOOKS_READ}
    paged = True
    parameters = {"status": "waiting, delivered or failed.", "event": "The ref of an event."}

    @extend_schema(responses={200: page_of(DELIVERY_SCHEMA)}, summary="List webhook deliveries")
    def get(self, request: Request, ref: str) -> Response:
        endpoint = self.find(self.rows(), ref)
        rows = WebhookDelivery.objects.filter(endpoint=endpoint)
        by = {"status": "state", "event": "event__ref"}
        parameters = request.query_params
        rows = rows.filter(**{by[name]: parameters[name] for name in by if name in parameters})
        page = self.page(rows, DELIVERIES, shared=SharedQuery("endpoint", (endpoint.pk,)))
        return _with_attempts(page)


class WebhookReplay(_WebhookEndpoints):
    """Action that sends one delivery or a range of events again."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}

    @extend_schema(request=ReplayIn, responses={202: shape((), replayed_count=WHOLE)}, summary="Replay events")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(ReplayIn)
        endpoint = self.find(self.rows().select_for_update(no_key=True), ref)
        made = webhooks.replay(endpoint=endpoint, events=self._events_to_replay(endpoint, body), actor=self.actor)
        return Response({"replayed_count": len(made)}, status=202)

    def _events_to_replay(self, endpoint: WebhookEndpoint, body: Mapping[str, Any]) -> list[OrderEvent]:
        if "delivery" in body:
            found = WebhookDelivery.objects.filter(endpoint=endpoint, ref=body["delivery"]).exclude(event=None).first()
            if found is None or found.event is None:
                raise InvalidDocument([Fault("/delivery", "unknown", "There is no such delivery of an event here.")])
            return [OrderEvent.objects.of(found.event.business).select_related("order").get(pk=found.event.pk)]
        rows = self.events().filter(id__gt=self._event("after_event", body))
        if "until_event" in body:
            rows = rows.filter(id__lte=self._event("until_event", body))
        if body.get("only_failed"):
            failed = WebhookDelivery.objects.filter(endpoint=endpoint, state=DeliveryState.FAILED)
            rows = rows.filter(pk__in=failed.values("event"))
        if endpoint.event_types:
            rows = rows.filter(kind__in=endpoint.event_types)
        return list(rows.select_related("order", "business").order_by("id")[: webhooks.MAX_REPLAYED + 1])

    def _event(self, name: str, body: Mapping[str, Any]) -> int:
        found = self.events().filter(ref=body[name]).first()
        if found is None:
            raise InvalidDocument([Fault(f"/{name}", "unknown", "There is no such event.")])
        return int(found.pk)


def _with_attempts(page: Response) -> Response:
    """Return the page with the attempts of each delivery, oldest first."""
    data: Any = page.data
    rows = Attempt.objects.filter(delivery__ref__in=[item["ref"] for item in data["items"]]).order_by("id")
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for attempt, (delivery,) in zip(*ATTEMPTS.read(rows, "delivery__ref"), strict=True):
        found[delivery].append(attempt)
    for item in data["items"]:
        item["attempts"] = found[item["ref"]]
    return page


ADDRESSES = {
    "": Webhooks,
    "/<str:ref>": WebhookDetail,
    "/<str:ref>/rotate-secret": WebhookRotateSecret,
    "/<str:ref>/send-challenge": WebhookSendChallenge,
    "/<str:ref>/send-test": WebhookSendTest,
    "/<str:ref>/deliveries": WebhookDeliveries,
    "/<str:ref>/replay": WebhookReplay,
}


def for_supplier(kind: type[_WebhookEndpoints]) -> type[_WebhookEndpoints]:
    """Return the same endpoint with a supplier's scopes."""
    scopes = {
        method: Scope.SUPPLY_READ if scope == Scope.WEBHOOKS_READ else Scope.SUPPLY_WRITE
        for method, scope in kind.scopes.items()
    }
    return type(f"Supply{kind.__name__}", (kind,), {"scopes": scopes, "__doc__": kind.__doc__})
