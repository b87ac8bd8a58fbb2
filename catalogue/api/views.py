"""The catalogue's endpoints: a list and a detail for each resource."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from catalogue import queries, services
from catalogue.api.api_fields import (
    COMPLETENESS_SCHEMA,
    SYSTEM,
    SYSTEM_FULL_SCHEMA,
    row_serializer,
    serialize_row,
    shape,
)
from catalogue.api.resources import RESOURCES, Resource
from catalogue.api.serializers import SystemChange
from catalogue.engine.completeness import missing_items
from catalogue.models import FenceSystem, FenceSystemVersion
from fencing.model.faults import Fault, InvalidDocument
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope
from shared.common.problems import Problem

_SYSTEMS = row_serializer(SYSTEM)
_DOCUMENT = {"application/json": {"type": "object", "additionalProperties": True}}


def listing(resource: Resource) -> type[Endpoint]:
    """Return the endpoint of a resource's list."""

    serializer = row_serializer(resource.members)

    class Listing(Endpoint):
        scopes = {"GET": resource.read, "POST": resource.write}
        paged = True
        parameters = resource.parameters

        @extend_schema(responses={200: page_of(shape(resource.members))}, summary=f"List {resource.plural}")
        def get(self, request: Request) -> Response:
            asked = request.query_params.dict()
            return self.page(
                lambda: resource.filter_rows(resource.rows(self.business), asked), serializer, all_of=self.business
            )

        @extend_schema(
            request=resource.body, responses={201: shape(resource.members)}, summary=f"Create {resource.one}"
        )
        def post(self, request: Request) -> Response:
            values = resource.resolve(self.business, self.validated_data(resource.body))
            row = resource.add(resource.model(business=self.business), actor=self.actor, values=values)
            return self.created(serializer.of(row), row)

    Listing.__name__ = Listing.__qualname__ = "".join(word.capitalize() for word in resource.name.split()) + "Listing"
    Listing.__doc__ = f"Every {resource.name} of the business."
    return Listing


def detail(resource: Resource) -> type[Endpoint]:
    """Return the endpoint of one row of a resource."""

    serializer = row_serializer(resource.members)

    class Detail(Endpoint):
        scopes = {"GET": resource.read, "PATCH": resource.write, "DELETE": resource.write}

        @extend_schema(responses={200: shape(resource.members)}, summary=f"Get {resource.one}")
        def get(self, request: Request, ref: str) -> Response:
            row = self.find(resource.rows(self.business), ref)
            return self.one(serializer.of(row), row)

        @extend_schema(
            request=resource.body(partial=True),
            responses={200: shape(resource.members)},
            summary=f"Change {resource.one}",
        )
        def patch(self, request: Request, ref: str) -> Response:
            row = self.get_for_update(resource.rows(self.business), ref)
            values = resource.resolve(self.business, self.validated_data(resource.body, partial=True))
            row = resource.change(row, actor=self.actor, values=values)
            return self.one(serializer.of(row), row)

        @extend_schema(responses={204: None}, summary=f"Delete {resource.one}")
        def delete(self, request: Request, ref: str) -> Response:
            resource.remove(self.get_for_update(resource.rows(self.business), ref), actor=self.actor)
            return Response(status=204)

    Detail.__name__ = Detail.__qualname__ = "".join(word.capitalize() for word in resource.name.split()) + "Detail"
    Detail.__doc__ = f"One {resource.name}."
    return Detail


def _system(system: FenceSystem, version: FenceSystemVersion) -> dict[str, Any]:
    row = {column: getattr(system, column) for column, _ in SYSTEM.values()}
    return {
        **serialize_row(SYSTEM, row),
        "version": version.number,
        "sha256": version.sha256,
        "document": version.document,
    }


def _document(request: Request) -> dict[str, Any]:
    document: Any = request.data
    if not isinstance(document, dict):
        raise InvalidDocument([Fault("", "type", "A fence system is a JSON object.")])
    return document


