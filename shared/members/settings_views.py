"""Views of the settings: business details, members and keys."""

from __future__ import annotations

import base64
from copy import copy
from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from babel.numbers import format_decimal
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.validators import EmailValidator
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_POST

from fencing.model.faults import InvalidDocument
from shared.business.actors import Actor
from shared.business.models import CUSTOM_TEXTS, TAX_ROUNDING_LEVELS, ApiKey, Business, Member, Paper
from shared.business.places import locale_choices, zone_choices
from shared.business.roles import BUSINESS_SCOPES, GRANTS, MemberRole, Scope, scope_label, scopes_label
from shared.common.dates import today, write_day
from shared.members import invitations, services
from shared.members.access import MemberRequest, require_scope
from shared.members.logo import MAX_BYTES, change_logo, convert_to_png
from shared.members.mail_test import mail_state, send_test_letter
from shared.web.etags import find
from shared.web.forms import PageForm, PageTextField, entries
from shared.web.page_errors import PAGE_ERRORS, error_text
from shared.web.seen_version import acting_on

STANDARD = "Leave empty for the standard text."


class SettingsForm(PageForm):
    """Form of the business details."""

    name = PageTextField("Name", max_length=120, wide=True, fills="organization")
    address = PageTextField("Address", "area", max_length=500)
    city = PageTextField("City", max_length=120)
    postcode = PageTextField("Postcode", max_length=20, fills="postal-code")
    phone = PageTextField("Telephone", max_length=40, fills="tel")
    email = PageTextField(
        "E-mail", "email", max_length=254, wide=True, fills="email", required=True,
        hint="Questions and responses of your customers are sent here.",
        error_messages={"required": "Enter an address for questions and responses of customers."},
    )  # fmt: skip
    website = PageTextField("Website", max_length=200, wide=True, fills="url")
    registration_number = PageTextField("Registration number", max_length=60)
    tax_name = PageTextField("Tax name", max_length=20)
    tax_number = PageTextField("Tax number", max_length=60)
    locale = PageTextField("Number and date format", "select")
    time_zone = PageTextField("Time zone", "select")
    paper_size = PageTextField("Paper", "select", choices=Paper.choices)
    tax_rounding = PageTextField("Tax rounding", "select", choices=TAX_ROUNDING_LEVELS, wide=True)
    quote_validity_days = PageTextField("Quote validity (days)", "number", longest=3)
    terms = PageTextField("Quote terms", "area", max_length=20_000)
    payment_details = PageTextField("Payment details", "area", max_length=2_000)
    care_sheet = PageTextField("Custom care sheet", "area", hint=STANDARD, max_length=CUSTOM_TEXTS["care_sheet"])
    how_to_accept = PageTextField(
        "Custom text about accepting a quote", "area", hint=STANDARD, max_length=CUSTOM_TEXTS["how_to_accept"]
    )
    logo = forms.FileField(label="Logo", required=False, help_text="PNG, JPEG, WebP or GIF, at most 2 MB.")

    def __init__(self, business: Business, **options: Any) -> None:
        stored = {name: getattr(business, name, "") for name in self.base_fields}
        super().__init__(initial={**stored, **business.custom_texts}, **options)
        self.business = business
        figure = format_decimal(Decimal("1234.50"), "#,##0.00", locale=business.locale.replace("-", "_"))
        self.fields["locale"].help_text = f"Now: {figure} and {write_day(today(business), business.locale)}."
        self.set_choices("locale", locale_choices(business.country, business.locale))
        self.set_choices("time_zone", zone_choices(business.country, business.time_zone))

    def clean_time_zone(self) -> str:
        if self.cleaned_data["time_zone"] not in available_timezones():
            raise ValidationError("Choose a time zone from the list.")
        return str(self.cleaned_data["time_zone"])

    def clean_quote_validity_days(self) -> int:
        days = self.cleaned_data["quote_validity_days"]
        if not (days.isascii() and days.isdigit() and 1 <= int(days) <= 366):
            raise ValidationError(f"{days!r} is not valid. Enter a whole number from 1 to 366.")
        return int(days)

    def clean_logo(self) -> bytes | None:
        upload = self.cleaned_data["logo"]
        try:
            return convert_to_png(upload.read(MAX_BYTES + 1)) if upload else None
        except InvalidDocument as refused:
            raise ValidationError(error_text(refused)) from None

    def clean(self) -> dict[str, Any]:
        """Return the values, checked by the model too."""
        business = copy(self.business)
        for name, value in self.cleaned_data.items():
            setattr(business, name, value)
        try:
            business.clean_fields({field.name for field in Business._meta.fields} - self.cleaned_data.keys())
        except ValidationError as fault:
            self.refuse(fault)
        return self.cleaned_data

    def save(self, business: Business, actor: Actor) -> None:
        """Store the settings."""
        changes = {name: value for name, value in self.cleaned_data.items() if name not in ("logo", *CUSTOM_TEXTS)}
        own = {key: self.cleaned_data[key] for key in CUSTOM_TEXTS}
        changes["custom_texts"] = services.with_custom_texts(business, own)
        services.change_business(business=business, changes=changes, actor=actor)
        if self.cleaned_data["logo"] or self.data.get("no_logo"):
            change_logo(business=business, png=self.cleaned_data["logo"], actor=actor)


