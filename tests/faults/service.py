"""A complete service for one drill: database, Redis, web process and Celery workers, all of which may be killed."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Self, TypeVar

import psutil
import psycopg
import pytest
import redis

from tests.template_database import sqlite_template

ROOT = Path(__file__).resolve().parents[2]
MAX_WAIT_S = 300.0
"""Time after which a drill counts as hanging. It only ends a hang: no drill depends on how fast the machine is."""
PRELOAD = """
import os, django
os.environ['DJANGO_SETTINGS_MODULE'] = 'shared.settings'
django.setup()
import tests.faults.handlers
"""


def free_port() -> int:
    """Return a port that no process listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(condition: Callable[[], bool], failure: str) -> None:
    """Wait until a condition is true.

    Raises:
        AssertionError: with the text ``failure`` if the condition is not true before ``MAX_WAIT_S``.
    """
    deadline = time.monotonic() + MAX_WAIT_S
    while not condition():
        if time.monotonic() > deadline:
            raise AssertionError(f"after {MAX_WAIT_S} s: {failure}")
        time.sleep(0.1)


class Postgres:
    """A PostgreSQL server for one drill. It runs as the user ``postgres`` if the tests run as root."""

    def __init__(self) -> None:
        programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
        if not programs:
            pytest.skip("not run: needs the programs of a PostgreSQL server")
        self.bin, self.port = programs[-1].parent, free_port()
        self.folder = Path(tempfile.mkdtemp(prefix="drill"))
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
        self._run("initdb", "-A", "trust", "-U", "postgres", "-E", "UTF8", "--no-sync")
        self._run("pg_ctl", "-w", "-l", f"{self.folder}.log", "-o", self._options(), "start")

    @property
    def url(self) -> str:
        """Return the address of the database."""
        return f"postgres://postgres@127.0.0.1:{self.port}/postgres"

    def restart(self) -> None:
        """End every process of the server at once, and start it again with crash recovery."""
        self._run("pg_ctl", "-w", "-l", f"{self.folder}.log", "-m", "immediate", "restart")

    def close(self) -> None:
        """Stop the server and delete its files."""
        self._run("pg_ctl", "-m", "immediate", "stop")
        shutil.rmtree(self.folder)
        Path(f"{self.folder}.log").unlink()

    def _options(self) -> str:
        return f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories= -c fsync=off"

    def _run(self, program: str, *options: str) -> None:
        as_postgres = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        command = [*as_postgres, str(self.bin / program), "-D", str(self.folder), *options]
        done = subprocess.run(command, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False)
        if done.returncode:
            raise AssertionError(done.stderr.decode()[-2000:])


