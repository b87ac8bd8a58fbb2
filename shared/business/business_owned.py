"""Base classes for records that belong to a business, and composite foreign keys that keep a link inside its business.

A query without a business raises UnscopedError. ``Model.objects`` works only with ``.of(business)``. ``Model.unscoped`` has no
such check; it is for the admin, background tasks and signed links. Each use needs the comment ``# unscoped: reason``.

On PostgreSQL each link between records of a business has a composite foreign key (business, link) beside Django's own key.
Row-level security would not be enough, because PostgreSQL does not apply it to foreign keys.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any, ClassVar, NoReturn, Self, TypeVar

from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection, models
from django.db.models import F
from django.utils import timezone

if TYPE_CHECKING:
    from shared.business.models import Business

OwnedT = TypeVar("OwnedT", bound="BusinessOwned")
_BASE62 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_REF_LENGTH = 22  # 62 ** 22 > 2 ** 130
_REFS = 62**_REF_LENGTH


class UnscopedError(RuntimeError):
    """Error for a query without a business. It is always a programming error."""


class CrossBusinessError(ValidationError):
    """Error for a link to a record of another business."""


def new_ref() -> str:
    """Return a random id of 22 letters and digits (131 bits). One large number is ten times faster than 22 small ones."""
    return _base62(secrets.randbelow(_REFS))


def derived_ref(*parts: str) -> str:
    """Return an id calculated from the parts, so that the same request leads to the same record."""
    digest = hashlib.sha256("\n".join(parts).encode()).digest()
    return _base62(int.from_bytes(digest, "big") % _REFS)


def _base62(number: int) -> str:
    letters = []
    for _ in range(_REF_LENGTH):
        number, digit = divmod(number, 62)
        letters.append(_BASE62[digit])
    return "".join(letters)


class OwnedQuerySet(models.QuerySet[OwnedT]):
    """Rows of one business (or, through ``anywhere``, of all of them)."""

    owner_id: int | None = None

    def _clone(self) -> Self:
        clone: Self = super()._clone()  # type: ignore[misc]  # Django's own hook, not in the stubs
        clone.owner_id = self.owner_id
        return clone

    def owned_by(self, business: Business) -> Self:
        """Return the rows of a business. Rows created with this query set belong to it."""
        if business is None or business.pk is None:
            raise UnscopedError(f"{self.model.__name__}: a stored business is needed")
        rows = self.filter(business_id=business.pk)
        rows.owner_id = business.pk
        return rows

    def create(self, **values: Any) -> OwnedT:
        """Create a record of the business."""
        if self.owner_id is not None and "business" not in values:
            values.setdefault("business_id", self.owner_id)
        return super().create(**values)

    def bulk_create(self, objs: Iterable[OwnedT], *args: Any, **kwargs: Any) -> list[OwnedT]:
        """Create records of the business, after checking their links."""
        rows = list(objs)
        for row in rows:
            if not row.business_id and self.owner_id is not None:
                row.business_id = self.owner_id
        reject_cross_business_links(rows)
        return super().bulk_create(rows, *args, **kwargs)

    def update(self, **values: Any) -> int:
        """Update rows and increase their versions."""
        values.setdefault("version", F("version") + 1)
        values.setdefault("updated_at", timezone.now())
        return super().update(**values)


class BusinessManager(models.Manager[OwnedT]):
    """Manager that works only with ``of(business)``."""

    def of(self, business: Business) -> OwnedQuerySet[OwnedT]:
        """Return the rows of one business."""
        return OwnedQuerySet[OwnedT](self.model, using=self._db).owned_by(business)

    def get_queryset(self) -> NoReturn:
        """Raise UnscopedError."""
        raise UnscopedError(f"{self.model.__name__}.objects needs .of(business); see DEVELOPERS.md, Owned rows")


class UnscopedManager(models.Manager[OwnedT]):
    """Manager of the rows of all businesses. Give the reason in a comment where you use it."""

    def get_queryset(self) -> OwnedQuerySet[OwnedT]:
        """Return all rows."""
        return OwnedQuerySet[OwnedT](self.model, using=self._db)


class BusinessOwned(models.Model):
    """Base class of records of a business, with ref, times and a version that increases with every write."""

    business = models.ForeignKey("shared.Business", on_delete=models.PROTECT, related_name="+")
    business_id: int  # declared here, because type checkers do not see it on an abstract model
    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    updated_at = models.DateTimeField(default=timezone.now, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    # the first manager is what Django itself uses for relations, forms and the admin
    unscoped: ClassVar[UnscopedManager[Self]] = UnscopedManager()
    objects: ClassVar[BusinessManager[Self]] = BusinessManager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Refuses links to another business's rows; an update gets the next version."""
        reject_cross_business_links([self])
        if not self._state.adding:
            self.version += 1
            self.updated_at = timezone.now()
            fields = kwargs.get("update_fields")
            if fields is not None:
                kwargs["update_fields"] = {*fields, "version", "updated_at"}
        super().save(*args, **kwargs)


