"""Queries for businesses, members and keys."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta
from functools import cached_property
from typing import Any, TypeVar

from django.db import DEFAULT_DB_ALIAS, connection, models
from django.db.models import QuerySet
from django.db.models.sql.compiler import SQLCompiler
from django.utils import timezone

from shared.business.keys import digest, well_formed
from shared.business.models import ApiKey, Business, Member, Person, SupplierAccount

ModelT = TypeVar("ModelT", bound=models.Model)
_ANY = "any"
_LAST_USED_EVERY = timedelta(minutes=1)  # otherwise every read would also write
_SELDOM_READ = {"logo_png", "terms", "custom_texts", "payment_details"}  # long texts, loaded only where they are used


class CompiledQuery:
    """Query with one text parameter, whose SQL is compiled once, because compiling takes longer than running it.

    Call ``CompiledQuery(lambda sku: Part.objects.filter(sku=sku).values_list(…))`` with a value to get
    the rows. Values are converted by the fields as usual.
    """

    def __init__(self, query: Callable[[str], QuerySet[Any, Any]]) -> None:
        self._query = query

    def __call__(self, value: str) -> Iterable[list[Any]]:
        compiler, sql, converters = self._compiled
        with connection.cursor() as cursor:
            cursor.execute(sql, [value])
            rows = cursor.fetchall()
        converted: Iterable[list[Any]] = compiler.apply_converters(rows, converters)
        return converted

    @cached_property
    def _compiled(self) -> tuple[SQLCompiler, str, dict[int, Any]]:
        compiler = self._query(_ANY).query.get_compiler(DEFAULT_DB_ALIAS)
        sql, parameters = compiler.as_sql()
        if list(parameters) != [_ANY]:
            raise ValueError(f"the query must have one parameter, not {parameters}")
        return compiler, sql, compiler.get_converters([selected[0] for selected in compiler.select])


def _columns(model: type[models.Model]) -> list[str]:
    return [field.attname for field in model._meta.concrete_fields if field.attname not in _SELDOM_READ]


_KEY, _BUSINESS, _ACCOUNT = _columns(ApiKey), _columns(Business), _columns(SupplierAccount)
_by_digest = CompiledQuery(
    lambda sha256: ApiKey.objects.filter(sha256=sha256).values_list(
        *_KEY, *(f"business__{name}" for name in _BUSINESS), *(f"supplier_account__{name}" for name in _ACCOUNT)
    )
)


def businesses_of(person: Person) -> QuerySet[Business]:
    """Return the businesses of a person, ordered by name."""
    return Business.objects.filter(members__in=memberships_of(person)).order_by("name", "id")


def memberships_of(person: Person) -> QuerySet[Member]:
    """Return the accepted memberships of a person. Every access check uses it."""
    return Member.objects.filter(person=person, accepted_at__isnull=False)


def live_key(key: str) -> ApiKey | None:
    """Return the record of a key, or None if it is unknown, revoked or expired. Store the time of use."""
    if not well_formed(key):
        return None
    stored = _stored_key(digest(key))
    now = timezone.now()
    if stored is None or stored.revoked_at or (stored.expires_at and stored.expires_at <= now):
        return None
    if stored.last_used_at is None or now - stored.last_used_at > _LAST_USED_EVERY:
        ApiKey.objects.filter(pk=stored.pk).update(last_used_at=now)
    return stored


def _stored_key(sha256: str) -> ApiKey | None:
    for row in _by_digest(sha256):
        key = _build(ApiKey, _KEY, row)
        if key.business_id:
            key.business = _build(Business, _BUSINESS, row[len(_KEY) :])
        else:
            key.supplier_account = _build(SupplierAccount, _ACCOUNT, row[len(_KEY) + len(_BUSINESS) :])
        return key
    return None


def _build(model: type[ModelT], columns: list[str], values: list[Any]) -> ModelT:
    return model.from_db(DEFAULT_DB_ALIAS, columns, values[: len(columns)])
