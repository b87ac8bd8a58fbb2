"""Signing in and out, a first password by an invitation's link, and choosing the business to work in."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm, SetPasswordForm
from django.contrib.auth.views import LoginView, PasswordResetConfirmView
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from shared import audit, throttle
from shared.business.actors import member_actor
from shared.business.doors import SESSION_KEY
from shared.business.invitations import TOKENS
from shared.business.models import Member, Person
from shared.business.queries import businesses_of

_TRIES = 20
_WINDOW_S = 300
_KNOWN = "known"
_KNOWN_S = 365 * 24 * 3600


class SignInForm(AuthenticationForm):
    """One text for a wrong password and for somebody unknown."""

    username = forms.EmailField(
        label="E-mail", widget=forms.EmailInput(attrs={"autofocus": True, "autocomplete": "username"})
    )
    error_messages = {
        "invalid_login": "This e-mail and password do not belong together.",
        "inactive": "This e-mail and password do not belong together.",
    }

    def clean_username(self) -> str:
        return str(self.cleaned_data["username"]).strip().lower()


def _guesser(request: HttpRequest, email: str) -> str:
    """Whose tries are counted: the account's, wherever they come from, but for a browser that signed in to it before.

    Otherwise a stranger who guesses on and on would keep out whom the account belongs to.
    """
    told = str(request.get_signed_cookie(_KNOWN, default="", salt=_KNOWN, max_age=_KNOWN_S))
    browser, _, account = told.partition(":")
    return f"browser:{browser}" if account == _digest(email) else f"account:{email}"


def _digest(email: str) -> str:
    return hashlib.sha256(email.encode()).hexdigest()


class SignIn(LoginView):
    """Slows down guessing: per account with its address (axes), per address, and per account from anywhere unknown."""

    template_name = "business/sign_in.html"
    form_class = SignInForm
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        email = request.POST.get("username", "").strip().lower()
        for caller in (f"ip:{throttle.client_ip(request)}", _guesser(request, email)):
            standing = throttle.count(caller, policy="sign-in", quota=_TRIES, window_s=_WINDOW_S)
            if standing.exceeded:
                return locked_out(request)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Lets this browser be known again, for this account alone."""
        response = super().form_valid(form)
        mark = f"{secrets.token_urlsafe(16)}:{_digest(form.cleaned_data['username'])}"
        response.set_signed_cookie(
            _KNOWN,
            mark,
            salt=_KNOWN,
            max_age=_KNOWN_S,
            path=self.request.path,
            secure=settings.SESSION_COOKIE_SECURE,
            httponly=True,
            samesite="Lax",
        )
        return response


def locked_out(request: HttpRequest, *_: Any, **__: Any) -> HttpResponse:
    """The answer to too many tries: the same for everybody, and it passes by itself."""
    response = render(request, "business/locked_out.html", status=429)
    response["Retry-After"] = str(_WINDOW_S)
    return response


class Welcome(PasswordResetConfirmView):
    """Where a new member sets a password. The secret moves from the address into the session at once; reading changes nothing."""

    template_name = "business/welcome.html"
    token_generator = TOKENS
    post_reset_login = True
    post_reset_login_backend = "django.contrib.auth.backends.ModelBackend"
    success_url = "/"
    member: Member | None = None

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        caller = f"ip:{throttle.client_ip(request)}"
        if throttle.count(caller, policy="welcome", quota=_TRIES, window_s=_WINDOW_S).exceeded:
            return locked_out(request)
        return super().dispatch(request, *args, **kwargs)

    def get_user(self, uidb64: str) -> Person | None:
        """By the member: who was taken out again has no link either."""
        rows = Member.objects.select_related("person", "business")
        self.member = rows.filter(ref=uidb64, person__is_active=True).first()
        return self.member.person if self.member else None

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(member=self.member, **kwargs)

    def render_to_response(self, context: dict[str, Any], **kwargs: Any) -> HttpResponse:
        """One page for a link that is wrong, over, used or taken back."""
        form = context["form"]
        wrong = 422 if form is not None and form.errors else 200
        return super().render_to_response(context, status=wrong if self.validlink else 404, **kwargs)

    def form_valid(self, form: SetPasswordForm[Person]) -> HttpResponse:
        if self.member is None:
            raise Http404
        with transaction.atomic():
            audit.record(self.member.business, member_actor(self.member), "member.joined", f"member:{self.member.ref}")
            return super().form_valid(form)


@require_POST
def choose_business(request: HttpRequest, ref: str) -> HttpResponseBase:
    """Another of one's own businesses."""
    if not isinstance(request.user, Person) or not businesses_of(request.user).filter(ref=ref).exists():
        raise Http404
    request.session[SESSION_KEY] = ref
    target = request.POST.get("next", "/")
    safe = url_has_allowed_host_and_scheme(target, allowed_hosts=None)
    return redirect(target if safe else "/")
