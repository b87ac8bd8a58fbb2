"""Checks that a request body is complete. An incomplete form is rejected with 400.

A connection that breaks during the body looks like the end of the body, and half of a form is a valid form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import IO, Any, Final

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, UnreadablePostError

_PREFIX: Final = "/api/v1/"


class CompleteBody:
    """Request body that raises OSError if it ends before its Content-Length."""

    def __init__(self, stream: IO[bytes], length: int) -> None:
        self._stream, self._left = stream, length

    @property
    def left(self) -> int:
        """Return the number of unread bytes."""
        return self._left

    def read(self, size: int = -1) -> bytes:
        """Read bytes like a file."""
        limit = self._limit(size)
        return self._check(self._stream.read(limit), limit)

    def readline(self, size: int = -1) -> bytes:
        """Read a line like a file."""
        limit = self._limit(size)
        line = self._stream.readline(limit)
        return self._check(line, len(line) if line.endswith(b"\n") else limit)

    def _limit(self, size: int) -> int:
        return self._left if size < 0 else min(size, self._left)

    def _check(self, data: bytes, expected: int) -> bytes:
        self._left -= len(data)
        if len(data) < expected:
            raise OSError(f"The body ends {self._left} bytes too early.")
        return data


def unread_of(environ: Mapping[str, Any]) -> int:
    """Return the number of unread bytes of the request's body."""
    body = environ.get("wsgi.input")
    return body.left if isinstance(body, CompleteBody) else 0


Application = Callable[[dict[str, Any], Any], Iterable[bytes]]


def whole(application: Application) -> Application:
    """Wrap a WSGI application so that reading an incomplete body raises OSError."""

    def checked(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        length = str(environ.get("CONTENT_LENGTH") or "")
        if length.isascii() and length.isdigit():
            environ["wsgi.input"] = CompleteBody(environ["wsgi.input"], int(length))
        return application(environ, start_response)

    return checked


class CompleteFormMiddleware:
    """Middleware that reads a form before the view, and rejects it with 400 if it is incomplete."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self._get_response(request)

    def process_view(self, request: HttpRequest, *_: Any) -> None:
        """Read the form before the CSRF check, which ignores an incomplete body."""
        if request.method == "POST" and not request.path_info.startswith(_PREFIX):
            try:
                len(request.POST)
            except UnreadablePostError as fault:
                raise SuspiciousOperation(str(fault)) from fault
