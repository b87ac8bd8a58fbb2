"""Backup and restore of the whole database, on PostgreSQL and SQLite.

A copy is written beside its target and renamed when it is complete, so that there is never a partial backup. Never copy a live
SQLite file with ``cp``: changes in its write-ahead log would be missing.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

from django.db import connection, connections

_SQLITE_MAGIC = b"SQLite format 3\0"
_POSTGRES_MAGIC = b"PGDMP"


class CopyError(RuntimeError):
    """Error while a copy is made or read. Nothing was changed."""


def backup(target: Path) -> None:
    """Write a consistent copy. The database can be used during the backup."""
    part = target.with_name(target.name + ".part")
    try:
        if connection.vendor == "postgresql":
            _tool("pg_dump", "--format=custom", "--no-owner", f"--file={part}", _address())
        else:
            source = str(connection.settings_dict["NAME"])
            with closing(sqlite3.connect(source, timeout=20)) as live, closing(sqlite3.connect(part)) as copy:
                live.backup(copy, pages=-1)
                copy.execute("PRAGMA journal_mode=DELETE")
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(target)
    except (sqlite3.Error, OSError) as fault:
        raise CopyError(f"{target} could not be written: {fault}") from fault
    finally:
        part.unlink(missing_ok=True)


def restore(source: Path) -> None:
    """Replace the database by a copy. A file that is not a backup is rejected first."""
    magic = _POSTGRES_MAGIC if connection.vendor == "postgresql" else _SQLITE_MAGIC
    if not source.is_file() or source.open("rb").read(len(magic)) != magic:
        raise CopyError(f"{source} is not a backup of a {connection.vendor} database")
    connections.close_all()
    if connection.vendor == "postgresql":
        _tool("pg_restore", "--clean", "--if-exists", "--no-owner", "--single-transaction", "--exit-on-error",
              f"--dbname={_address()}", str(source))  # fmt: skip
        return
    with closing(sqlite3.connect(source)) as copy:
        if copy.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            raise CopyError(f"{source} is damaged")
        with closing(sqlite3.connect(str(connection.settings_dict["NAME"]), timeout=20)) as live:
            copy.backup(live)


def _address() -> str:
    """Return the database's address for libpq. The password is passed by the environment, never on the command line."""
    data = connection.settings_dict
    parts = {"host": data["HOST"], "port": data["PORT"], "user": data["USER"], "dbname": data["NAME"]}
    return " ".join(f"{name}='{value}'" for name, value in parts.items() if value)


def _tool(name: str, *arguments: str) -> None:
    path = shutil.which(name)
    if path is None:
        raise CopyError(f"{name} is missing: install postgresql-client")
    env = {**os.environ, "PGPASSWORD": str(connection.settings_dict["PASSWORD"] or "")}
    done = subprocess.run([path, *arguments], env=env, capture_output=True, text=True, check=False)  # noqa: S603 - our own arguments, no shell
    if done.returncode:
        raise CopyError(f"{name}: {done.stderr.strip()[:1000]}")
