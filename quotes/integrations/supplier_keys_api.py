"""A supplier's own keys: list, create and revoke."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.integrations import supplier_queries
from quotes.integrations.supplier_access import issue_own_key, own_keys
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.serializers import StrictSerializer, TextField
from shared.business.roles import SUPPLIER_SCOPES, Scope
from shared.members.api import ISSUED_KEY_SCHEMA, KEY_SCHEMA, KEYS
from shared.members.services import revoke_key


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
        supplier_queries.account_of(self.actor)
        return self.page(own_keys(self.actor), KEYS)

    @extend_schema(request=SupplyKeyIn, responses={201: ISSUED_KEY_SCHEMA}, summary="Create a key to replace one")
    def post(self, request: Request) -> Response:
        """Create a key. To replace one, use the new key, then revoke the old one with it."""
        supplier_queries.account_of(self.actor)
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
        supplier_queries.account_of(self.actor)
        return Response(KEYS.of(self.find(own_keys(self.actor), ref)))

    @extend_schema(responses={204: None}, summary="Revoke an own key")
    def delete(self, request: Request, ref: str) -> Response:
        """Revoke a key. It needs no If-Match, so that a leaked key can be revoked at once. A key can revoke itself."""
        supplier_queries.account_of(self.actor)
        key = self.find(own_keys(self.actor).select_for_update(no_key=True, of=("self",)), ref)
        revoke_key(key=key, actor=self.actor)
        return Response(status=204)
