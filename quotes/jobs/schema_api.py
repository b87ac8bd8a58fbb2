"""JSON Schemas of the input and output documents."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.endpoint import Endpoint
from shared.common.problems import Problem

PACKAGES = ("fencing", "quotes.quoting")
"""Packages with a folder ``schema``; only its files are read."""
MEDIA_TYPE = "application/schema+json"
LISTED = {
    "type": "object",
    "properties": {
        "items": {
            "type": "array",
            "items": {"type": "object", "properties": {name: {"type": "string"} for name in ("name", "title", "href")}},
        }
    },
}


@cache
def schemas() -> dict[str, dict[str, Any]]:
    """Every schema by its name, as ``measure-2``."""
    entries = [entry for package in PACKAGES for entry in files(package).joinpath("schema").iterdir()]
    found = {
        entry.name.removesuffix(".json"): json.loads(entry.read_text(encoding="utf-8"))
        for entry in entries
        if entry.name.endswith(".json")
    }
    return dict(sorted(found.items()))


class Schemas(Endpoint):
    """List the schemas."""

    public = True

    @extend_schema(responses={200: LISTED}, summary="List JSON Schemas of documents")
    def get(self, request: Request) -> Response:
        rows = [
            {"name": name, "title": schema["title"], "href": f"/api/v1/schemas/{name}"}
            for name, schema in schemas().items()
        ]
        return Response({"items": rows})


class Schema(Endpoint):
    """One schema; a name may end in .json."""

    public = True

    @extend_schema(
        responses={(200, MEDIA_TYPE): {"type": "object", "additionalProperties": True}}, summary="Get a JSON Schema"
    )
    def get(self, request: Request, name: str) -> Response:
        found = schemas().get(name.removesuffix(".json"))
        if found is None:
            raise Problem("not-found")
        return Response(found, content_type=MEDIA_TYPE)