class FenceSystems(Endpoint):
    """The fence systems of the business."""

    scopes = {"GET": Scope.CATALOGUE_READ, "POST": Scope.CATALOGUE_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(shape(SYSTEM))}, summary="List fence systems")
    def get(self, request: Request) -> Response:
        return self.page(lambda: queries.systems(self.business), _SYSTEMS, all_of=self.business)

    @extend_schema(request=_DOCUMENT, responses={201: SYSTEM_FULL_SCHEMA}, summary="Create a fence system")
    def post(self, request: Request) -> Response:
        version = services.store_system(business=self.business, actor=self.actor, document=_document(request))
        return self.created(_system(version.system, version), version.system)


class FenceSystemDetail(Endpoint):
    """One fence system: its latest document or, with ``version``, an earlier one."""

    scopes = {"GET": Scope.CATALOGUE_READ, "PUT": Scope.CATALOGUE_WRITE, "PATCH": Scope.CATALOGUE_WRITE}
    parameters = {"version": "Number of an earlier version."}

    @extend_schema(responses={200: SYSTEM_FULL_SCHEMA}, summary="Get a fence system and its document")
    def get(self, request: Request, ref: str) -> Response:
        system = self.find(queries.systems(self.business), ref)
        return self.one(_system(system, self._version(system, request.query_params.get("version"))), system)

    @extend_schema(
        request=_DOCUMENT, responses={200: SYSTEM_FULL_SCHEMA}, summary="Save the next version of a fence system"
    )
    def put(self, request: Request, ref: str) -> Response:
        system = self.get_for_update(queries.systems(self.business), ref)
        version = services.store_system(
            business=self.business, actor=self.actor, document=_document(request), system=system
        )
        return self.one(_system(system, version), system)

    @extend_schema(
        request=SystemChange(partial=True),
        responses={200: SYSTEM_FULL_SCHEMA},
        summary="Make a fence system the default or deactivate it",
    )
    def patch(self, request: Request, ref: str) -> Response:
        system = self.get_for_update(queries.systems(self.business), ref)
        system = services.change_system(
            system=system, actor=self.actor, values=self.validated_data(SystemChange, partial=True)
        )
        return self.one(_system(system, self._version(system, None)), system)

    def _version(self, system: FenceSystem, number: str | None) -> FenceSystemVersion:
        wanted = str(system.latest_version) if number is None else number
        if not (wanted.isascii() and wanted.isdigit() and len(wanted) < 7):
            fault = {"parameter": "version", "code": "whole", "detail": "Enter a whole number."}
            raise Problem("invalid-parameter", errors=[fault])
        found = FenceSystemVersion.objects.of(self.business).filter(system=system, number=int(wanted)).first()
        if found is None:
            raise Problem("not-found")
        return found


class Completeness(Endpoint):
    """Items that a fence system needs before it can quote."""

    scopes = {"GET": Scope.CATALOGUE_READ}
    parameters = {"system": "Code of the fence system. Default: the default system."}
    refuses = {"GET": ("422",)}

    @extend_schema(responses={200: COMPLETENESS_SCHEMA}, summary="List what a fence system lacks for quoting")
    def get(self, request: Request) -> Response:
        code = request.query_params.get("system")
        if not code and not queries.systems(self.business).filter(is_default=True, active=True).exists():
            none = {"code": "system.missing", "role": "", "finish": None, "text": "no fence system"}
            return Response({"system": None, "is_complete": False, "missing_items": [none]})
        code = code or queries.default_system(self.business).code
        found = missing_items(self.business, code)
        missing = [{"code": item.code, "role": item.role, "finish": item.finish, "text": item.text} for item in found]
        return Response({"system": code, "is_complete": not found, "missing_items": missing})


def endpoints() -> list[tuple[str, type[Endpoint]]]:
    """Address and endpoint of every resource: its list, and one row of it."""
    return [
        pair
        for name, resource in RESOURCES.items()
        for pair in ((name, listing(resource)), (f"{name}/<str:ref>", detail(resource)))
    ]
