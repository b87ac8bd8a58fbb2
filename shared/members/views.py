"""Views for signing in, accepting an invitation, and selecting a business."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.forms import AuthenticationForm, SetPasswordForm
from django.contrib.auth.views import LoginView, PasswordResetConfirmView, redirect_to_login
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from shared.business.models import Member, Person
from shared.members import invitations
from shared.members.access import SESSION_KEY
from shared.members.invitations import InvitationTokens
from shared.members.queries import businesses_of
from shared.web import rate_limit

_TRIES = 20
_WINDOW_S = 300
_KNOWN = "known"
_KNOWN_S = 365 * 24 * 3600


class SignInForm(AuthenticationForm):
    """Sign-in form with the same error for a wrong password and an unknown address."""

    username = forms.EmailField(
        label="E-mail", widget=forms.EmailInput(attrs={"autofocus": True, "autocomplete": "username"})
    )
    error_messages = {
        "invalid_login": "Wrong e-mail address or password.",
        "inactive": "Wrong e-mail address or password.",
    }

    def clean_username(self) -> str:
        """Return the address in lower case."""
        return str(self.cleaned_data["username"]).strip().lower()


def _guesser(request: HttpRequest, email: str) -> str:
    """Return the key for counting sign-in attempts: one per account, and a separate one for each browser that has signed in.

    Otherwise a stranger who guesses passwords could lock out the owner of the account.
    """
    cookie = str(request.get_signed_cookie(_KNOWN, default="", salt=_KNOWN, max_age=_KNOWN_S))
    browser, _, account = cookie.partition(":")
    return f"browser:{browser}" if account == _digest(email) else f"account:{email}"


def _digest(email: str) -> str:
    return hashlib.sha256(email.encode()).hexdigest()


class SignIn(LoginView):
    """Sign-in page. It limits attempts per account and address (axes), per address, and per account from unknown browsers."""

    template_name = "business/sign_in.html"
    form_class = SignInForm
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Sign in, unless there were too many attempts."""
        email = request.POST.get("username", "").strip().lower()
        for caller in (f"ip:{rate_limit.client_ip(request)}", _guesser(request, email)):
            status = rate_limit.count(caller, policy="sign-in", quota=_TRIES, window_s=_WINDOW_S)
            if status.exceeded:
                return locked_out(request)
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Set a cookie that identifies this browser for this account."""
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


class StaffForm(SignInForm):
    """Sign-in form of the admin. Other accounts get the same error as for a wrong password."""

    def confirm_login_allowed(self, user: Person) -> None:
        """Reject an account that may not use the admin."""
        super().confirm_login_allowed(user)
        if not user.is_staff:
            raise self.get_invalid_login_error()


class AdminSignIn(SignIn):
    """Sign-in page of the admin, with the same limits."""

    form_class = StaffForm
    authentication_form = StaffForm
    redirect_authenticated_user = False  # otherwise a signed-in person who is not staff would be redirected for ever
    next_page = "admin:index"


def locked_out(request: HttpRequest, *_: Any, **__: Any) -> HttpResponse:
    """Show the page for too many sign-in attempts."""
    return rate_limit.too_many(request, _WINDOW_S)


class Welcome(PasswordResetConfirmView):
    """Page of an invitation. A new person sets a password; a person with a confirmed account signs in and accepts.

    The secret is moved from the address into the session at once. A GET changes nothing.
    """

    template_name = "business/welcome.html"
    post_reset_login = True
    post_reset_login_backend = "django.contrib.auth.backends.ModelBackend"
    success_url = "/"
    member: Member | None = None

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer a request, unless there were too many."""
        caller = f"ip:{rate_limit.client_ip(request)}"
        if rate_limit.count(caller, policy="welcome", quota=_TRIES, window_s=_WINDOW_S).exceeded:
            return locked_out(request)
        return super().dispatch(request, *args, **kwargs)

    def get_user(self, uidb64: str) -> Person | None:
        """Return the person of an invitation; None if it was removed."""
        rows = Member.objects.select_related("person", "business")
        self.member = rows.filter(ref=uidb64, person__is_active=True).first()
        if self.member is None:
            return None
        self.token_generator = InvitationTokens(self.member)
        return self.member.person

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Show the invitation."""
        return self._reject_other_person(request) or super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: str, **kwargs: Any) -> HttpResponse:
        """Set the password, accept or decline."""
        if (response := self._reject_other_person(request)) is not None:
            return response
        member = self._invitation()
        if member.person.needs_password:
            return super().post(request, *args, **kwargs)
        if request.POST.get("do") == "decline":
            invitations.decline(member=member)
            messages.success(request, f"Invitation to {member.business.name} declined.")
        else:
            self._accept()
        return redirect(self.success_url)

    def _invitation(self) -> Member:
        """Return the invitation of a valid link."""
        if self.member is None:
            raise Http404
        return self.member

    def _reject_other_person(self, request: HttpRequest) -> HttpResponse | None:
        """Return the response for a person who must sign in first or is signed in as another person; otherwise None."""
        member = self._invitation()
        if member.person.needs_password or request.user.pk == member.person_id:
            return None
        if not request.user.is_authenticated:
            response: HttpResponse = redirect_to_login(request.path)
            return response
        return self.render_to_response(self.get_context_data(is_another=True), status=403)

    def _accept(self) -> None:
        member = self._invitation()
        try:
            invitations.accept(member=member)
        except Member.DoesNotExist:
            raise Http404 from None
        self.request.session[SESSION_KEY] = member.business.ref

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Return the values of the template."""
        needs_password = bool(self.member and self.member.person.needs_password)
        return super().get_context_data(member=self.member, needs_password=needs_password, **kwargs)

    def render_to_response(self, context: dict[str, Any], **kwargs: Any) -> HttpResponse:
        """Render the page, with 404 for a link that is wrong, expired, used or revoked."""
        form = context["form"]
        status = 422 if form is not None and form.errors else 200
        return super().render_to_response(context, **{"status": status if self.validlink else 404, **kwargs})

    def form_valid(self, form: SetPasswordForm[Person]) -> HttpResponse:
        """Set the password, sign in and accept the invitation."""
        with transaction.atomic():
            response = super().form_valid(form)  # signs in, which may start another session
            self._accept()
        return response


@require_POST
def choose_business(request: HttpRequest, ref: str) -> HttpResponseBase:
    """Switch to another business of the person."""
    if not isinstance(request.user, Person) or not businesses_of(request.user).filter(ref=ref).exists():
        raise Http404
    request.session[SESSION_KEY] = ref
    target = request.POST.get("next", "/")
    safe = url_has_allowed_host_and_scheme(target, allowed_hosts=None)
    return redirect(target if safe else "/")
