"""API authentication by key or by session."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import AnonymousUser
from rest_framework.authentication import BaseAuthentication, SessionAuthentication
from rest_framework.request import Request

from shared.business.actors import Actor, key_actor
from shared.common.problems import Problem
from shared.members.queries import live_key


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
