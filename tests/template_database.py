"""Test databases as copies of one migrated template, made again only when a migration or a model changes.

Migrating takes seconds for each worker and each run; copying takes milliseconds. The template is named by a digest of
the files that decide what a new database holds. SQLite keeps it as a file in the temporary folder, PostgreSQL as a
database beside the test databases.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.backends.base.creation import BaseDatabaseCreation
from django.db.backends.postgresql.creation import DatabaseCreation as PostgresCreation
from django.db.backends.sqlite3.creation import DatabaseCreation as SqliteCreation

ROOT = Path(__file__).resolve().parents[1]
SOURCES = (
    "shared/**/*.py",
    "**/migrations/*.py",
    "**/*models.py",
    "**/*_rows.py",
    "**/*frozen.py",
    "requirements.lock",
)
FOLDER = Path(tempfile.gettempdir()) / f"baywright-tests-{os.getuid()}"


@cache
def digest() -> str:
    """Return a digest of every file that decides what a new database holds."""
    found = hashlib.sha256()
    paths = {path for folder in ("shared", "catalogue", "quotes") for path in (ROOT / folder).rglob("*.py")}
    for path in sorted(paths):
        if any(path.relative_to(ROOT).match(pattern) for pattern in SOURCES):
            found.update(str(path.relative_to(ROOT)).encode() + path.read_bytes())
    found.update((ROOT / "requirements.lock").read_bytes())
    return found.hexdigest()[:16]


@contextmanager
def _locked(name: str) -> Iterator[None]:
    """Hold a lock that only one process on this machine has."""
    FOLDER.mkdir(mode=0o700, exist_ok=True)
    with (FOLDER / f"{name}.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def sqlite_template() -> Path:
    """Return the SQLite file with a new, migrated database. Copy it for a process that needs a database of its own."""
    template = FOLDER / f"{digest()}.sqlite3"
    with _locked("sqlite"):
        if not template.exists():
            partial = template.with_suffix(".partial")
            partial.unlink(missing_ok=True)
            env = {**os.environ, "BAYWRIGHT_DEMO": "1", "REDIS_URL": "", "DATABASE_URL": f"sqlite:///{partial}"}
            subprocess.run([sys.executable, "manage.py", "migrate", "--verbosity=0"], cwd=ROOT, env=env, check=True)
            partial.rename(template)
    return template


def _copy_sqlite(creation: SqliteCreation, name: str) -> None:
    creation.connection.close()
    creation.connection.settings_dict["NAME"] = name
    creation.connection.ensure_connection()
    source = sqlite3.connect(f"file:{sqlite_template()}?mode=ro", uri=True)
    source.backup(creation.connection.connection)
    source.close()


def install() -> None:
    """Make Django create its test databases as copies of the template."""
    creations: tuple[Any, ...] = (SqliteCreation, PostgresCreation)
    for creation in creations:
        creation.create_test_db = _create_test_db


_migrated = BaseDatabaseCreation.create_test_db


def _test_name(creation: Any) -> str:
    return str(creation._get_test_db_name())


def _create_test_db(
    self: BaseDatabaseCreation,
    verbosity: int = 1,
    autoclobber: bool = False,
    serialize: bool = True,
    keepdb: bool = False,
) -> str:
    def migrate() -> str:
        return str(_migrated(self, verbosity, autoclobber, serialize, keepdb))

    if keepdb:
        return migrate()
    if isinstance(self, SqliteCreation):
        name = _test_name(self)
        _copy_sqlite(self, name)
        return name
    return _copy_postgres(self, migrate)


def postgres_template() -> str:
    """Return the name of the migrated PostgreSQL database, which is there once a test database is set up."""
    return f"test_template_{digest()}"


def _copy_postgres(creation: BaseDatabaseCreation, migrate: Callable[[], str]) -> str:
    connection = creation.connection
    name = _test_name(creation)
    template = postgres_template()
    with _locked("postgres"), creation._nodb_cursor() as cursor:  # type: ignore[attr-defined]  # PostgreSQL's own
        cursor.execute("SELECT datname FROM pg_database WHERE datname IN (%s, %s)", [name, template])
        there = {row[0] for row in cursor.fetchall()}
        if template not in there:
            migrate()
            connection.close()
            cursor.execute(f'CREATE DATABASE "{template}" TEMPLATE "{name}"')
        else:
            if name in there:
                cursor.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
            cursor.execute(f'CREATE DATABASE "{name}" TEMPLATE "{template}"')
    connection.close()
    connection.settings_dict["NAME"] = name
    settings.DATABASES[connection.alias]["NAME"] = name
    connection.ensure_connection()
    return name
