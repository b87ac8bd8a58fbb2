"""Views of the settings: business details, members and keys."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from babel.numbers import format_decimal
from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from fencing.model.faults import Fault, InvalidDocument
from shared.business.models import CUSTOM_TEXTS, TAX_ROUNDING_LEVELS, ApiKey, Business, Member, Paper
from shared.business.places import locale_choices, zone_choices
from shared.business.roles import BUSINESS_SCOPES, GRANTS, MemberRole, Scope
from shared.business.scope_labels import scope_label, scopes_label
from shared.common.dates import today, write_day
from shared.common.form_fields import FormField, faults_by_pointer
from shared.members import invitations, services
from shared.members.access import MemberRequest, require_scope
from shared.members.logo import MAX_BYTES, change_logo, convert_to_png
from shared.members.mail_test import mail_state, send_test_letter
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, error_status, error_text, errors_by_field
from shared.web.seen_version import acting_on, field_facts

FACE: tuple[tuple[str, str, str, int], ...] = (
    ("name", "Name", "text", 120),
    ("address", "Address", "area", 500),
    ("city", "City", "text", 120),
    ("postcode", "Postcode", "text", 20),
    ("phone", "Telephone", "text", 40),
    ("email", "E-mail", "email", 254),
    ("website", "Website", "text", 200),
    ("registration_number", "Registration number", "text", 60),
    ("tax_name", "Tax name", "text", 20),
    ("tax_number", "Tax number", "text", 60),
    ("locale", "Number and date format", "select", 0),
    ("time_zone", "Time zone", "select", 0),
    ("paper_size", "Paper", "select", 0),
    ("tax_rounding", "Tax rounding", "select", 0),
    ("quote_validity_days", "Quote validity (days)", "number", 3),
    ("terms", "Quote terms", "area", 20_000),
    ("payment_details", "Payment details", "area", 2_000),
)
CHOICES: Mapping[str, tuple[tuple[str, str], ...]] = {
    "paper_size": tuple((value, str(word)) for value, word in Paper.choices),
    "tax_rounding": TAX_ROUNDING_LEVELS,
}
WIDE = frozenset({"name", "email", "website", "tax_rounding"})
FILLS = {"phone": "tel", "email": "email", "name": "organization", "postcode": "postal-code", "website": "url"}
HINTS = {"email": "Questions and responses of your customers are sent here."}
OWN_WORDS = {"care_sheet": "Custom care sheet", "how_to_accept": "Custom text about accepting a quote"}


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.BUSINESS_WRITE)
def face(request: MemberRequest) -> HttpResponse:
    """Show and save the business details."""
    if request.method != "POST":
        return _face(request, {})
    try:
        changes, png = _read_settings(request), _upload(request)
        _change(request, changes, png)
    except PAGE_ERRORS as refused:
        return _face(request, errors_by_field(refused), error_status(refused))
    except ValidationError as fault:
        return _face(request, {f"/{name}": " ".join(texts) for name, texts in fault.message_dict.items()})
    messages.success(request, "Settings saved. They apply to quotes sent from now on.")
    return redirect("settings")


def _change(request: MemberRequest, changes: Mapping[str, Any], png: bytes | None) -> None:
    with acting_on(request, Business.objects.all(), request.business.ref, _facts) as business:
        services.change_business(business=business, changes=changes, actor=request.actor)
        if png is not None or request.POST.get("no_logo"):
            change_logo(business=business, png=png, actor=request.actor)


def _facts(business: Business) -> dict[str, str]:
    """Return the settings that the page shows, by label."""
    return field_facts(_fields(business, None, {})) | {"Logo": "set" if business.logo_png else "none"}


def _read_settings(request: MemberRequest) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    for name, *_ in FACE:
        changes[name] = request.POST.get(name, "").strip().replace("\r\n", "\n")
    faults = []
    days = changes["quote_validity_days"]
    if not (days.isascii() and days.isdigit() and 1 <= int(days) <= 366):
        faults.append(
            Fault("/quote_validity_days", "days", f"{days!r} is not valid. Enter a whole number from 1 to 366.")
        )
    else:
        changes["quote_validity_days"] = int(days)
    if changes["time_zone"] not in available_timezones():
        faults.append(Fault("/time_zone", "zone", "Choose a time zone from the list."))
    if not changes["email"]:
        faults.append(Fault("/email", "email.missing", "Enter an address for questions and responses of customers."))
    if faults:
        raise InvalidDocument(faults)
    own = {key: request.POST.get(key, "").strip().replace("\r\n", "\n") for key in CUSTOM_TEXTS}
    changes["custom_texts"] = services.with_custom_texts(request.business, own)
    return changes


def _upload(request: MemberRequest) -> bytes | None:
    upload = request.FILES.get("logo")
    if upload is None:
        return None
    if upload.size is None or upload.size > MAX_BYTES:
        raise InvalidDocument([Fault("/logo", "logo.large", "Select a file of at most 2 MB.")])
    return convert_to_png(upload.read())


def _face(request: MemberRequest, faults: Mapping[str, str], status: int = 422) -> HttpResponse:
    business = Business.objects.get(pk=request.business.pk)
    boxes = _fields(business, request.POST if request.method == "POST" else None, faults)
    boxes.append(
        FormField("logo", "Logo", "", "file", faults.get("/logo", ""), "PNG, JPEG, WebP or GIF, at most 2 MB.")
    )
    logo = base64.b64encode(bytes(business.logo_png)).decode() if business.logo_png else ""
    values = {"boxes": boxes, "logo": logo, "is_wrong": bool(faults), "here": "settings", "notice": faults.get("", "")}
    values |= {"business": business, "mail": mail_state(business), "facts": _facts(business)}
    return render(request, "business/face.html", values, status=status if faults else 200)


def _fields(business: Business, typed: Mapping[str, str] | None, faults: Mapping[str, str]) -> list[FormField]:
    """Return the fields of the form with what was entered, or else with what is stored."""
    choices = {
        **CHOICES,
        "locale": locale_choices(business.country, business.locale),
        "time_zone": zone_choices(business.country, business.time_zone),
    }
    hints = {**HINTS, "locale": _example(business)}
    boxes = [
        FormField(name, label, typed.get(name, "") if typed else str(getattr(business, name)), kind, faults.get(f"/{name}", ""),
            hints.get(name, ""), choices.get(name, ()), most, kind == "area" or name in WIDE, FILLS.get(name, ""))
        for name, label, kind, most in FACE
    ]  # fmt: skip
    for key, label in OWN_WORDS.items():
        text = typed.get(key, "") if typed else business.custom_texts.get(key, "")
        boxes.append(
            FormField(
                key,
                label,
                text,
                "area",
                hint="Leave empty for the standard text.",
                most=CUSTOM_TEXTS[key],
                wide=True,
            )
        )
    return boxes


def _example(business: Business) -> str:
    figure = format_decimal(Decimal("1234.50"), "#,##0.00", locale=business.locale.replace("-", "_"))
    return f"Now: {figure} and {write_day(today(business), business.locale)}."


@require_POST
@require_scope(Scope.BUSINESS_WRITE)
def test_mail(request: MemberRequest) -> HttpResponse:
    """Send a test e-mail to the business's own address."""
    try:
        send_test_letter(business=request.business, actor=request.actor)
    except InvalidDocument as refused:
        messages.error(request, " ".join(fault.text for fault in refused.faults), extra_tags="Failed")
    else:
        messages.success(request, f"A test e-mail to {request.business.email} is being sent.")
    return redirect("settings")


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.MEMBERS_READ)
def members(request: MemberRequest) -> HttpResponse:
    """List the members, and invite a member."""
    faults: dict[str, str] = {}
    if request.method == "POST":
        if not request.actor.may(Scope.MEMBERS_WRITE):
            raise PermissionDenied
        try:
            _add_member(request)
        except InvalidDocument as refused:
            faults = faults_by_pointer(refused)
        else:
            return redirect("members")
    rows = Member.objects.filter(business=request.business).select_related("person").order_by("id")
    typed = request.POST
    boxes = [
        FormField("email", "E-mail", typed.get("email", ""), "email", faults.get("/email", ""), most=254, fills="off"),
        FormField("name", "Name", typed.get("name", ""), most=120, fills="off"),
        FormField(
            "role", "Role", typed.get("role",
            "estimator"), "select", choices=tuple((item.value, item.value) for item in MemberRole),
        ),
    ]  # fmt: skip
    grants = [(role.value, scopes_label(GRANTS[role])) for role in MemberRole]
    loose = [text for pointer, text in faults.items() if pointer != "/email"]
    values = {
        "members": [(row, _member_facts(row)) for row in rows],
        "boxes": boxes,
        "roles": list(MemberRole),
        "grants": grants,
        "loose": loose,
        "here": "members",
    }
    return render(request, "business/members.html", values, status=422 if faults else 200)


