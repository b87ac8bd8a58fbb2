"""OpenAPI schema of everything that all endpoints have in common."""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Mapping
from typing import Any

from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework.serializers import ListField, ListSerializer, MultipleChoiceField

from shared.api import openapi_examples
from shared.api.endpoint import Endpoint
from shared.api.serializers import StrictSerializer
from shared.common.problems import KNOWN, MEDIA_TYPE

_PROBLEM = {
    "type": "object",
    "required": ["type", "title", "status", "detail", "instance", "code"],
    "properties": {
        "type": {"type": "string", "format": "uri"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string"},
        "code": {"type": "string", "description": f"One of, and later more than: {', '.join(KNOWN)}."},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["code", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "A JSON Pointer into the body, as a URI fragment."},
                    "parameter": {"type": "string"},
                    "header": {"type": "string"},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
    "example": {
        "type": "http://localhost:8000/api/docs/problems/invalid",
        "title": "Invalid data",
        "status": 422,
        "detail": "See errors: each names a field and the accepted values.",
        "instance": "urn:request:9f3c1a7e5d",
        "code": "invalid",
        "errors": [{"pointer": "#/name", "code": "required", "detail": "This field is required."}],
    },
}
_ALWAYS = ("400", "401", "403", "404", "405", "406", "429")
_CHANGES = ("PUT", "PATCH", "DELETE")
_WITH_BODY = ("409", "413", "415", "422")


def page_of(item: dict[str, Any]) -> dict[str, Any]:
    """Return the schema of a page of ``item``, for ``extend_schema(responses={200: page_of(…)})``."""
    return {
        "type": "object",
        "required": ["items", "next"],
        "properties": {
            "items": {"type": "array", "items": item},
            "next": {"type": ["string", "null"], "format": "uri", "description": "The next page; null on the last."},
        },
    }


class ExactFieldSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]  # ships no types
    """Schema of ``ExactField``: a decimal number as text."""

    target_class = "shared.api.serializers.ExactField"

    def map_serializer_field(self, auto_schema: Any, direction: str) -> dict[str, Any]:
        """Return the schema of the field."""
        pattern = rf"^-?[0-9]{{1,20}}(\.[0-9]{{1,{max(1, self.target.places)}}})?$"
        return {"type": "string", "pattern": pattern, "examples": ["12.50" if self.target.places > 1 else "12"]}


class EndpointSchema(AutoSchema):
    """Schema of an endpoint, with its parameters, headers, scopes and problems."""

    def get_override_parameters(self) -> list[Any]:
        """Return the query parameters and headers of a method."""
        view = self.view
        if not isinstance(view, Endpoint):
            return []
        names = dict(view.parameters)
        if view.paged and self.method == "GET":
            names |= {"cursor": "Cursor of the next page.", "page_size": "1 to 200; a larger number is read as 200."}
        data = [OpenApiParameter(name, str, description=text) for name, text in names.items()]
        if self.method in view.idempotent:
            data.append(
                _header(
                    "Idempotency-Key",
                    "A new id for each new action. The same id returns the first response again.",
                    True,
                )
            )
        if self._conditional():
            data.append(_header("If-Match", "The ETag of the version that was seen.", True))
        return data

    def get_auth(self) -> list[dict[str, list[str]]]:
        """Return nothing; ``get_operation`` sets the security."""
        return []

    def get_operation_id(self) -> str:
        """Return the method and the address, such as ``get_members_ref``. It is as stable as they are."""
        address = self.path.removeprefix("/api/v1/")
        return f"{self.method.lower()}_{re.sub('[^a-z0-9]+', '_', address.lower()).strip('_')}"

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        """Return the description of a method, with its scope and problems."""
        operation: dict[str, Any] | None = super().get_operation(*args, **kwargs)
        if operation is None or not isinstance(self.view, Endpoint):
            return operation
        scope = self.view.scopes.get(self.method)
        if scope is not None:
            operation["x-scope"] = str(scope)
            operation["description"] = f"{operation.get('description', '')}\n\nNeeds the scope `{scope}`.".strip()
        if self.method in self.view.deprecated:
            operation["deprecated"] = True
        operation["security"] = [] if self.view.public else [{"key": []}, {"session": []}]
        for status in self._problem_statuses():
            operation["responses"].setdefault(status, {"$ref": f"#/components/responses/Problem{status}"})
        return operation

    def _map_basic_serializer(self, serializer: Any, direction: Any) -> dict[str, Any]:
        schema: dict[str, Any] = super()._map_basic_serializer(serializer, direction)  # type: ignore[no-untyped-call]  # ships no types
        if direction == "request" and isinstance(serializer, StrictSerializer):
            schema["additionalProperties"] = False
        return schema

    def _map_serializer_field(self, field: Any, direction: Any, *args: Any, **kwargs: Any) -> dict[str, Any]:
        schema: dict[str, Any] = super()._map_serializer_field(field, direction, *args, **kwargs)  # type: ignore[no-untyped-call]  # ships no types
        many = isinstance(field, (ListField, ListSerializer, MultipleChoiceField))
        if many and not field.allow_empty and schema.get("type") == "array":
            schema["minItems"] = max(1, schema.get("minItems", 0))
        return schema

    def _conditional(self) -> bool:
        view = self.view
        if not isinstance(view, Endpoint):
            return False
        return self.method in view.needs_if_match or (self.method in _CHANGES and self.method not in view.unconditional)

    def _problem_statuses(self) -> tuple[str, ...]:
        conditional = ("412", "428") if self._conditional() else ()
        own = self.view.refuses.get(self.method, ()) if isinstance(self.view, Endpoint) else ()
        return (*_ALWAYS, *(_WITH_BODY if self.method != "GET" else ()), *conditional, *own)


def _header(name: str, text: str, required: bool) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=required, description=text)


def describe_everything(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Add the problem document, one response for each of its statuses, and examples."""
    components = result.setdefault("components", {})
    for schema in components.get("schemas", {}).values():
        if schema.get("description") == inspect.getdoc(StrictSerializer):
            del schema["description"]  # it describes the class, not the body
    components.setdefault("schemas", {})["Problem"] = _PROBLEM
    responses = components.setdefault("responses", {})
    for status in sorted({str(status) for status, _, _ in KNOWN.values()}):
        titles = [f"`{code}`: {title}" for code, (known, title, _) in KNOWN.items() if str(known) == status]
        responses[f"Problem{status}"] = {
            "description": "; ".join(titles),
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
    openapi_examples.fill_in(result)
    described: dict[str, Any] = _replace_const(result)
    return described


def _replace_const(schema: Any) -> Any:
    """Replace ``const`` by an ``enum`` with one value, which client generators understand too."""
    if isinstance(schema, Mapping):
        return {
            "enum" if name == "const" else name: [value] if name == "const" else _replace_const(value)
            for name, value in schema.items()
        }
    return [_replace_const(item) for item in schema] if isinstance(schema, list) else schema


def document_text(made: dict[str, Any]) -> str:
    """Return the document as text for the committed copy, with the default server address."""
    neutral = {**made, "servers": [{"url": "http://localhost:8000"}]}
    return json.dumps(neutral, indent=1, ensure_ascii=False, sort_keys=True, default=str) + "\n"
