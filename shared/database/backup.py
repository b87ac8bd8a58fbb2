"""Backup and restore of the whole database, on PostgreSQL and SQLite.

A copy is written beside its target and renamed when it is whole, so that there is never half a backup. Never
copy a live SQLite file with ``cp``: what is still in its write-ahead log would be missing.
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
    """The copy could not be made or read; nothing was changed."""


def backup(target: Path) -> None:
    """Writes a consistent copy; others may go on reading and writing meanwhile."""
    part = target.with_name(target.name + ".part")
    try:
        if connection.vendor == "postgresql":
            _tool("pg_dump", "--format=custom", "--no-owner", f"--file={part}", _address())
        else:
            source = str(connection.settings_dict["NAME"])
            with closing(sqlite3.connect(source, timeout=20)) as live, closing(sqlite3.connect(part)) as copy:
                live.backup(copy, pages=-1)
                copy.execute("PRAGMA journal_mode=DELETE")
        with part.open("rb+") as written:
            os.fsync(written.fileno())
        part.replace(target)
    except (sqlite3.Error, OSError) as fault:
        raise CopyError(f"{target} could not be written: {fault}") from fault
    finally:
        part.unlink(missing_ok=True)


def restore(source: Path) -> None:
    """Puts a copy in the place of everything that is there; a file that is no backup is refused first."""
    magic = _POSTGRES_MAGIC if connection.vendor == "postgresql" else _SQLITE_MAGIC
    if not source.is_file() or source.open("rb").read(len(magic)) != magic:
        raise CopyError(f"{source} is no backup of a {connection.vendor} database")
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
    """The database as libpq takes it; the password goes by the environment, never onto the command line."""
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