@transaction.atomic
def _add_member(request: MemberRequest) -> None:
    email, role = request.POST.get("email", "").strip().lower(), request.POST.get("role", "")
    if role not in set(MemberRole):
        raise InvalidDocument([Fault("/role", "role.unknown", f"Choose from: {', '.join(MemberRole)}.")])
    try:
        validate_email(email)
    except ValidationError:
        raise InvalidDocument([Fault("/email", "email", f"{email!r} is not an e-mail address.")]) from None
    name = request.POST.get("name", "").strip()[:120]
    member = invitations.invite(
        business=request.business, email=email, name=name, role=MemberRole(role), actor=request.actor
    )
    messages.success(request, f"{member.person} is invited as {member.role}. The invitation is being sent to {email}.")


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


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.KEYS_READ)
def keys(request: MemberRequest) -> HttpResponse:
    """List and create keys. A new key is shown only once."""
    faults: dict[str, str] = {}
    issued: dict[str, str] = {}
    if request.method == "POST":
        if not request.actor.may(Scope.KEYS_WRITE):
            raise PermissionDenied
        try:
            issued = _issue(request)
        except InvalidDocument as refused:
            faults = faults_by_pointer(refused)
    rows = ApiKey.objects.filter(business=request.business).order_by("-id")
    scopes = [
        (scope.value, scope_label(scope), scope.value in request.POST.getlist("scope"))
        for scope in sorted(BUSINESS_SCOPES & request.actor.scopes)
    ]
    name = FormField(
        "name",
        "Key name",
        "" if issued else request.POST.get("name", ""),
        most=120,
        fault=faults.get("/name", ""),
    )
    values = {
        "keys": [(row, scopes_label(row.scopes)) for row in rows],
        "scopes": scopes,
        "name": name,
        "faults": faults,
        "issued": issued,
        "here": "keys",
    }
    response = render(request, "business/keys.html", values, status=422 if faults else 200)
    response["Cache-Control"] = "no-store"
    return response


@transaction.atomic
def _issue(request: MemberRequest) -> dict[str, str]:
    name = request.POST.get("name", "").strip()
    if not 0 < len(name) <= 120:
        raise InvalidDocument([Fault("/name", "name", "Enter the purpose of the key, with at most 120 characters.")])
    scopes = [Scope(text) for text in request.POST.getlist("scope") if text in set(BUSINESS_SCOPES)]
    services.refuse_more_than_own(scopes, request.actor)
    _, text = services.issue_key(name=name, scopes=scopes, business=request.business, actor=request.actor)
    return {"name": name, "text": text}


@require_POST
@require_scope(Scope.KEYS_WRITE)
@transaction.atomic
def key(request: MemberRequest, ref: str) -> HttpResponse:
    """Revoke a key at once."""
    row = find(ApiKey.objects.filter(business=request.business).select_for_update(no_key=True, of=("self",)), ref)
    services.revoke_key(key=row, actor=request.actor)
    messages.success(request, f"Key {row.name} revoked.")
    return redirect("keys")
