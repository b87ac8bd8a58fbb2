"""ETags of records: a change applies only to the version that the client has seen (RFC 9110, 13.1)."""

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

from shared.common.problems import Problem

RowT = TypeVar("RowT", bound=models.Model)
_TAG = re.compile(r'(W/)?"([^"]*)"')


class ConditionalGetMiddleware(http.ConditionalGetMiddleware):
    """Django's middleware for successful responses only. An error contains the request id and always differs."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        """Add an ETag, and return 304 if the client has this version."""
        if not isinstance(response, HttpResponse) or request.method not in ("GET", "HEAD"):
            return response
        if self.needs_etag(response):
            # processors have instructions for SHA-256; Django's MD5 takes twice as long
            response.headers.setdefault("ETag", f'"{sha256(response.content).hexdigest()}"')
        if response.status_code != HTTPStatus.OK or "ETag" not in response:
            return response
        # no resource has a Last-Modified date, so this header is ignored (RFC 9110, 13.1.4)
        request.META.pop("HTTP_IF_UNMODIFIED_SINCE", None)
        return get_conditional_response(request, etag=response["ETag"], response=response) or response

    def needs_etag(self, response: HttpResponseBase) -> bool:
        """Return whether a response gets an ETag."""
        return response.status_code == HTTPStatus.OK and super().needs_etag(response)


class Versioned(Protocol):
    """Record with a ref and a version."""

    ref: str
    version: int


def etag(row: Versioned) -> str:
    """Return the strong ETag of a record."""
    return f'"{row.ref}.{row.version}"'


def check_if_match(request: Request, current: str) -> None:
    """Raise 428 if If-Match is missing, or 412 if it names another version. A weak tag never matches."""
    header = request.headers.get("If-Match", "").strip()
    if not header:
        raise Problem("precondition-required")
    if header == "*":
        return
    strong = {f'"{opaque}"' for weak, opaque in _TAG.findall(header) if not weak}
    if current not in strong:
        raise Problem("precondition-failed", headers={"ETag": current})


def find(rows: models.QuerySet[RowT], ref: str) -> RowT:
    """Return the record with a ref, or raise 404."""
    row = rows.filter(ref=ref).first() if ref.isascii() and ref.isalnum() and len(ref) <= 32 else None
    if row is None:
        raise Http404
    return row


def get_for_update(rows: models.QuerySet[RowT], ref: str, request: Request) -> RowT:
    """Return the record with a ref, locked until the transaction ends, after checking If-Match."""
    row = find(rows.select_for_update(no_key=True, of=("self",)), ref)
    check_if_match(request, etag(row))  # type: ignore[arg-type]  # every record with a ref has a version
    return row