def owned_links(model: type[models.Model]) -> list[tuple[models.ForeignKey[Any, Any], type[BusinessOwned]]]:
    """Return the foreign keys of a model to records of a business, with their models."""
    return [
        (field, field.related_model)
        for field in model._meta.concrete_fields
        if isinstance(field, models.ForeignKey) and issubclass(field.related_model, BusinessOwned)
    ]


def reject_cross_business_links(rows: Iterable[BusinessOwned]) -> None:
    """Raise CrossBusinessError if a record links to a record of another business.

    It makes one query for each kind of link that is not loaded. PostgreSQL also checks it with composite foreign keys (see
    ``business_foreign_keys.py``).
    """
    rows = list(rows)
    for field, target in owned_links(type(rows[0])) if rows else ():
        links = {(getattr(row, field.attname), row.business_id) for row in rows if _is_unchecked(row, field)}
        if not links:
            continue
        found = target.unscoped.filter(  # unscoped: the owner of each record is compared here
            pk__in={pk for pk, _ in links}
        ).values_list("pk", "business_id")
        if links - set(found):
            raise CrossBusinessError({field.name: f"There is no such {target._meta.verbose_name}."})


def _is_unchecked(row: BusinessOwned, field: models.ForeignKey[Any, Any]) -> bool:
    if getattr(row, field.attname) is None:
        return False
    linked = field.get_cached_value(row, default=None)
    return not isinstance(linked, BusinessOwned) or linked.business_id != row.business_id


def owned_models() -> list[type[BusinessOwned]]:
    """Return every model whose records belong to a business."""
    return [model for model in apps.get_models() if issubclass(model, BusinessOwned)]


def add_business_foreign_keys() -> None:
    """Add the missing composite keys. It runs after every migration.

    A key is first added without a check and then validated, so that other transactions can write in the meantime.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT conname FROM pg_constraint WHERE conname LIKE 'same\\_business\\_%%'")
        existing = {name for (name,) in cursor.fetchall()}
        tables = set(connection.introspection.table_names(cursor))
        for name, statement, needed in _key_statements():
            if name not in existing and needed <= tables:
                cursor.execute(statement)
        _validate_keys(cursor)


def _validate_keys(cursor: Any) -> None:
    """Validate every key that is not validated, also after an interrupted run."""
    cursor.execute(
        "SELECT conrelid::regclass::text, conname FROM pg_constraint "
        "WHERE conname LIKE 'same\\_business\\_%%' AND NOT convalidated"
    )
    for table, name in cursor.fetchall():
        cursor.execute(f'ALTER TABLE {table} VALIDATE CONSTRAINT "{name}"')


def _key_statements() -> Iterator[tuple[str, str, set[str]]]:
    """Yield name and statement of each key, with the tables it needs."""
    links = [(model, field, target) for model in owned_models() for field, target in owned_links(model)]
    for target in sorted({target for _, _, target in links}, key=lambda item: item._meta.db_table):
        table = target._meta.db_table
        name = _key_name(table)
        yield name, f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" UNIQUE (business_id, id)', {table}
    for model, field, target in links:
        table, goal = model._meta.db_table, target._meta.db_table
        name = _key_name(f"{table}.{field.column}")
        statement = (
            f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" FOREIGN KEY (business_id, "{field.column}") '
            f'REFERENCES "{goal}" (business_id, id) DEFERRABLE INITIALLY DEFERRED NOT VALID'
        )
        yield name, statement, {table, goal}


def _key_name(what: str) -> str:
    return f"same_business_{hashlib.sha256(what.encode()).hexdigest()[:16]}"
