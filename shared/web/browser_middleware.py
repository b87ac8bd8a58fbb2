"""The middlewares that only a browser needs: sessions, messages, pages that are parts of pages.

A call of the API with a key never has a session: it is let past them, which is quicker and leaves a cookie that
came along without any effect.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any, Final

from csp import middleware as csp
from django.contrib.auth import middleware as auth
from django.contrib.messages import middleware as messages
from django.contrib.sessions import middleware as sessions
from django.core.exceptions import SuspiciousOperation
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django_htmx import middleware as htmx

_PREFIX: Final = "/api/v1/"


def with_key(request: HttpRequest) -> bool:
    """Whether this is a call of the API by its Authorization header, good or bad."""
    return "HTTP_AUTHORIZATION" in request.META and request.path_info.startswith(_PREFIX)


class BrowserOnlyMixin:
    """Mixed into a middleware: calls with a key go past it."""

    if TYPE_CHECKING:
        get_response: Any

    def __call__(self, request: HttpRequest) -> Any:
        return self.get_response(request) if with_key(request) else super().__call__(request)  # type: ignore[misc]  # the middleware mixed into


class CSPMiddleware(BrowserOnlyMixin, csp.CSPMiddleware):
    """What pages may load; an answer of the API loads nothing at all."""

    def __call__(self, request: HttpRequest) -> Any:
        response: HttpResponseBase = super().__call__(request)
        if with_key(request):
            response["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
        return response


class NoNulMiddleware:
    """What a browser sends never holds the character NUL, which PostgreSQL takes in no text: 400 instead of a fault later."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not with_key(request):
            _refuse_nul(request.COOKIES.values())
        if not request.path_info.startswith(_PREFIX):  # the API names the parameter, see ``Endpoint``
            _refuse_nul(text for values in request.GET.lists() for text in (values[0], *values[1]))
        return self._get_response(request)

    def process_view(self, request: HttpRequest, *_: Any) -> None:
        """A form, once the check for forgery has read it."""
        if request.method == "POST" and not request.path_info.startswith(_PREFIX):
            _refuse_nul(text for values in request.POST.lists() for text in (values[0], *values[1]))


def _refuse_nul(texts: Iterable[str]) -> None:
    if any("\x00" in text for text in texts):
        raise SuspiciousOperation("a text with the character NUL")


class SessionMiddleware(BrowserOnlyMixin, sessions.SessionMiddleware):
    """Who has signed in."""


class AuthenticationMiddleware(BrowserOnlyMixin, auth.AuthenticationMiddleware):
    """The person of a session."""


class HtmxMiddleware(BrowserOnlyMixin, htmx.HtmxMiddleware):
    """Whether a part of a page is wanted."""


class MessageMiddleware(BrowserOnlyMixin, messages.MessageMiddleware):
    """What the next page tells."""
