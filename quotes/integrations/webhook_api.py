"""Webhooks by API: a business's own under webhooks, a supplier's under supply/webhooks; both do the same."""

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
from quotes.integrations import supplier_queries, webhooks
from quotes.integrations.models import Attempt, DeliveryState, WebhookDelivery, WebhookEndpoint
from quotes.jobs.api_fields import DOCUMENT, TIME, WHOLE, shape
from quotes.purchasing.models import OrderEvent
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import RowSerializer, SharedQuery, same_names
from shared.api.serializers import StrictSerializer, TextField
from shared.business.roles import Scope

ENDPOINT = ("ref", "url", "kinds", "state", "why", "paused_until", "created_at")
ENDPOINT_SCHEMA = shape(ENDPOINT, kinds={"type": "array", "items": {"type": "string"}}, paused_until=TIME)
SECRET_SCHEMA = shape((*ENDPOINT, "secret"), kinds={"type": "array", "items": {"type": "string"}}, paused_until=TIME)
DELIVERY = ("ref", "message", "state", "tries", "next_attempt_at", "created_at", "body")
DELIVERY_SCHEMA = shape(
    DELIVERY,
    tries=WHOLE,
    next_attempt_at=TIME,
    event={"type": ["string", "null"]},
    attempts={"type": "array", "items": DOCUMENT},
)
ENDPOINTS = RowSerializer(same_names(*ENDPOINT))
DELIVERIES = RowSerializer({**same_names(*DELIVERY), "event": "event__ref"})
ATTEMPTS = RowSerializer(same_names("at", "status", "answer", "fault", "duration_ms"))


class EndpointIn(StrictSerializer):
    """``kinds``: only these events; none named is all of them."""

    url = TextField(max_length=500)
    kinds = serializers.ListField(child=TextField(max_length=60), required=False, max_length=50)


class EndpointChange(EndpointIn):
    cleared = {"kinds": list}
    enabled = serializers.BooleanField()


class ReplayIn(StrictSerializer):
    """One ``delivery`` by ref, or every event ``after`` one up to and including ``until``, perhaps only those that failed."""

    delivery = TextField(max_length=32, required=False)
    after = TextField(max_length=32, required=False)
    until = TextField(max_length=32, required=False)
    only_failed = serializers.BooleanField(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("delivery" in attrs) == ("after" in attrs):
            raise serializers.ValidationError({"delivery": "Say either delivery, or after (and until)."})
        return attrs


class _Hooks(Endpoint):
    """Whose endpoints are meant follows from the key."""

    def rows(self) -> QuerySet[WebhookEndpoint]:
        """The caller's endpoints."""
        return webhooks.endpoints_of(**self.whose())

    def whose(self) -> dict[str, Any]:
        """The holder, as the services want it."""
        account = self.actor.supplier_account
        if account is not None:
            return {"business": None, "account": account, "test": supplier_queries.is_test(self.actor)}
        return {"business": self.business, "account": None, "test": False}

    def events(self) -> QuerySet[OrderEvent]:
        """The events the caller may see."""
        account = self.actor.supplier_account
        if account is not None:
            return supplier_queries.events_seen_by(account, test=supplier_queries.is_test(self.actor))
        return OrderEvent.objects.of(self.business)

    def told(self, endpoint: WebhookEndpoint, status: int = 200, **more: str) -> Response:
        """The endpoint; its secret only where it was just made."""
        endpoint.refresh_from_db()
        return self.one({**ENDPOINTS.of(endpoint), **more}, endpoint, status=status)


class Webhooks(_Hooks):
    """Endpoints. POST adds one: it is pending until it answers a signed challenge; the secret is shown this once."""

    scopes = {"GET": Scope.WEBHOOKS_READ, "POST": Scope.WEBHOOKS_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(ENDPOINT_SCHEMA)}, summary="Webhook endpoints")
    def get(self, request: Request) -> Response:
        whose = self.whose()
        owner = whose["business"] or whose["account"]
        alike = SharedQuery((owner is whose["business"], whose["test"]), (owner.pk,))
        return self.page(lambda: webhooks.endpoints_of(**whose), ENDPOINTS, alike=alike)

    @extend_schema(request=EndpointIn, responses={201: SECRET_SCHEMA}, summary="A new endpoint")
    def post(self, request: Request) -> Response:
        body = self.validated_data(EndpointIn)
        endpoint = webhooks.add_endpoint(url=body["url"], kinds=body.get("kinds", []), actor=self.actor, **self.whose())
        response = self.told(endpoint, 201, secret=endpoint.secrets[0]["key"])
        response["Location"] = f"{request.path.rstrip('/')}/{endpoint.ref}"
        return response


class WebhookDetail(_Hooks):
    """One endpoint."""

    scopes = {"GET": Scope.WEBHOOKS_READ, "PATCH": Scope.WEBHOOKS_WRITE, "DELETE": Scope.WEBHOOKS_WRITE}

    @extend_schema(responses={200: ENDPOINT_SCHEMA}, summary="One endpoint")
    def get(self, request: Request, ref: str) -> Response:
        return self.told(self.find(self.rows(), ref))

    @extend_schema(request=EndpointChange, responses={200: ENDPOINT_SCHEMA}, summary="Change an endpoint")
    def patch(self, request: Request, ref: str) -> Response:
        endpoint = self.get_for_update(self.rows(), ref)
        changes = self.validated_data(EndpointChange, partial=True)
        return self.told(webhooks.change_endpoint(endpoint=endpoint, changes=changes, actor=self.actor))

    @extend_schema(responses={204: None}, summary="Take an endpoint away")
    def delete(self, request: Request, ref: str) -> Response:
        endpoint = self.get_for_update(self.rows(), ref)
        webhooks.remove_endpoint(endpoint=endpoint, actor=self.actor)
        return Response(status=204)


