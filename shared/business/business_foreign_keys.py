"""Composite foreign keys that stop links between businesses (PostgreSQL only).

For each link between records of a business there is a composite foreign key (business, link) beside Django's own key. Row-level
security would not be enough, because PostgreSQL does not apply it to foreign keys.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db import connection, models

from shared.business.business_owned import BusinessOwned, owned_links


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
        for name, statement, needed in _statements():
            if name not in existing and needed <= tables:
                cursor.execute(statement)
        _validate(cursor)


def _validate(cursor: Any) -> None:
    """Validate every key that is not validated, also after an interrupted run."""
    cursor.execute(
        "SELECT conrelid::regclass::text, conname FROM pg_constraint "
        "WHERE conname LIKE 'same\\_business\\_%%' AND NOT convalidated"
    )
    for table, name in cursor.fetchall():
        cursor.execute(f'ALTER TABLE {table} VALIDATE CONSTRAINT "{name}"')


def _statements() -> Iterator[tuple[str, str, set[str]]]:
    links = [(model, field, target) for model in owned_models() for field, target in owned_links(model)]
    for target in sorted({target for _, _, target in links}, key=lambda item: item._meta.db_table):
        table = target._meta.db_table
        name = _name(table)
        yield name, f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" UNIQUE (business_id, id)', {table}
    for model, field, target in links:
        yield _link(model, field, target)


def _link(
    model: type[models.Model], field: models.ForeignKey[models.Model, models.Model], target: type[models.Model]
) -> tuple[str, str, set[str]]:
    table, goal = model._meta.db_table, target._meta.db_table
    name = _name(f"{table}.{field.column}")
    statement = (
        f'ALTER TABLE "{table}" ADD CONSTRAINT "{name}" FOREIGN KEY (business_id, "{field.column}") '
        f'REFERENCES "{goal}" (business_id, id) DEFERRABLE INITIALLY DEFERRED NOT VALID'
    )
    return name, statement, {table, goal}


def _name(what: str) -> str:
    return f"same_business_{hashlib.sha256(what.encode()).hexdigest()[:16]}"
