"""Documentation pages of the API, made from the OpenAPI document. They have no scripts and load nothing from other hosts."""

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
from shared.business.roles import GRANTS, MemberRole, Scope
from shared.common.json_encoder import write_json
from shared.common.problems import KNOWN
from shared.web import rate_limit

_GENERATOR_LOCK = Lock()  # the generator patches classes while it runs: two concurrent runs fail
_PAGES, _WINDOW_S = 60, 60


@dataclass(frozen=True, slots=True)
class PublishedDocument:
    """The OpenAPI document as bytes, and its operations for the documentation page."""

    json: bytes
    operations: tuple[Mapping[str, Any], ...]


def published_document() -> PublishedDocument:
    """Return the document of this version. A process makes it once, also for concurrent requests."""
    with _GENERATOR_LOCK:
        return _make_document()


@cache
def _make_document() -> PublishedDocument:
    made = document()
    return PublishedDocument(write_json(made), tuple(_operations(made)))


class _Endpoints(EndpointEnumerator):
    """The endpoints of the document, also those whose address ends with a format."""

    def should_include_endpoint(self, path: str, callback: Any) -> bool:
        return bool(super().should_include_endpoint(path.removesuffix(".{format}"), callback))


class _Generator(SchemaGenerator):
    endpoint_inspector_cls = _Endpoints


def document() -> dict[str, Any]:
    """Make the OpenAPI 3.1 document. It takes about a second; to answer a request, use ``published_document``."""
    generator: Any = _Generator  # its base ships no types
    made: dict[str, Any] = generator(api_version="v1").get_schema(request=None, public=True)
    return made


class OpenApiDocument(Endpoint):
    """The OpenAPI document as JSON."""

    public = True
    schema = None

    def get(self, request: Request) -> HttpResponse:
        return HttpResponse(published_document().json, content_type="application/json")


def index(request: HttpRequest) -> HttpResponse:
    """Show every address with its scope, parameters and status codes."""
    standing = rate_limit.count(f"ip:{rate_limit.client_ip(request)}", policy="docs", quota=_PAGES, window_s=_WINDOW_S)
    if standing.exceeded:
        return rate_limit.too_many(request, standing.resets_in_s)
    scopes = [(scope, [role for role in MemberRole if scope in GRANTS[role]]) for scope in Scope]
    shown = {
        "operations": published_document().operations,
        "problems": KNOWN,
        "scopes": scopes,
        "page_max": pagination.MAX_PAGE_SIZE,
    }
    return render(request, "api/index.html", shown)


def problem(request: HttpRequest, code: str) -> HttpResponse:
    """Show the page of a problem code, to which the ``type`` of a problem document leads."""
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
