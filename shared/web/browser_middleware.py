"""Middlewares that only browsers need: sessions, messages and partial pages.

An API call with a key has no session and skips them. This is faster, and a cookie sent along has no effect.
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
    """Return whether this is an API call with an Authorization header, valid or not."""
    return "HTTP_AUTHORIZATION" in request.META and request.path_info.startswith(_PREFIX)


class BrowserOnlyMixin:
    """Mixin for a middleware that API calls with a key skip."""

    if TYPE_CHECKING:
        get_response: Any

    def __call__(self, request: HttpRequest) -> Any:
        return self.get_response(request) if with_key(request) else super().__call__(request)  # type: ignore[misc]  # the middleware's own class


class CSPMiddleware(BrowserOnlyMixin, csp.CSPMiddleware):
    """Content security policy: pages may load our files, API responses nothing."""

    def __call__(self, request: HttpRequest) -> Any:
        response: HttpResponseBase = super().__call__(request)
        if with_key(request):
            response["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
        return response


class NoNulMiddleware:
    """Middleware that rejects the character NUL in cookies, addresses and forms, because PostgreSQL cannot store it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not with_key(request):
            _refuse_nul(request.COOKIES.values())
        if not request.path_info.startswith(_PREFIX):  # the API names the parameter, see ``Endpoint``
            _refuse_nul(text for values in request.GET.lists() for text in (values[0], *values[1]))
        return self._get_response(request)

    def process_view(self, request: HttpRequest, *_: Any) -> None:
        """Check a form, after the CSRF check has read it."""
        if request.method == "POST" and not request.path_info.startswith(_PREFIX):
            _refuse_nul(text for values in request.POST.lists() for text in (values[0], *values[1]))


def _refuse_nul(texts: Iterable[str]) -> None:
    if any("\x00" in text for text in texts):
        raise SuspiciousOperation("a text contains the character NUL")


class SessionMiddleware(BrowserOnlyMixin, sessions.SessionMiddleware):
    """Session of a browser."""


class AuthenticationMiddleware(BrowserOnlyMixin, auth.AuthenticationMiddleware):
    """Person of a session."""


class HtmxMiddleware(BrowserOnlyMixin, htmx.HtmxMiddleware):
    """Detection of requests for a part of a page."""


class MessageMiddleware(BrowserOnlyMixin, messages.MessageMiddleware):
    """Messages that the next page shows."""
