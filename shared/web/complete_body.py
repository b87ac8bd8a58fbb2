"""What is sent to us counts when it came whole: a form whose end was lost on its way stores nothing.

A line that breaks off in the middle of a body looks like its end to what reads it, and half of a form is a form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import IO, Any, Final

from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest, HttpResponse, UnreadablePostError

_PREFIX: Final = "/api/v1/"


class CompleteBody:
    """A request's body that raises where it ends before its Content-Length."""

    def __init__(self, stream: IO[bytes], length: int) -> None:
        self._stream, self._left = stream, length

    @property
    def left(self) -> int:
        """How many bytes have not been read yet."""
        return self._left

    def read(self, size: int = -1) -> bytes:
        """As of any file."""
        wanted = self._wanted(size)
        return self._counted(self._stream.read(wanted), wanted)

    def readline(self, size: int = -1) -> bytes:
        """As of any file."""
        wanted = self._wanted(size)
        line = self._stream.readline(wanted)
        return self._counted(line, len(line) if line.endswith(b"\n") else wanted)

    def _wanted(self, size: int) -> int:
        return self._left if size < 0 else min(size, self._left)

    def _counted(self, data: bytes, wanted: int) -> bytes:
        self._left -= len(data)
        if len(data) < wanted:
            raise OSError(f"The body ends {self._left} bytes too early.")
        return data


def unread_of(environ: Mapping[str, Any]) -> int:
    """Return how many bytes of the request's body have not been read yet."""
    body = environ.get("wsgi.input")
    return body.left if isinstance(body, CompleteBody) else 0


Application = Callable[[dict[str, Any], Any], Iterable[bytes]]


def whole(application: Application) -> Application:
    """A WSGI application that is told when a body was cut off."""

    def checked(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        data = str(environ.get("CONTENT_LENGTH") or "")
        if data.isascii() and data.isdigit():
            environ["wsgi.input"] = CompleteBody(environ["wsgi.input"], int(data))
        return application(environ, start_response)

    return checked


class CompleteFormMiddleware:
    """A form is read, and refused (400) when its end is missing, before anything goes by what is in it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self._get_response(request)

    def process_view(self, request: HttpRequest, *_: Any) -> None:
        """Before the check for forgery, which passes over a body that broke off."""
        if request.method == "POST" and not request.path_info.startswith(_PREFIX):
            try:
                len(request.POST)
            except UnreadablePostError as fault:
                raise SuspiciousOperation(str(fault)) from fault
