"""Endpoints of as-built entries."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.jobs import queries
from quotes.jobs.api_fields import AS_BUILT, BUILT, BUILT_SCHEMA, serialize_row
from quotes.jobs.as_built import record_built, take_back
from quotes.jobs.models import AsBuilt
from quotes.jobs.serializers import BuiltIn
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope


class AsBuiltEntries(Endpoint):
    """Materials used, materials returned, and changes to the fence."""

    scopes = {"GET": Scope.SET_OUT_READ, "POST": Scope.AS_BUILT_WRITE}
    idempotent = frozenset({"POST"})
    paged = True

    @extend_schema(responses={200: page_of(BUILT_SCHEMA)}, summary="List as-built entries")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        return self.page(queries.as_built(job), AS_BUILT, by="id")

    @extend_schema(request=BuiltIn, responses={201: BUILT_SCHEMA}, summary="Record an as-built entry")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        entry = record_built(job=job, actor=self.actor, **self.validated_data(BuiltIn))
        return self.created(_row(entry), entry)


class AsBuiltEntry(Endpoint):
    """One entry. DELETE adds its opposite, so that both stay in the records."""

    scopes = {"GET": Scope.SET_OUT_READ, "DELETE": Scope.AS_BUILT_WRITE}

    @extend_schema(responses={200: BUILT_SCHEMA}, summary="Get an as-built entry")
    def get(self, request: Request, ref: str, entry: str) -> Response:
        row = self.find(queries.as_built(self.find(queries.jobs(self.business), ref)), entry)
        return self.one(_row(row), row)

    @extend_schema(responses={204: None}, summary="Reverse an as-built entry")
    def delete(self, request: Request, ref: str, entry: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        row = self.get_for_update(queries.as_built(job), entry)
        take_back(entry=row, actor=self.actor)
        return Response(status=204)


def _row(entry: AsBuilt) -> dict[str, Any]:
    back = entry.reverses
    return {**serialize_row(entry, BUILT), "reverses": back.ref if back else None}
