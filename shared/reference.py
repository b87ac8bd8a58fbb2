"""Readable pages of the API, made from the same document that programs read; no script, nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import SchemaGenerator
from rest_framework.request import Request
from rest_framework.response import Response

from shared import paging
from shared.api import Endpoint
from shared.business.roles import GRANTS, Role, Scope
from shared.problems import KNOWN


def document() -> dict[str, Any]:
    """The OpenAPI 3.1 document."""
    generator: Any = SchemaGenerator  # ships no types
    made: dict[str, Any] = generator(api_version="v1").get_schema(request=None, public=True)
    return made


class OpenApiDocument(Endpoint):
    """The document, for programs."""

    public = True
    schema = None

    def get(self, request: Request) -> Response:
        return Response(document())


def index(request: HttpRequest) -> HttpResponse:
    """Every address, with what it needs and answers."""
    scopes = [(scope, [role for role in Role if scope in GRANTS[role]]) for scope in Scope]
    shown = {
        "operations": list(_operations(document())),
        "problems": KNOWN,
        "scopes": scopes,
        "page_max": paging.PAGE_MAX,
    }
    return render(request, "api/index.html", shown)


def problem(request: HttpRequest, code: str) -> HttpResponse:
    """What the ``type`` of a problem document leads to."""
    if code not in KNOWN:
        raise Http404
    status, title, advice = KNOWN[code]
    return render(request, "api/problem.html", {"code": code, "status": status, "title": title, "advice": advice})


def _operations(made: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for address, methods in sorted(made["paths"].items()):
        for method, operation in methods.items():
            yield {
                "address": address,
                "method": method.upper(),
                "summary": operation.get("summary") or operation.get("description", ""),
                "scope": operation.get("x-scope", ""),
                "parameters": operation.get("parameters", []),
                "statuses": sorted(operation["responses"]),
            }
