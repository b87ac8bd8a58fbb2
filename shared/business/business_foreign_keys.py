"""The second wall on PostgreSQL: a row can't point at a row of another business, whatever our code does.

For each link between owned rows a composite foreign key (business, link) is kept beside Django's own. Row-level
checks alone would not do: PostgreSQL lets a plain foreign key cross them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from typing import Any

from django.apps import apps
from django.db import connection, models

from shared.business.business_owned import BusinessOwned, owned_links


def owned_models() -> list[type[BusinessOwned]]:
    """Every model whose rows belong to a business."""
    return [model for model in apps.get_models() if issubclass(model, BusinessOwned)]


def add_business_foreign_keys() -> None:
    """Adds the composite keys that are missing; done after every migration.

    A key is added unchecked and then checked, row by row, while others write: checked as it is added it would hold them up.
    """
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT conname FROM pg_constraint WHERE conname LIKE 'wall\\_%%'")
        standing = {name for (name,) in cursor.fetchall()}
        tables = set(connection.introspection.table_names(cursor))
        for name, statement, needed in _statements():
            if name not in standing and needed <= tables:
                cursor.execute(statement)
        _check(cursor)


def _check(cursor: Any) -> None:
    """Every key that was added and not checked yet, be it by a run that was broken off."""
    cursor.execute(
        "SELECT conrelid::regclass::text, conname FROM pg_constraint WHERE conname LIKE 'wall\\_%%' AND NOT convalidated"
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
    return f"wall_{hashlib.sha256(what.encode()).hexdigest()[:16]}"