@dataclass
class Service:
    """A service with its files in ``folder`` and its data in SQLite or in its own PostgreSQL. ``close`` stops it."""

    folder: Path
    postgres: Postgres | None = None
    port: int = field(default_factory=free_port)
    processes: list[subprocess.Popen[bytes]] = field(default_factory=list)
    redis_process: subprocess.Popen[bytes] | None = None

    @property
    def env(self) -> dict[str, str]:
        """Return the environment of the service's processes, with short leases and timeouts."""
        database_url = self.postgres.url if self.postgres else f"sqlite:///{self.folder / 'drill.sqlite3'}"
        return {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "BAYWRIGHT_DEMO": "1",
            "DATABASE_URL": database_url,
            "REDIS_URL": f"redis://127.0.0.1:{self.port}/0",
            "BAYWRIGHT_JOB_LEASE_S": "3",
            "BAYWRIGHT_SWEEP_S": "1",
            "BAYWRIGHT_VISIBILITY_S": "6",
            "BAYWRIGHT_RESTORE_EVERY": "1",
            "BAYWRIGHT_LOG_LEVEL": "WARNING",
        }

    def start_redis(self) -> None:
        """Start an empty Redis."""
        command = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"]
        self.redis_process = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=self.folder)
        wait_until(self._redis_responds, "Redis does not respond")

    def kill_redis(self) -> None:
        """Kill Redis; its data is lost."""
        if self.redis_process is not None:
            self.redis_process.kill()
            self.redis_process.wait()

    def flush_redis(self) -> None:
        """Delete everything in Redis."""
        with redis.Redis(port=self.port, socket_connect_timeout=1) as broker:
            broker.flushall()

    def _redis_responds(self) -> bool:
        try:
            with redis.Redis(port=self.port, socket_connect_timeout=1) as broker:
                return bool(broker.ping())
        except redis.RedisError:
            return False

    def python(self, code: str) -> str:
        """Run a short program of the service and return what it prints."""
        done = subprocess.run(
            [sys.executable, "-c", PRELOAD + code],
            cwd=self.folder,
            env=self.env,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode not in (0, 9):
            raise AssertionError(done.stderr[-3000:])
        return done.stdout.strip()

    def start_web(self) -> str:
        """Start Gunicorn and return the address of the service."""
        port = free_port()
        options = [
            f"--bind=127.0.0.1:{port}",
            "--workers=1",
            "--log-level=error",
            "--config=docker/gunicorn.conf.py",
        ]
        with (self.folder / "web.log").open("ab") as log:
            command = [sys.executable, "-m", "gunicorn", "shared.wsgi:application", *options]
            self.processes.append(subprocess.Popen(command, cwd=ROOT, env=self.env, stdout=log, stderr=log))
        wait_until(lambda: is_listening(port), "the web service does not respond")
        return f"http://127.0.0.1:{port}"

    def start_worker(self, *, beat: bool = True, concurrency: int = 1) -> subprocess.Popen[bytes]:
        """Start a Celery worker, with beat inside it unless ``beat`` is false."""
        options = ["worker", f"--concurrency={concurrency}", "--loglevel=ERROR", "--without-gossip", "--without-mingle"]
        if beat:
            options += ["--beat", f"--schedule={self.folder / 'beat'}"]
        return self._celery(options)

    def start_beat(self) -> subprocess.Popen[bytes]:
        """Start beat as a separate process, as it is deployed. The worker's children are then only its pool."""
        return self._celery(["beat", "--loglevel=ERROR", f"--schedule={self.folder / 'beat'}", "--pidfile="])

    def _celery(self, options: list[str]) -> subprocess.Popen[bytes]:
        start = "import sys; from celery.__main__ import main; sys.argv = ['celery', *sys.argv[1:]]; main()"
        with (self.folder / "worker.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-c", PRELOAD + start, "--app=shared.background.celery_app", *options],
                cwd=self.folder,
                env=self.env,
                stdout=log,
                stderr=log,
            )
        self.processes.append(process)
        return process

    def kill(self, process: subprocess.Popen[bytes]) -> None:
        """Kill a process and all its children at once."""
        family = [psutil.Process(process.pid), *psutil.Process(process.pid).children(recursive=True)]
        for relative in family:
            if relative.is_running():
                os.kill(relative.pid, signal.SIGKILL)
        process.wait()

    def children(self, process: subprocess.Popen[bytes]) -> list[int]:
        """Return the process ids of all children."""
        return [child.pid for child in psutil.Process(process.pid).children(recursive=True)]

    def publish(self, kind: str, count: int, after: str = "") -> None:
        """Publish ``count`` events, each in its own transaction. Each handler has one effect."""
        self.python(f"""
from django.db import transaction
from shared.business.models import Business
from shared.background.events import publish_event
business = Business.objects.get()
for number in range({count}):
    with transaction.atomic():
        publish_event({kind!r}, f'{{number}}', business=business)
{after}
""")

    def effects(self) -> list[str]:
        """Return the subjects of the effects, in order."""
        return self._column("SELECT subject FROM shared_auditentry WHERE action = 'drill.effect' ORDER BY number")

    def states(self) -> list[str]:
        """Return the state of each outbox task."""
        return self._column("SELECT state FROM shared_outboxtask ORDER BY id")

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Return the rows of a query."""
        if self.postgres:
            with psycopg.connect(self.postgres.url, connect_timeout=5) as server:
                return server.execute(query.encode()).fetchall()
        with closing(sqlite3.connect(self.folder / "drill.sqlite3", timeout=20)) as database:
            return database.execute(query).fetchall()

    def _column(self, query: str) -> list[str]:
        return [row[0] for row in self.rows(query)]

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Kill every process of the service."""
        for process in self.processes:
            if process.poll() is None:
                self.kill(process)
        self.kill_redis()
        if self.postgres:
            self.postgres.close()


ServiceT = TypeVar("ServiceT", bound=Service)


def make_database(service: Service, program: str) -> Path:
    """Fill a new database by a program, and return the SQLite file. Tests copy it, because filling takes seconds."""
    with service:
        shutil.copy(sqlite_template(), service.folder / "drill.sqlite3")
        service.python(program)
        return service.folder / "drill.sqlite3"


@contextmanager
def started_service(service: ServiceT, database: Path) -> Iterator[ServiceT]:
    """Yield the service with a copy of a database and a running Redis. Close it in any case."""
    with service:
        shutil.copy(database, service.folder / "drill.sqlite3")
        service.start_redis()
        yield service


def is_listening(port: int) -> bool:
    """Return whether a process accepts connections on a port."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