def _facts(business: Business) -> dict[str, str]:
    """Return the settings that the page shows, by label."""
    return SettingsForm(business).facts() | {"Logo": "set" if business.logo_png else "none"}


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.BUSINESS_WRITE)
def face(request: MemberRequest) -> HttpResponse:
    """Show and save the business details."""
    form = SettingsForm(request.business, **entries(request))
    if form.is_valid():
        try:
            with acting_on(request, Business.objects.all(), request.business.ref, _facts) as business:
                form.save(business, request.actor)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
        else:
            messages.success(request, "Settings saved. They apply to quotes sent from now on.")
            return redirect("settings")
    business = Business.objects.get(pk=request.business.pk)
    logo = base64.b64encode(bytes(business.logo_png)).decode() if business.logo_png else ""
    values = {"form": form, "logo": logo, "here": "settings"}
    values |= {"business": business, "mail": mail_state(business), "facts": _facts(business)}
    return render(request, "business/face.html", values, status=form.status)


@require_POST
@require_scope(Scope.BUSINESS_WRITE)
def test_mail(request: MemberRequest) -> HttpResponse:
    """Send a test e-mail to the business's own address."""
    try:
        send_test_letter(business=request.business, actor=request.actor)
    except InvalidDocument as refused:
        messages.error(request, error_text(refused), extra_tags="Failed")
    else:
        messages.success(request, f"A test e-mail to {request.business.email} is being sent.")
    return redirect("settings")


class InvitationForm(PageForm):
    """Form that invites a member."""

    email = PageTextField(
        "E-mail", "email", max_length=254, fills="off", required=True,
        error_messages={"required": "Enter an e-mail address."},
        validators=[EmailValidator("This is not an e-mail address. Write it like name@example.com.")],
    )  # fmt: skip
    name = PageTextField("Name", max_length=120, fills="off")
    role = forms.TypedChoiceField(
        label="Role", coerce=MemberRole, choices=[(role.value, role.value) for role in MemberRole], initial="estimator"
    )


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.MEMBERS_READ)
def members(request: MemberRequest) -> HttpResponse:
    """List the members, and invite a member."""
    form = InvitationForm(**entries(request))
    if request.method == "POST" and not request.actor.may(Scope.MEMBERS_WRITE):
        raise PermissionDenied
    if form.is_valid():
        try:
            with transaction.atomic():
                invited = invitations.invite(business=request.business, actor=request.actor, **form.cleaned_data)
        except InvalidDocument as refused:
            form.refuse(refused)
        else:
            text = f"{invited.person} is invited as {invited.role}. The invitation is being sent to {invited.person.email}."
            messages.success(request, text)
            return redirect("members")
    rows = Member.objects.filter(business=request.business).select_related("person").order_by("id")
    values = {
        "members": [(row, _member_facts(row)) for row in rows],
        "form": form,
        "roles": list(MemberRole),
        "grants": [(role.value, scopes_label(GRANTS[role])) for role in MemberRole],
        "here": "members",
    }
    return render(request, "business/members.html", values, status=form.status)