class WebhookSecrets(_Hooks):
    """New secret of an endpoint. The previous one signs for another day."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}
    needs_if_match = frozenset({"POST"})

    @extend_schema(request=None, responses={201: SECRET_SCHEMA}, summary="Rotate the secret")
    def post(self, request: Request, ref: str) -> Response:
        endpoint = self.get_for_update(self.rows(), ref)
        return self.told(endpoint, 201, secret=webhooks.rotate(endpoint=endpoint, actor=self.actor))


class WebhookChallenges(_Hooks):
    """Asks a pending endpoint once more."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}

    @extend_schema(request=None, responses={202: ENDPOINT_SCHEMA}, summary="Send the challenge again")
    def post(self, request: Request, ref: str) -> Response:
        endpoint = self.find(self.rows(), ref)
        webhooks.challenge(endpoint=endpoint, actor=self.actor)
        return self.told(endpoint, 202)


class WebhookTests(_Hooks):
    """Sends a test event."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}

    @extend_schema(request=None, responses={202: DELIVERY_SCHEMA}, summary="Send me a test event")
    def post(self, request: Request, ref: str) -> Response:
        delivery = webhooks.send_test(endpoint=self.find(self.rows(), ref), actor=self.actor)
        return Response({**DELIVERIES.of(delivery), "attempts": []}, status=202)


class WebhookDeliveries(_Hooks):
    """The delivery log of an endpoint, from the newest, with every try: kept for 90 days."""

    scopes = {"GET": Scope.WEBHOOKS_READ}
    paged = True
    parameters = {"state": "waiting, delivered or failed.", "event": "The ref of an event."}

    @extend_schema(responses={200: page_of(DELIVERY_SCHEMA)}, summary="Delivery log")
    def get(self, request: Request, ref: str) -> Response:
        endpoint = self.find(self.rows(), ref)
        rows = WebhookDelivery.objects.filter(endpoint=endpoint)
        by = {"state": "state", "event": "event__ref"}
        asked = request.query_params
        rows = rows.filter(**{by[name]: asked[name] for name in by if name in asked})
        page = self.page(rows, DELIVERIES, alike=SharedQuery("endpoint", (endpoint.pk,)))
        return _with_attempts(page)


class WebhookReplays(_Hooks):
    """Sends one delivery, or a range of events, once more."""

    scopes = {"POST": Scope.WEBHOOKS_WRITE}

    @extend_schema(request=ReplayIn, responses={202: shape((), replayed=WHOLE)}, summary="Replay one or a range")
    def post(self, request: Request, ref: str) -> Response:
        body = self.validated_data(ReplayIn)
        endpoint = self.find(self.rows().select_for_update(no_key=True), ref)
        made = webhooks.replay(endpoint=endpoint, events=self._meant(endpoint, body), actor=self.actor)
        return Response({"replayed": len(made)}, status=202)

    def _meant(self, endpoint: WebhookEndpoint, body: Mapping[str, Any]) -> list[OrderEvent]:
        if "delivery" in body:
            found = WebhookDelivery.objects.filter(endpoint=endpoint, ref=body["delivery"]).exclude(event=None).first()
            if found is None or found.event is None:
                raise InvalidDocument([Fault("/delivery", "unknown", "There is no such delivery of an event here.")])
            return [OrderEvent.objects.of(found.event.business).select_related("order").get(pk=found.event.pk)]
        rows = self.events().filter(id__gt=self._event("after", body))
        if "until" in body:
            rows = rows.filter(id__lte=self._event("until", body))
        if body.get("only_failed"):
            failed = WebhookDelivery.objects.filter(endpoint=endpoint, state=DeliveryState.FAILED)
            rows = rows.filter(pk__in=failed.values("event"))
        if endpoint.kinds:
            rows = rows.filter(kind__in=endpoint.kinds)
        return list(rows.select_related("order", "business").order_by("id")[: webhooks.MAX_REPLAYED + 1])

    def _event(self, name: str, body: Mapping[str, Any]) -> int:
        found = self.events().filter(ref=body[name]).first()
        if found is None:
            raise InvalidDocument([Fault(f"/{name}", "unknown", "There is no such event.")])
        return int(found.pk)


def _with_attempts(page: Response) -> Response:
    """The page's deliveries, each with its tries from the first."""
    data: Any = page.data
    rows = Attempt.objects.filter(delivery__ref__in=[item["ref"] for item in data["items"]]).order_by("id")
    found: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for attempt, (delivery,) in zip(*ATTEMPTS.read(rows, "delivery__ref"), strict=True):
        found[delivery].append(attempt)
    for item in data["items"]:
        item["attempts"] = found[item["ref"]]
    return page


DOORS = {
    "": Webhooks,
    "/<str:ref>": WebhookDetail,
    "/<str:ref>/secrets": WebhookSecrets,
    "/<str:ref>/challenges": WebhookChallenges,
    "/<str:ref>/tests": WebhookTests,
    "/<str:ref>/deliveries": WebhookDeliveries,
    "/<str:ref>/replays": WebhookReplays,
}


def for_supplier(kind: type[_Hooks]) -> type[_Hooks]:
    """The same door under a supplier's scopes."""
    scopes = {
        method: Scope.SUPPLY_READ if scope == Scope.WEBHOOKS_READ else Scope.SUPPLY_WRITE
        for method, scope in kind.scopes.items()
    }
    return type(f"Supply{kind.__name__}", (kind,), {"scopes": scopes, "__doc__": kind.__doc__})
