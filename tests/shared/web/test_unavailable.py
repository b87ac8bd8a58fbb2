"""A database that is down or full, a disk without room: 503 and when to come back, in every layer; our own mistakes stay 500."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.db import InterfaceError, OperationalError, ProgrammingError
from django.test import Client

from quotes.jobs import api, queries
from shared.business.roles import Scope
from shared.database.errors import is_unavailable
from shared.web import health
from tests.conftest import Cast


def from_sqlite(folder: Path, statement: str) -> BaseException:
    """Return what SQLite itself raises, as Django wraps it."""
    with closing(sqlite3.connect(folder / "full.sqlite3")) as rows:
        rows.executescript("CREATE TABLE heap (a); PRAGMA max_page_count = 4;")
        try:
            rows.execute(statement)
        except sqlite3.Error as cause:
            return caused(OperationalError(str(cause)), cause)
    raise AssertionError("nothing was raised")


def caused(fault: BaseException, cause: BaseException) -> BaseException:
    fault.__cause__ = cause
    return fault


def no_room() -> BaseException:
    cause = psycopg.errors.DiskFull("could not extend file: No space left on device")
    return caused(OperationalError(str(cause)), cause)


@pytest.mark.parametrize(
    ("fault", "passes"),
    [
        (no_room(), True),
        (caused(OperationalError(), psycopg.OperationalError("connection refused")), True),
        (caused(OperationalError(), psycopg.errors.AdminShutdown("terminating connection")), True),
        (caused(OperationalError(), psycopg.errors.DeadlockDetected("deadlock detected")), True),
        (caused(OperationalError(), psycopg.errors.LockNotAvailable("lock timeout")), True),
        (InterfaceError("connection already closed"), True),
        (OSError(errno.ENOSPC, "No space left on device"), True),
        (OSError(errno.EACCES, "Permission denied"), False),
        (ProgrammingError("no such column"), False),
        (ValueError("a mistake"), False),
    ],
)
def test_an_error_that_may_pass_is_distinguished_from_a_programming_error(fault: BaseException, passes: bool) -> None:
    assert is_unavailable(fault) is passes


@pytest.mark.parametrize(
    ("statement", "passes"),
    [("INSERT INTO heap VALUES (zeroblob(1000000))", True), ("SELECT a FROM nowhere", False)],
)
def test_a_full_sqlite_is_distinguished_from_a_missing_table(tmp_path: Path, statement: str, passes: bool) -> None:
    assert is_unavailable(from_sqlite(tmp_path, statement)) is passes


def raising(fault: BaseException) -> Callable[..., Any]:
    def raise_it(*_: object, **__: object) -> Any:
        raise fault

    return raise_it


@pytest.fixture
def browser(cast: Cast) -> Client:
    """Return the owner's browser, with error pages as in production."""
    client = Client(raise_request_exception=False)
    client.force_login(cast.owner, backend="django.contrib.auth.backends.ModelBackend")
    return client


def test_a_page_is_answered_503_and_when_to_come_back(browser: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(queries, "jobs", raising(no_room()))
    answer = browser.get("/jobs")
    assert (answer.status_code, answer["Retry-After"]) == (503, "10")
    assert "were not saved" in answer.content.decode()


def test_a_call_of_the_api_is_answered_a_problem_with_503(
    key_client: Callable[..., Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    client = key_client(Scope.JOBS_READ)
    monkeypatch.setattr(api.Jobs, "page", raising(no_room()))
    answer = client.get("/api/v1/jobs")
    assert (answer.status_code, answer["Retry-After"]) == (503, "10")
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["type"].endswith("unavailable")


@pytest.mark.parametrize("path", ["/jobs", "/api/v1/jobs"])
def test_what_fails_before_the_page_is_reached_is_503_too(
    browser: Client, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    monkeypatch.setattr(SessionStore, "load", raising(no_room()))
    answer = browser.get(path)
    assert (answer.status_code, answer["Retry-After"]) == (503, "10")
    assert ("problem+json" in answer["Content-Type"]) is path.startswith("/api/")


@pytest.mark.parametrize("path", ["/jobs", "/api/v1/jobs"])
def test_a_mistake_of_ours_stays_500(browser: Client, monkeypatch: pytest.MonkeyPatch, path: str) -> None:
    monkeypatch.setattr(SessionStore, "load", raising(ValueError("a mistake")))
    answer = browser.get(path)
    assert answer.status_code == 500
    assert "Retry-After" not in answer


def test_a_service_that_is_not_ready_says_when_to_ask_again(monkeypatch: pytest.MonkeyPatch, db: None) -> None:
    monkeypatch.setattr(health, "_database", lambda: "no answer")
    answer = Client().get("/readyz")
    assert (answer.status_code, answer["Retry-After"]) == (503, "10")