@require_POST
@require_scope(Scope.MEMBERS_WRITE)
def member(request: MemberRequest, ref: str) -> HttpResponse:
    """Another role for a member, another letter, or out."""
    rows = Member.objects.filter(business=request.business).select_related("person")
    try:
        with acting_on(request, rows, ref, _member_facts) as row:
            if request.POST.get("do") == "remove":
                services.remove_member(member=row, actor=request.actor)
                messages.success(request, f"{row.person} removed.")
            elif request.POST.get("do") == "letter":
                invitations.send_letter(member=row, actor=request.actor)
                messages.success(request, f"The invitation is being sent again to {row.person.email}.")
            elif request.POST.get("role", "") in set(MemberRole):
                services.change_role(member=row, role=MemberRole(request.POST["role"]), actor=request.actor)
                messages.success(request, f"{row.person} is now {row.role}.")
    except PAGE_ERRORS as refused:
        messages.error(request, error_text(refused), extra_tags="Failed")
    return redirect("members")


def _member_facts(row: Member) -> dict[str, str]:
    """Return what the page shows of a member, by label."""
    return {"Person": str(row.person), "Role": row.role, "Accepted": "yes" if row.accepted_at else "no"}


class KeyForm(PageForm):
    """Form that creates a key with permissions that the actor has."""

    name = PageTextField(
        "Key name", required=True, max_length=120, error_messages={"required": "Enter the purpose of the key."}
    )
    scope = forms.TypedMultipleChoiceField(label="Permissions", coerce=Scope, required=False)

    def __init__(self, actor: Actor, **options: Any) -> None:
        super().__init__(**options)
        self.set_choices("scope", ((item.value, scope_label(item)) for item in sorted(BUSINESS_SCOPES & actor.scopes)))


@require_http_methods(["GET", "HEAD", "POST"])
@cache_control(no_store=True)
@require_scope(Scope.KEYS_READ)
def keys(request: MemberRequest) -> HttpResponse:
    """List and create keys. A new key is shown only once."""
    if request.method == "POST" and not request.actor.may(Scope.KEYS_WRITE):
        raise PermissionDenied
    form, issued = KeyForm(request.actor, **entries(request)), {}
    if form.is_valid():
        name, scopes = form.cleaned_data["name"], form.cleaned_data["scope"]
        try:
            with transaction.atomic():
                services.refuse_more_than_own(scopes, request.actor)
                _, text = services.issue_key(name=name, scopes=scopes, business=request.business, actor=request.actor)
        except InvalidDocument as refused:
            form.refuse(refused)
        else:
            form, issued = KeyForm(request.actor), {"name": name, "text": text}
    rows = ApiKey.objects.filter(business=request.business).order_by("-id")
    keys = [(row, scopes_label(row.scopes), reverse("key", args=[row.ref])) for row in rows]
    values = {"keys": keys, "form": form, "issued": issued, "here": "keys"}
    return render(request, "business/keys.html", values, status=form.status)


@require_POST
@require_scope(Scope.KEYS_WRITE)
@transaction.atomic
def key(request: MemberRequest, ref: str) -> HttpResponse:
    """Revoke a key at once."""
    row = find(ApiKey.objects.filter(business=request.business).select_for_update(no_key=True, of=("self",)), ref)
    services.revoke_key(key=row, actor=request.actor)
    messages.success(request, f"Key {row.name} revoked.")
    return redirect("keys")
