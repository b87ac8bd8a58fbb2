"""What the crew records on a job."""

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
    """What was used, brought back, or built otherwise."""

    scopes = {"GET": Scope.SETOUT_READ, "POST": Scope.ASBUILT_WRITE}
    idempotent = frozenset({"POST"})
    paged = True

    @extend_schema(responses={200: page_of(BUILT_SCHEMA)}, summary="As-built entries of a job")
    def get(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        return self.page(queries.as_built(job), AS_BUILT, by="id")

    @extend_schema(request=BuiltIn, responses={201: BUILT_SCHEMA}, summary="Record as built")
    def post(self, request: Request, ref: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        entry = record_built(job=job, actor=self.actor, **self.validated_data(BuiltIn))
        return self.created(_row(entry), entry)


class AsBuiltEntry(Endpoint):
    """One entry: DELETE takes it back by its opposite, so that both stay on record."""

    scopes = {"GET": Scope.SETOUT_READ, "DELETE": Scope.ASBUILT_WRITE}

    @extend_schema(responses={200: BUILT_SCHEMA}, summary="One as-built entry")
    def get(self, request: Request, ref: str, entry: str) -> Response:
        row = self.find(queries.as_built(self.find(queries.jobs(self.business), ref)), entry)
        return self.one(_row(row), row)

    @extend_schema(responses={204: None}, summary="Take an entry back")
    def delete(self, request: Request, ref: str, entry: str) -> Response:
        job = self.find(queries.jobs(self.business), ref)
        row = self.get_for_update(queries.as_built(job), entry)
        take_back(entry=row, actor=self.actor)
        return Response(status=204)


def _row(entry: AsBuilt) -> dict[str, Any]:
    back = entry.reverses
    return {**serialize_row(entry, BUILT), "reverses": back.ref if back else None}
