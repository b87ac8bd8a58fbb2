"""The cast and its sample catalogue: made once for each test database, and copied within it for each test.

The services need hundreds of queries to make them; a copy is one for each table. The rows are kept in tables beside those
of the models: a test sees none before it asks for them, and emptying the models' tables leaves them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction

from catalogue.engine import engine_input

T = TypeVar("T")
OWN_APPS = ("shared", "catalogue")


def _execute(query: str) -> list[tuple[object, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(query)
        return list(cursor.fetchall()) if cursor.description else []


def _count(tables: Iterable[str]) -> list[tuple[object, ...]]:
    queries = (f"SELECT '{table}' AS name, count(*) AS rows FROM {table}" for table in tables)  # noqa: S608 - own names
    return _execute(" UNION ALL ".join(queries) + " ORDER BY name")


class KeptRows:
    """The rows that a function of the services adds or changes, kept to be copied by later tests."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.tables: tuple[str, ...] = ()
        self._base: list[tuple[object, ...]] = []

    def keep(self, make: Callable[[], T]) -> T:
        """Return what ``make`` returns, and keep the rows that are new or changed after it."""
        models = [model for model in apps.get_models() if model._meta.app_label in OWN_APPS]
        tables = [model._meta.db_table for model in models]
        for table in tables:
            _execute(f"CREATE TEMPORARY TABLE before_{table} AS SELECT * FROM {table}")  # noqa: S608 - own names
        before = _count(tables)
        made = make()
        touched = []
        for table in tables:
            _execute(f"DROP TABLE IF EXISTS {self._copy(table)}")
            _execute(
                f"CREATE TABLE {self._copy(table)} AS SELECT * FROM {table} EXCEPT SELECT * FROM before_{table}"  # noqa: S608
            )
            _execute(f"DROP TABLE before_{table}")
            if _execute(f"SELECT 1 FROM {self._copy(table)} LIMIT 1"):  # noqa: S608
                touched.append(table)
            else:
                _execute(f"DROP TABLE {self._copy(table)}")
        self.tables = tuple(touched)
        self._base = [row for row in before if row[0] in self.tables]
        return made

    def fits(self) -> bool:
        """Return whether the tables hold as many rows as before the rows were made."""
        return bool(self.tables) and _count(self.tables) == self._base

    def are_unchanged(self, table: str) -> bool:
        """Return whether a table still holds the kept rows, unchanged."""
        return not _execute(f"SELECT * FROM {self._copy(table)} EXCEPT SELECT * FROM {table}")  # noqa: S608

    @transaction.atomic
    def restore(self) -> None:
        """Write the kept rows into the tables of the models."""
        for table in self.tables:
            _execute(f"DELETE FROM {table} WHERE id IN (SELECT id FROM {self._copy(table)})")  # noqa: S608
            _execute(f"INSERT INTO {table} SELECT * FROM {self._copy(table)}")  # noqa: S608

    def _copy(self, table: str) -> str:
        return f"kept_{self.name}_{table}"


CAST = KeptRows("cast")
CATALOGUE = KeptRows("catalogue")


def empty_tables(*kept: KeptRows) -> None:
    """Empty the tables of kept rows, as after a test with real transactions."""
    tables = sorted({table for rows in kept for table in rows.tables})
    connection.ops.execute_sql_flush(connection.ops.sql_flush(no_style(), tables, allow_cascade=True))


def copy_catalogue(business_id: int) -> bool:
    """Copy the sample catalogue, and return whether it was possible: for the unchanged business of the cast."""
    if not (CATALOGUE.fits() and CAST.are_unchanged("shared_business")):
        return False
    if _execute("SELECT business_id FROM kept_catalogue_catalogue_finish LIMIT 1") != [(business_id,)]:
        return False
    CATALOGUE.restore()
    engine_input._kept.clear()  # it knows a business by its ref, which is the same in the next test
    return True
