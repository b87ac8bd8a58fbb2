"""``manage.py serve`` as a new user starts it: pages answer, and background tasks run beside them."""

from __future__ import annotations

import os
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import requests

from tests.template_database import sqlite_template

ROOT = Path(__file__).resolve().parents[3]
_START = """
from shared.members import services
from shared.business.models import Person
owner = Person.objects.create_user('o@example.test')
services.start_business(owner=owner, name='Served', country='NZ', currency='NZD')
"""


def free_port() -> int:
    with closing(socket.socket()) as listener:
        listener.bind(("127.0.0.1", 0))
        port: int = listener.getsockname()[1]
        return port


@pytest.fixture
def database(tmp_path: Path) -> Path:
    return tmp_path / "served.sqlite3"


@pytest.fixture
def served(database: Path) -> Iterator[str]:
    """Return the address of a service that was started by the command."""
    env = {**os.environ, "BAYWRIGHT_DEMO": "1", "DATABASE_URL": f"sqlite:///{database}", "REDIS_URL": ""}
    manage = [sys.executable, "manage.py"]
    shutil.copy(sqlite_template(), database)
    subprocess.run(
        [*manage, "shell", "--verbosity=0", "-c", _START], cwd=ROOT, env=env, capture_output=True, check=True
    )
    port = free_port()
    with (database.parent / "serve.log").open("w") as log:
        process = subprocess.Popen([*manage, "serve", "--port", str(port)], cwd=ROOT, env=env, stdout=log, stderr=log)
        yield f"http://127.0.0.1:{port}"
        process.terminate()
        process.wait(timeout=60)


def wait_for(address: str) -> requests.Response:
    """Return the first answer; a limit of two minutes only ends a hang."""
    for _ in range(480):
        try:
            return requests.get(address, timeout=30)
        except requests.ConnectionError:
            time.sleep(0.25)
    raise AssertionError(f"{address} does not answer")


def started_tasks(database: Path) -> int:
    with closing(sqlite3.connect(database)) as connection:
        row = connection.execute("SELECT count(*) FROM shared_periodictask WHERE last_started_at IS NOT NULL")
        count: int = row.fetchone()[0]
        return count


def test_serve_answers_pages_and_runs_background_tasks(served: str, database: Path) -> None:
    assert wait_for(f"{served}/healthz").status_code == 200
    for _ in range(480):
        if started_tasks(database):
            break
        time.sleep(0.25)
    log = (database.parent / "serve.log").read_text()
    assert started_tasks(database), log
    assert "Traceback" not in log
    assert "Sign in as o@example.test" in log
