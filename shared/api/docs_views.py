"""Readable pages of the API, made from the same document that programs read; no script, nothing from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from threading import Lock
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import EndpointEnumerator, SchemaGenerator
from rest_framework.request import Request

from shared.api import pagination
from shared.api.endpoint import Endpoint
from shared.api.json_encoder import write_json
from shared.api.problems import KNOWN
from shared.business.roles import GRANTS, MemberRole, Scope
from shared.business.views import too_many
from shared.web import rate_limit

_ONE_AT_A_TIME = Lock()  # the generator patches classes while it works: two at once raise
_PAGES, _WINDOW_S = 60, 60


@dataclass(frozen=True, slots=True)
class Published:
    """The document as bytes for programs, and its operations for the readable page."""

    json: bytes
    operations: tuple[Mapping[str, Any], ...]


def published() -> Published:
    """Return the document of this version. It is made once in a process, however many ask first."""
    with _ONE_AT_A_TIME:
        return _made()


@cache
def _made() -> Published:
    made = document()
    return Published(write_json(made), tuple(_operations(made)))


class _Endpoints(EndpointEnumerator):
    """The endpoints of the document, also those whose address ends with a format."""

    def should_include_endpoint(self, path: str, callback: Any) -> bool:
        return bool(super().should_include_endpoint(path.removesuffix(".{format}"), callback))


class _Generator(SchemaGenerator):
    endpoint_inspector_cls = _Endpoints


def document() -> dict[str, Any]:
    """Make the OpenAPI 3.1 document: about a second of work. To answer a call, use ``published``."""
    generator: Any = _Generator  # its base ships no types
    made: dict[str, Any] = generator(api_version="v1").get_schema(request=None, public=True)
    return made


class OpenApiDocument(Endpoint):
    """The document, for programs."""

    public = True
    schema = None

    def get(self, request: Request) -> HttpResponse:
        return HttpResponse(published().json, content_type="application/json")


def index(request: HttpRequest) -> HttpResponse:
    """Every address, with what it needs and answers."""
    standing = rate_limit.count(f"ip:{rate_limit.client_ip(request)}", policy="docs", quota=_PAGES, window_s=_WINDOW_S)
    if standing.exceeded:
        return too_many(request, standing.resets_in_s)
    scopes = [(scope, [role for role in MemberRole if scope in GRANTS[role]]) for scope in Scope]
    shown = {
        "operations": published().operations,
        "problems": KNOWN,
        "scopes": scopes,
        "page_max": pagination.PAGE_MAX,
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
