"""Keys of suppliers' systems: those that a business creates, and the supplier's own."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue.models import Supplier
from catalogue.queries import suppliers
from quotes.integrations.supplier_access import account_of, issue_own_key, issue_supplier_key, keys_for, own_keys
from quotes.jobs.api_fields import shape
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.serializers import StrictSerializer, TextField
from shared.business.roles import SUPPLIER_SCOPES, Scope
from shared.members.api import ISSUED_KEY_SCHEMA, KEY_SCHEMA, KEYS
from shared.members.services import revoke_key


class SupplierKeyIn(StrictSerializer):
    """``sandbox``: a key for the sandbox. It never sees a real order."""

    name = TextField(max_length=120)
    sandbox = serializers.BooleanField(required=False)


class SupplierKeys(Endpoint):
    """Keys of a supplier's system. The first key creates its account. A key is shown only once.

    Only the business that created the account issues its keys: a supplier's other businesses stay private.
    """

    scopes = {"GET": Scope.KEYS_READ, "POST": Scope.KEYS_WRITE}
    idempotent = frozenset({"POST"})
    paged = True

    @extend_schema(responses={200: page_of(KEY_SCHEMA)}, summary="List a supplier's keys")
    def get(self, request: Request, ref: str) -> Response:
        """Return no keys of a supplier that serves other businesses too: it manages its own keys."""
        return self.page(keys_for(_supplier(self, ref)), KEYS)

    @extend_schema(
        request=SupplierKeyIn,
        responses={201: shape(("ref", "name", "secret", "supplier_account"))},
        summary="Create a key for a supplier",
    )
    def post(self, request: Request, ref: str) -> Response:
        """Create a key. To replace one, wait until the supplier uses the new key (``last_used_at``), then revoke the old one."""
        body = self.validated_data(SupplierKeyIn)
        supplier = _supplier(self, ref)
        live = not body.get("sandbox", False)
        key, text = issue_supplier_key(supplier=supplier, name=body["name"], live=live, actor=self.actor)
        account = supplier.account.ref if supplier.account else ""
        return Response({"ref": key.ref, "name": key.name, "secret": text, "supplier_account": account}, status=201)


class SupplierKeyDetail(Endpoint):
    """One key of a supplier's system."""

    scopes = {"GET": Scope.KEYS_READ, "DELETE": Scope.KEYS_WRITE}
    unconditional = frozenset({"DELETE"})

    @extend_schema(responses={200: KEY_SCHEMA}, summary="Get a supplier's key")
    def get(self, request: Request, ref: str, api_key: str) -> Response:
        return Response(KEYS.of(self.find(keys_for(_supplier(self, ref)), api_key)))

    @extend_schema(responses={204: None}, summary="Revoke a supplier's key")
    def delete(self, request: Request, ref: str, api_key: str) -> Response:
        """Revoke a key. It needs no If-Match, so that a leaked key can be revoked at once."""
        row = self.find(keys_for(_supplier(self, ref)).select_for_update(no_key=True, of=("self",)), api_key)
        revoke_key(key=row, actor=self.actor, business=self.business)
        return Response(status=204)


def _supplier(endpoint: Endpoint, ref: str) -> Supplier:
    return endpoint.find(suppliers(endpoint.business).select_related("account"), ref)


class SupplyKeyIn(StrictSerializer):
    """Default for ``scopes``: the scopes of the key in use."""

    name = TextField(max_length=120)
    scopes = serializers.ListField(
        child=serializers.ChoiceField(sorted(SUPPLIER_SCOPES)),
        allow_empty=False,
        max_length=len(SUPPLIER_SCOPES),
        required=False,
    )


class SupplyKeys(Endpoint):
    """Keys of the supplier's system. A sandbox key can manage sandbox keys only."""

    scopes = {"GET": Scope.SUPPLY_READ, "POST": Scope.SUPPLY_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(KEY_SCHEMA)}, summary="List own keys")
    def get(self, request: Request) -> Response:
        account_of(self.actor)
        return self.page(own_keys(self.actor), KEYS)

    @extend_schema(request=SupplyKeyIn, responses={201: ISSUED_KEY_SCHEMA}, summary="Create a key to replace one")
    def post(self, request: Request) -> Response:
        """Create a key. To replace one, use the new key, then revoke the old one with it."""
        account_of(self.actor)
        body = self.validated_data(SupplyKeyIn)
        scopes = [Scope(name) for name in body.get("scopes", self.actor.scopes)]
        key, text = issue_own_key(actor=self.actor, name=body["name"], scopes=scopes)
        response = Response({**KEYS.of(key), "secret": text}, status=201)
        response["Location"] = f"{request.path}/{key.ref}"
        response["Cache-Control"] = "no-store"
        return response


class SupplyKeyDetail(Endpoint):
    """One key of the supplier's system."""

    scopes = {"GET": Scope.SUPPLY_READ, "DELETE": Scope.SUPPLY_WRITE}
    unconditional = frozenset({"DELETE"})

    @extend_schema(responses={200: KEY_SCHEMA}, summary="Get an own key")
    def get(self, request: Request, ref: str) -> Response:
        account_of(self.actor)
        return Response(KEYS.of(self.find(own_keys(self.actor), ref)))

    @extend_schema(responses={204: None}, summary="Revoke an own key")
    def delete(self, request: Request, ref: str) -> Response:
        """Revoke a key. It needs no If-Match, so that a leaked key can be revoked at once. A key can revoke itself."""
        account_of(self.actor)
        key = self.find(own_keys(self.actor).select_for_update(no_key=True, of=("self",)), ref)
        revoke_key(key=key, actor=self.actor)
        return Response(status=204)
