"""Request id, which is in the response, in every log line and in the audit log."""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from django.http import HttpRequest, HttpResponse
from pythonjsonlogger.json import JsonFormatter

HEADER = "X-Request-Id"
_ACCEPTED = re.compile(r"[A-Za-z0-9_-]{8,64}\Z")
# two patterns with fixed beginnings are ten times faster than one pattern with alternatives
_KEY = re.compile(r"bw[lt]_[0-9A-Za-z]+")
_LINK = re.compile(r"(/(?:q|links|welcome/[0-9A-Za-z_-]+)/)[0-9A-Za-z_-]{16,}")
_current: ContextVar[str] = ContextVar("request_id", default="")
_log = logging.getLogger("baywright.access")


def request_id() -> str:
    """Return the id of the current request or task; empty if there is none."""
    return _current.get()


def begin(supplied: str = "") -> str:
    """Start a request with the id from its header if that is well-formed, otherwise with a new id. Return the id."""
    new_id = supplied if _ACCEPTED.match(supplied) else uuid.uuid4().hex
    _current.set(new_id)
    return new_id


def masked(text: str) -> str:
    """Return a text with the secrets in addresses masked.

    >>> masked("/api/v1/jobs?key=bwl_0dlf3RzF3t2m")
    '/api/v1/jobs?key=***'
    """
    return _LINK.sub(r"\1***", _KEY.sub("***", text))


class RequestIdMiddleware:
    """Outermost middleware: sets the request id and writes the access log."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        new_id = begin(request.headers.get(HEADER, ""))
        started = time.perf_counter()
        response = self._get_response(request)
        response[HEADER] = new_id
        _log.info(
            "request",
            extra={
                "method": request.method,
                "path": masked(request.get_full_path()),
                "status": response.status_code,
                "ms": round((time.perf_counter() - started) * 1000, 1),
            },
        )
        return response


class RequestIdFilter(logging.Filter):
    """Log filter that adds the request id."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Add the id to a log record."""
        record.request_id = request_id()
        return True


class JsonLines(JsonFormatter):
    """Log formatter that writes one JSON object per line, with secrets masked. Input cannot start a new line."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s %(message)s %(request_id)s", *args, **kwargs)

    def format(self, record: logging.LogRecord) -> str:
        """Return the line of a log record."""
        return masked(super().format(record))
