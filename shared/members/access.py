"""Access: the business in which a signed-in person works, access control of pages, and authentication of API calls."""

from __future__ import annotations

from collections.abc import Callable
from functools import update_wrapper
from typing import Any, Concatenate, ParamSpec
from urllib.parse import urlencode, urlsplit, urlunsplit

from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, resolve_url
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.request import Request

from shared.business.actors import Actor, key_actor, member_actor
from shared.business.models import Business, Member
from shared.business.roles import Scope
from shared.common.dates import dates_by
from shared.common.figures import use_decimal_sign
from shared.common.money import decimal_sign
from shared.common.problems import Problem
from shared.database.errors import retry_deadlock
from shared.members.queries import live_key, memberships_of
from shared.web.browser_middleware import with_key

SESSION_KEY = "business"
P = ParamSpec("P")


class MemberRequest(HttpRequest):
    """Request of a member, after ``require_scope``."""

    business: Business
    actor: Actor


class BusinessMiddleware:
    """Middleware that sets ``request.actor`` and ``request.business``: the selected business, or the first one, or None."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        member = None if with_key(request) or not request.session.session_key else _member(request)
        request.actor = member_actor(member) if member else None  # type: ignore[attr-defined]  # see MemberRequest
        request.business = member.business if member else None  # type: ignore[attr-defined]  # see MemberRequest
        if member:
            with dates_by(member.business.time_zone, member.business.locale):
                response = self._get_response(request)
        else:
            response = self._get_response(request)
        if member:
            response.headers.setdefault("Cache-Control", "private, no-cache")
        return response


def _member(request: HttpRequest) -> Member | None:
    if not request.user.is_authenticated:
        return None
    memberships = memberships_of(request.user).select_related("business", "person").order_by("id")
    selected = request.session.get(SESSION_KEY)
    member = memberships.filter(business__ref=selected).first() if selected else None
    return member or memberships.first()


def _redirect_to_sign_in(request: HttpRequest) -> HttpResponseBase:
    """Redirect to sign-in and return to the current page; script requests get a 401."""
    if getattr(request, "htmx", False):
        return HttpResponse(status=401)
    if request.method in ("GET", "HEAD"):
        return redirect_to_login(request.get_full_path())
    at = urlsplit(request.headers.get("Referer", ""))
    page = urlunsplit(("", "", at.path, at.query, "")) if at.netloc == request.get_host() else "/"
    return redirect(f"{resolve_url('sign-in')}?{urlencode({'next': page, 'typed': '1'})}")


Page = Callable[Concatenate[MemberRequest, P], HttpResponse]
Guarded = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def require_scope(scope: Scope) -> Callable[[Page[P]], Guarded[P]]:
    """Restrict a page to members with a scope. Visitors are redirected to sign-in, other members get a 403.

    A suspended business can be viewed but not changed. Lengths and levels are shown in the business's locale.
    """

    def guard(page: Page[P]) -> Guarded[P]:
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            actor: Actor | None = getattr(request, "actor", None)
            if not request.user.is_authenticated:
                return _redirect_to_sign_in(request)
            if actor is None or actor.business is None or not actor.may(scope):
                raise PermissionDenied
            if actor.business.suspended and request.method not in ("GET", "HEAD", "OPTIONS"):
                raise PermissionDenied
            member_request: Any = request

            def answer() -> HttpResponse:
                for _, uploads in request.FILES.lists():
                    for upload in uploads:
                        upload.seek(0)  # the second call reads the file from its start
                return page(member_request, *args, **kwargs)

            with use_decimal_sign(decimal_sign(member_request.business.locale)):
                return retry_deadlock(answer)()

        guarded.needed_scope = scope  # type: ignore[attr-defined]  # the matrix test reads it
        update_wrapper(guarded, page)
        return guarded

    return guard


class KeyAuthentication(BaseAuthentication):
    """Authentication by the header ``Authorization: Bearer bwl_…``."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, Actor] | None:
        """Return the actor of a key; None without the header. Raise 401 for a key that is not valid."""
        if any("bwl_" in value or "bwt_" in value for value in request.query_params.values()):
            raise Problem("unauthenticated", "A key belongs in the Authorization header, never in an address.")
        scheme, _, text = request.headers.get("Authorization", "").partition(" ")
        if not scheme:
            return None
        key = live_key(text.strip()) if scheme.lower() == "bearer" else None
        if key is None or (key.supplier_account and key.supplier_account.suspended_at):
            raise Problem("unauthenticated", "This key is unknown, revoked or expired.")
        return AnonymousUser(), key_actor(key)

    def authenticate_header(self, request: Request) -> str:
        """Return the value of WWW-Authenticate."""
        return 'Bearer realm="baywright"'


class SignedInAuthentication(SessionAuthentication):
    """Authentication by the session of a member. Changes need a CSRF token."""

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        """Return the actor of a session; None without a session."""
        actor = getattr(request._request, "actor", None)
        if actor is None:
            return None
        signed_in = super().authenticate(request)
        return (signed_in[0], actor) if signed_in else None
