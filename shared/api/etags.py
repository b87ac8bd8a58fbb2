"""ETags of stored rows: a change is made to the version that was looked at, or not at all (RFC 9110, 13.1)."""

from __future__ import annotations

import re
from hashlib import sha256
from http import HTTPStatus
from typing import Protocol, TypeVar

from django.db import models
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.middleware import http
from django.utils.cache import get_conditional_response
from rest_framework.request import Request

from shared.api.problems import Problem

RowT = TypeVar("RowT", bound=models.Model)
_TAG = re.compile(r'(W/)?"([^"]*)"')


class ConditionalGetMiddleware(http.ConditionalGetMiddleware):
    """Django's, for answers that stand for something: a refusal holds the request's id and is never the same twice."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        if not isinstance(response, HttpResponse) or request.method not in ("GET", "HEAD"):
            return response
        if self.needs_etag(response):
            # SHA-256 has instructions of its own in today's processors; Django's MD5 takes twice as long
            response.headers.setdefault("ETag", f'"{sha256(response.content).hexdigest()}"')
        if response.status_code != HTTPStatus.OK or "ETag" not in response:
            return response
        # nothing here has a day of its last change, and then this header is passed over (RFC 9110, 13.1.4)
        request.META.pop("HTTP_IF_UNMODIFIED_SINCE", None)
        return get_conditional_response(request, etag=response["ETag"], response=response) or response

    def needs_etag(self, response: HttpResponseBase) -> bool:
        return response.status_code == HTTPStatus.OK and super().needs_etag(response)


class Versioned(Protocol):
    """A row with a public id and a version."""

    ref: str
    version: int


def etag(row: Versioned) -> str:
    """The strong tag of a row as it is stored now."""
    return f'"{row.ref}.{row.version}"'


def check_if_match(request: Request, current: str) -> None:
    """428 without If-Match, 412 when it names another version. A weak tag never matches."""
    header = request.headers.get("If-Match", "").strip()
    if not header:
        raise Problem("precondition-required")
    if header == "*":
        return
    strong = {f'"{opaque}"' for weak, opaque in _TAG.findall(header) if not weak}
    if current not in strong:
        raise Problem("precondition-failed", headers={"ETag": current})


def find(rows: models.QuerySet[RowT], ref: str) -> RowT:
    """The row with a public id, or 404."""
    row = rows.filter(ref=ref).first() if ref.isascii() and ref.isalnum() and len(ref) <= 32 else None
    if row is None:
        raise Http404
    return row


def get_for_update(rows: models.QuerySet[RowT], ref: str, request: Request) -> RowT:
    """The same, locked until the transaction ends and checked against If-Match."""
    row = find(rows.select_for_update(no_key=True, of=("self",)), ref)
    check_if_match(request, etag(row))  # type: ignore[arg-type]  # every row with a ref has a version
    return row
