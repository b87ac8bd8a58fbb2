"""Signing in and out, and choosing the business to work in."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from shared import throttle
from shared.business.doors import SESSION_KEY
from shared.business.models import Person
from shared.business.queries import businesses_of

_TRIES = 20
_WINDOW_S = 300


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


class SignIn(LoginView):
    """Slows down guessing: per account with its address (axes), per address, and per account from anywhere."""

    template_name = "business/sign_in.html"
    form_class = SignInForm
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        email = request.POST.get("username", "").strip().lower()
        for caller in (f"ip:{throttle.client_ip(request)}", f"account:{email}"):
            standing = throttle.count(caller, policy="sign-in", quota=_TRIES, window_s=_WINDOW_S)
            if standing.exceeded:
                return locked_out(request)
        return super().post(request, *args, **kwargs)


def locked_out(request: HttpRequest, *_: Any, **__: Any) -> HttpResponse:
    """The answer to too many tries: the same for everybody, and it passes by itself."""
    response = render(request, "business/locked_out.html", status=429)
    response["Retry-After"] = str(_WINDOW_S)
    return response


@require_POST
def choose_business(request: HttpRequest, ref: str) -> HttpResponseBase:
    """Another of one's own businesses."""
    if not isinstance(request.user, Person) or not businesses_of(request.user).filter(ref=ref).exists():
        raise Http404
    request.session[SESSION_KEY] = ref
    target = request.POST.get("next", "/")
    safe = url_has_allowed_host_and_scheme(target, allowed_hosts=None)
    return redirect(target if safe else "/")
