"""The middlewares that only a browser needs: sessions, messages, pages that are parts of pages.

A call of the API with a key never has a session: it is let past them, which is quicker and leaves a cookie that
came along without any effect.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from csp import middleware as csp
from django.contrib.auth import middleware as auth
from django.contrib.messages import middleware as messages
from django.contrib.sessions import middleware as sessions
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django_htmx import middleware as htmx

_PREFIX: Final = "/api/v1/"


def with_key(request: HttpRequest) -> bool:
    """Whether this is a call of the API by its Authorization header, good or bad."""
    return "HTTP_AUTHORIZATION" in request.META and request.path_info.startswith(_PREFIX)


class ForBrowsers:
    """Mixed into a middleware: calls with a key go past it."""

    if TYPE_CHECKING:
        get_response: Any

    def __call__(self, request: HttpRequest) -> Any:
        return self.get_response(request) if with_key(request) else super().__call__(request)  # type: ignore[misc]  # the middleware mixed into


class CSPMiddleware(ForBrowsers, csp.CSPMiddleware):
    """What pages may load; an answer of the API loads nothing at all."""

    def __call__(self, request: HttpRequest) -> Any:
        response: HttpResponseBase = super().__call__(request)
        if with_key(request):
            response["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
        return response


class SessionMiddleware(ForBrowsers, sessions.SessionMiddleware):
    """Who has signed in."""


class AuthenticationMiddleware(ForBrowsers, auth.AuthenticationMiddleware):
    """The person of a session."""


class HtmxMiddleware(ForBrowsers, htmx.HtmxMiddleware):
    """Whether a part of a page is wanted."""


class MessageMiddleware(ForBrowsers, messages.MessageMiddleware):
    """What the next page tells."""
