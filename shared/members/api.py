"""API of the business, its members and its keys."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

from django.contrib.auth.hashers import UNUSABLE_PASSWORD_PREFIX
from django.db import models
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import RowSerializer, same_names
from shared.api.serializers import StrictSerializer, TextField
from shared.business.models import (
    ACCOUNTS,
    CUSTOM_TEXTS,
    MAX_ACCOUNT,
    TAX,
    TAX_ROUNDING_LEVELS,
    ApiKey,
    Business,
    Member,
    Paper,
    Person,
    with_accounts,
)
from shared.business.roles import BUSINESS_SCOPES, MemberRole, Scope
from shared.members import invitations, services

_TEXT = {"type": "string"}
_TIME = {"type": ["string", "null"], "format": "date-time"}
_BUSINESS_MEMBERS = (
    "ref", "name", "address", "city", "postcode", "phone", "email", "registration_number", "tax_number", "terms",
    "payment_details", "country", "currency", "locale", "language", "time_zone", "paper_size", "tax_rounding",
    "quote_validity_days", "custom_texts", "accounts",
)  # fmt: skip
_BUSINESS = {
    "type": "object",
    "properties": {
        **dict.fromkeys(_BUSINESS_MEMBERS, _TEXT),
        "quote_validity_days": {"type": "integer"},
        "custom_texts": {
            "type": "object",
            "properties": dict.fromkeys(CUSTOM_TEXTS, _TEXT),
            "additionalProperties": False,
        },
        "accounts": {
            "type": "object",
            "properties": {**dict.fromkeys(ACCOUNTS, _TEXT), TAX: {"type": "object", "additionalProperties": _TEXT}},
            "additionalProperties": False,
        },
    },
}
_MEMBER = {
    "type": "object",
    "properties": {
        **dict.fromkeys(("ref", "email", "name", "role"), _TEXT),
        "has_password": {"type": "boolean"},
        "accepted_at": {**_TIME, "description": "Null for an invitation, which gives no access yet."},
    },
}
_KEY_MEMBERS = ("ref", "name", "prefix", "scopes", "expires_at", "revoked_at", "last_used_at", "created_at")
KEY_SCHEMA: dict[str, Any] = {
    "type": "object",
    "properties": {
        **dict.fromkeys(("ref", "name", "prefix"), _TEXT),
        "scopes": {"type": "array", "items": _TEXT},
        **dict.fromkeys(("expires_at", "revoked_at", "last_used_at", "created_at"), _TIME),
    },
}
ISSUED_KEY_SCHEMA = {
    "type": "object",
    "properties": {
        **KEY_SCHEMA["properties"],
        "secret": {"type": "string", "description": "The key itself. It is shown only once: store it now."},
    },
}

MEMBERS = RowSerializer(
    {
        "ref": "ref",
        "email": "person__email",
        "name": "person__name",
        "role": "role",
        "has_password": ~models.Q(person__password__startswith=UNUSABLE_PASSWORD_PREFIX),
        "accepted_at": "accepted_at",
    }
)
KEYS = RowSerializer(same_names(*_KEY_MEMBERS))
"""Fields of a key, without its secret."""


_TAX_CODE = re.compile(r"[^\x00-\x1f\x7f]{1,40}\Z")
MAX_TAX_ACCOUNTS = 100


class CustomTextsChange(StrictSerializer):
    """Custom texts of documents. An empty text restores the standard text."""

    care_sheet = TextField(max_length=CUSTOM_TEXTS["care_sheet"], allow_blank=True, required=False)
    how_to_accept = TextField(max_length=CUSTOM_TEXTS["how_to_accept"], allow_blank=True, required=False)


class AccountsChange(StrictSerializer):
    """Account codes of ledger lines and quote lines. A missing code keeps its value; an empty code removes it."""

    goods = TextField(max_length=MAX_ACCOUNT, allow_blank=True, required=False)
    delivery = TextField(max_length=MAX_ACCOUNT, allow_blank=True, required=False)
    labour = TextField(max_length=MAX_ACCOUNT, allow_blank=True, required=False)
    sales = TextField(max_length=MAX_ACCOUNT, allow_blank=True, required=False)
    tax = serializers.DictField(child=TextField(max_length=MAX_ACCOUNT, allow_blank=True), required=False)

    def validate_tax(self, value: dict[str, str]) -> dict[str, str]:
        """Reject invalid tax codes."""
        if len(value) > MAX_TAX_ACCOUNTS or not all(_TAX_CODE.match(code) for code in value):
            text = f"Enter up to {MAX_TAX_ACCOUNTS} tax codes of 1 to 40 printable characters."
            raise serializers.ValidationError(text, "tax_code")
        return value


class BusinessChange(StrictSerializer):
    cleared = {"custom_texts": lambda: dict.fromkeys(CUSTOM_TEXTS, "")}
    ref = serializers.CharField(read_only=True)
    name = TextField(max_length=120)
    address = TextField(max_length=500, allow_blank=True)
    city = TextField(max_length=120, allow_blank=True)
    postcode = TextField(max_length=20, allow_blank=True)
    phone = TextField(max_length=40, allow_blank=True)
    registration_number = TextField(max_length=60, allow_blank=True)
    tax_number = TextField(max_length=60, allow_blank=True)
    terms = TextField(max_length=20_000, allow_blank=True)
    payment_details = TextField(max_length=2_000, allow_blank=True)
    email = serializers.EmailField(max_length=254)
    locale = serializers.RegexField(r"^[A-Za-z_]{2,20}\Z")
    language = serializers.RegexField(r"^[a-z]{2,3}\Z")
    time_zone = TextField(max_length=60)
    paper_size = serializers.ChoiceField(Paper.choices)
    tax_rounding = serializers.ChoiceField(TAX_ROUNDING_LEVELS)
    quote_validity_days = serializers.IntegerField(min_value=1, max_value=366)
    custom_texts = CustomTextsChange()
    accounts = AccountsChange()
    country = serializers.CharField(read_only=True)
    currency = serializers.CharField(read_only=True)


class BusinessDetail(Endpoint):
    """Business of the key or member."""

    scopes = {"GET": Scope.BUSINESS_READ, "PATCH": Scope.BUSINESS_WRITE}

    @extend_schema(responses={200: _BUSINESS}, summary="Get the business")
    def get(self, request: Request) -> Response:
        return self.one(business_row(self.business), self.business)

    @extend_schema(request=BusinessChange(partial=True), responses={200: _BUSINESS}, summary="Change the business")
    def patch(self, request: Request) -> Response:
        business = self.get_for_update(Business.objects.all(), self.business.ref)
        changes = self.validated_data(BusinessChange, partial=True)
        if "custom_texts" in changes:
            changes["custom_texts"] = services.with_custom_texts(business, changes["custom_texts"])
        if "accounts" in changes:
            changes["accounts"] = with_accounts(business, changes["accounts"])
        services.change_business(business=business, changes=changes, actor=self.actor)
        return self.one(business_row(business), business)


def business_row(business: Business) -> dict[str, Any]:
    """Return a business as the API shows it."""
    return {name: getattr(business, name) for name in _BUSINESS_MEMBERS}


class NewMember(StrictSerializer):
    email = serializers.EmailField(max_length=254)
    role = serializers.ChoiceField([role.value for role in MemberRole])
    name = TextField(max_length=120, required=False)


class RoleChange(StrictSerializer):
    merges = True
    role = serializers.ChoiceField([role.value for role in MemberRole])


class Members(Endpoint):
    """List of the members of the business."""

    scopes = {"GET": Scope.MEMBERS_READ, "POST": Scope.MEMBERS_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(_MEMBER)}, summary="List members")
    def get(self, request: Request) -> Response:
        return self.page(lambda: members_of(self.business), MEMBERS, by="id", all_of=self.business)

    @extend_schema(request=NewMember, responses={201: _MEMBER}, summary="Add a member")
    def post(self, request: Request) -> Response:
        """Add a person without an e-mail. The person must accept first; ``/invitations`` sends the link for that."""
        data = self.validated_data(NewMember)
        email = data["email"].strip().lower()
        person = Person.objects.filter(email=email).first() or Person.objects.create_user(
            email, name=data.get("name", "")
        )
        member = services.add_member(
            business=self.business, person=person, role=MemberRole(data["role"]), actor=self.actor
        )
        return self.created(MEMBERS.of(member), member)


class Invitations(Endpoint):
    """Invitations of members by e-mail."""

    scopes = {"POST": Scope.MEMBERS_WRITE}
    idempotent = frozenset({"POST"})

    @extend_schema(request=NewMember, responses={201: _MEMBER}, summary="Invite a member by e-mail")
    def post(self, request: Request) -> Response:
        """Send a link that works once and for a few days. A new person sets a password with it; a person with an account signs
        in and accepts. A second invitation of a person who has not accepted sends another e-mail."""
        data = self.validated_data(NewMember)
        member = invitations.invite(
            business=self.business,
            email=data["email"],
            name=data.get("name", ""),
            role=MemberRole(data["role"]),
            actor=self.actor,
        )
        return self.one(MEMBERS.of(member), member, status=201, at=f"/api/v1/members/{member.ref}")


class MemberDetail(Endpoint):
    """A member of the business."""

    scopes = {"GET": Scope.MEMBERS_READ, "PATCH": Scope.MEMBERS_WRITE, "DELETE": Scope.MEMBERS_WRITE}

    @extend_schema(responses={200: _MEMBER}, summary="Get a member")
    def get(self, request: Request, ref: str) -> Response:
        member = self.find(members_of(self.business), ref)
        return self.one(MEMBERS.of(member), member)

    @extend_schema(request=RoleChange, responses={200: _MEMBER}, summary="Change a member's role")
    def patch(self, request: Request, ref: str) -> Response:
        member = self.get_for_update(members_of(self.business), ref)
        role = MemberRole(self.validated_data(RoleChange)["role"])
        member = services.change_role(member=member, role=role, actor=self.actor)
        return self.one(MEMBERS.of(member), member)

    @extend_schema(responses={204: None}, summary="Remove a member")
    def delete(self, request: Request, ref: str) -> Response:
        member = self.get_for_update(members_of(self.business), ref)
        services.remove_member(member=member, actor=self.actor)
        return Response(status=204)


def members_of(business: Business) -> models.QuerySet[Member]:
    """Return the members of a business with their persons."""
    return Member.objects.filter(business=business).select_related("person")


class NewKey(StrictSerializer):
    name = TextField(max_length=120)
    scopes = serializers.ListField(
        child=serializers.ChoiceField(sorted(BUSINESS_SCOPES)), allow_empty=False, max_length=len(BUSINESS_SCOPES)
    )
    expires_at = serializers.DateTimeField(required=False, allow_null=True, default_timezone=UTC)
    sandbox = serializers.BooleanField(required=False, default=False)

    def validate_expires_at(self, value: datetime | None) -> datetime | None:
        """Reject a time in the past."""
        if value is not None and value <= timezone.now():
            raise serializers.ValidationError("Enter a time in the future.", "past")
        return value

    def validate_sandbox(self, value: bool) -> bool:
        """Reject a sandbox key, because it would change real data."""
        if value:
            text = "A business has no sandbox. Sandbox keys are for suppliers' systems."
            raise serializers.ValidationError(text, "sandbox")
        return value


class Keys(Endpoint):
    """List of the keys of the business's own systems."""

    scopes = {"GET": Scope.KEYS_READ, "POST": Scope.KEYS_WRITE}
    paged = True

    @extend_schema(responses={200: page_of(KEY_SCHEMA)}, summary="List keys")
    def get(self, request: Request) -> Response:
        return self.page(lambda: ApiKey.objects.filter(business=self.business), KEYS, all_of=self.business)

    @extend_schema(request=NewKey, responses={201: ISSUED_KEY_SCHEMA}, summary="Create a key")
    def post(self, request: Request) -> Response:
        data = self.validated_data(NewKey)
        scopes = [Scope(name) for name in data["scopes"]]
        services.refuse_more_than_own(scopes, self.actor)
        key, text = services.issue_key(
            name=data["name"],
            scopes=scopes,
            actor=self.actor,
            business=self.business,
            expires_at=data.get("expires_at"),
        )
        response = Response({**KEYS.of(key), "secret": text}, status=201)
        response["Location"] = f"{request.path}/{key.ref}"
        response["Cache-Control"] = "no-store"
        return response


class KeyDetail(Endpoint):
    """A key. To change its scopes, create another key and revoke this one."""

    scopes = {"GET": Scope.KEYS_READ, "DELETE": Scope.KEYS_WRITE}
    unconditional = frozenset({"DELETE"})

    @extend_schema(responses={200: KEY_SCHEMA}, summary="Get a key")
    def get(self, request: Request, ref: str) -> Response:
        return Response(KEYS.of(self.find(ApiKey.objects.filter(business=self.business), ref)))

    @extend_schema(responses={204: None}, summary="Revoke a key")
    def delete(self, request: Request, ref: str) -> Response:
        """Revoke a key. No If-Match is needed, because a stolen key must end at once."""
        key = self.find(ApiKey.objects.filter(business=self.business).select_for_update(no_key=True, of=("self",)), ref)
        services.revoke_key(key=key, actor=self.actor)
        return Response(status=204)
