"""A backup is whole while others write, and what is restored goes on working."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from tests.template_database import postgres_template, sqlite_template

ROOT = Path(__file__).resolve().parents[3]
_START = """
from shared.members import services
from shared.business.models import Person
services.start_business(owner=Person.objects.create_user('o@example.test'), name='Copied', country='NZ', currency='NZD')
"""
_WRITE = """
from shared.database import audit_log
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.database.audit_log import AuditEntry
from django.db import transaction
print(AuditEntry.objects.count())
for number in range({count}):
    with transaction.atomic():
        audit_log.record(Business.objects.get(), SYSTEM, 'copy.test', f'row:{{number}}')
print(AuditEntry.objects.count())
"""


def manage(address: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "BAYWRIGHT_DEMO": "1", "DATABASE_URL": address, "REDIS_URL": ""}
    command = [sys.executable, "manage.py", *arguments]
    return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, text=True, check=False)


def run(address: str, *arguments: str) -> str:
    done = manage(address, *arguments)
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def write(address: str, count: int, first: str = "") -> list[int]:
    """Write audit entries in one process. Return how many there were before and after."""
    printed = run(address, "shell", "--verbosity=0", "-c", first + _WRITE.format(count=count))
    return [int(line) for line in printed.splitlines()[-2:]]


def round_trip(address: str, copy: Path) -> None:
    """Make a backup of a migrated database during writes, restore it, and write again."""
    empty, before = write(address, 20, _START)
    assert before == empty + 20
    writer = threading.Thread(target=write, args=(address, 200))
    writer.start()
    run(address, "backup", str(copy))
    writer.join()
    with ThreadPoolExecutor() as together:
        again = together.submit(manage, address, "backup", str(copy))
        unsure = together.submit(manage, address, "restore", str(copy))
    assert again.result().returncode == 1, "a backup never writes over another"
    assert unsure.result().returncode == 1, "nothing is replaced without --yes"
    assert "restored" in run(address, "restore", str(copy), "--yes")
    kept, after = write(address, 1)
    assert before <= kept <= before + 200
    assert after == kept + 1
    run(address, "verify_audit")


def test_sqlite_is_copied_and_restored_while_others_write(tmp_path: Path) -> None:
    shutil.copy(sqlite_template(), tmp_path / "live.sqlite3")
    round_trip(f"sqlite:///{tmp_path / 'live.sqlite3'}", tmp_path / "copy.sqlite3")


@pytest.mark.postgres
def test_postgresql_is_copied_and_restored_while_others_write(tmp_path: Path, django_db_setup: None) -> None:
    import psycopg
    from django.db import connection

    data = connection.settings_dict
    server = f"{data['USER']}@{data['HOST']}:{data['PORT'] or 5432}"
    name = f"bw_copies_{os.getpid()}"
    with psycopg.connect(f"postgres://{server}/postgres", autocommit=True) as admin:
        admin.execute(f"CREATE DATABASE {name} TEMPLATE {postgres_template()}".encode())
        try:
            round_trip(f"postgres://{server}/{name}", tmp_path / "copy.dump")
        finally:
            admin.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


def test_what_is_no_backup_is_refused_and_nothing_changes(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'live.sqlite3'}"
    with closing(sqlite3.connect(tmp_path / "live.sqlite3")) as live:
        live.execute("CREATE TABLE kept (a)")
    (tmp_path / "letter.txt").write_text("not a database")
    refused = manage(address, "restore", str(tmp_path / "letter.txt"), "--yes")
    assert refused.returncode == 1
    assert "is not a backup" in refused.stderr
    with closing(sqlite3.connect(tmp_path / "live.sqlite3")) as live:
        assert live.execute("SELECT count(*) FROM kept").fetchone() == (0,)
