"""The fixed cast, and what keeps a test run honest: no network, no silent skip, no warning passed over."""

from __future__ import annotations

import gc
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from functools import cache, partial
from types import SimpleNamespace
from typing import Any
from urllib.parse import urlsplit

import hypothesis
import pytest
import redis
from django.conf import settings
from django.db import connection
from django.db.models.signals import post_migrate
from django.test import Client
from pytest_socket import socket_allow_hosts

from catalogue.spreadsheets.sample_catalogue import load_starter
from shared.business.actors import SYSTEM
from shared.business.models import Business, Member, Person, SupplierAccount
from shared.business.roles import SUPPLIER_SCOPES, MemberRole, Scope
from shared.database import audit_log
from shared.members import services
from shared.members.invitations import address_of
from shared.web import rate_limit
from tests import template_database
from tests.checked_plans import check_every_plan
from tests.kept_rows import CAST, CATALOGUE, empty_tables

CI = os.environ.get("CI", "") == "true"
CHROMIUM = "/usr/bin/chromium"
PASSWORD = "a long sentence of our own choice"
TEST_REDIS = os.environ.get("TEST_REDIS_URL", "redis://127.0.0.1:6379/15")


class MissingName(str):
    """Text that Django shows for a name a template does not have: it fails the test, if the template is ours."""

    def __mod__(self, name: object) -> str:
        shown: Any = sys._getframe(1).f_locals.get("context")
        template = getattr(shown, "template", None)
        assert template is None or "site-packages" in template.origin.name, f"{template.name} has no {name}"
        return ""


# -- a run that is honest --------------------------------------------------------
hypothesis.settings.register_profile(
    "any machine", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow], derandomize=CI
)
hypothesis.settings.load_profile("any machine")  # a busy machine must not fail a test
settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick: people sign in hundreds of times
template_database.install()
TEMPLATES: Any = settings.TEMPLATES
TEMPLATES[0]["OPTIONS"]["string_if_invalid"] = MissingName("%s")
check_every_plan()  # here, as test modules take the search by its name when they are collected


def _redis_answers() -> bool:
    try:
        return bool(redis.Redis.from_url(TEST_REDIS, socket_connect_timeout=0.5).ping())
    except redis.RedisError:
        return False


_NEEDS: dict[str, tuple[str, Callable[[], bool]]] = {
    "postgres": ("PostgreSQL (set DATABASE_URL)", lambda: connection.vendor == "postgresql"),
    "redis": (f"a Redis at {TEST_REDIS}", _redis_answers),
    "browser": ("Chromium", lambda: os.path.exists(CHROMIUM)),
}


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Allow connections to this machine only, and name what a skipped test needs."""
    socket_allow_hosts(["127.0.0.1", "::1", "localhost"], allow_unix_socket=True)
    for marker, (what, there) in _NEEDS.items():
        if item.get_closest_marker(marker) and not there():
            pytest.skip(f"not run: needs {what}")


def pytest_addoption(parser: pytest.Parser) -> None:
    """One option of ours: leave out what can't tell one database from another."""
    parser.addoption("--stored", action="store_true", help="only tests that could tell one database from another")


def _could_tell_databases_apart(item: pytest.Item) -> bool:
    """Reads or writes rows, and not only on its way to paper or a page."""
    if item.get_closest_marker("postgres"):
        return True
    if item.get_closest_marker("slow") or item.get_closest_marker("browser"):
        return False
    if {"documents", "faults"} & set(item.path.parts):
        return False
    asked_for: Sequence[str] = getattr(item, "fixturenames", ())
    return item.get_closest_marker("django_db") is not None or bool(
        {"db", "transactional_db", "django_db_setup"} & set(asked_for)
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out tests by ``--stored``, put long ones first, and end a browser or a service that never answers."""
    if config.getoption("--stored"):
        items[:] = [item for item in items if _could_tell_databases_apart(item)]
    items.sort(key=lambda item: not any(map(item.get_closest_marker, ("slow", "browser", "redis"))))
    for item in items:
        if item.get_closest_marker("browser") or item.get_closest_marker("redis"):
            item.add_marker(pytest.mark.timeout(900))  # it only ends a hang


def pytest_collection_finish() -> None:
    """Collect garbage rarely: the modules of the service stay, and looking through them took a fifth of the time."""
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name every test that was not run."""
    for report in terminalreporter.stats.get("skipped", []):
        terminalreporter.write_line(f"NOT RUN {report.nodeid}")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """In CI a skipped test is a failed run."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if CI and reporter is not None and reporter.stats.get("skipped") and exitstatus == 0:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: object) -> Iterator[None]:
    """Tests with real transactions empty their tables, so the audit trail's guard is down unless a test sets it up."""
    post_migrate.disconnect(dispatch_uid="shared.after_migrations")
    with django_db_blocker.unblock():  # type: ignore[attr-defined]  # pytest-django's blocker has no public type
        audit_log.remove_audit_triggers()
        _kept_cast()
    yield  # noqa: PT022 - pytest-django's own set-up is a generator too


# -- the cast ----------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Cast:
    """Two businesses that know nothing of each other, the people of the first, and two suppliers."""

    business: Business
    owner: Person
    estimator: Person
    crew: Person
    bookkeeper: Person
    stranger: Person
    strangers_business: Business
    supplier: SupplierAccount
    other_supplier: SupplierAccount

    def person(self, role: MemberRole) -> Person:
        """Return the member with a role in the business."""
        people = {
            MemberRole.OWNER: self.owner,
            MemberRole.ESTIMATOR: self.estimator,
            MemberRole.CREW: self.crew,
            MemberRole.BOOKKEEPER: self.bookkeeper,
        }
        return people[role]


def _person(name: str) -> Person:
    return Person.objects.create_user(f"{name.lower()}@example.test", PASSWORD, name=name)


def accept_by_link(member: Member, password: str = PASSWORD, client: Client | None = None) -> Client:
    """Open the link of an invitation as its letter has it, set a password, and return the browser that is signed in."""
    client = client or Client()
    page: Any = client.get(urlsplit(address_of(member)).path, follow=True)
    answer = client.post(page.redirect_chain[-1][0], {"new_password1": password, "new_password2": password})
    assert answer.status_code == 302
    return client


def make_cast() -> Cast:
    """Create the cast by the services."""
    owner, stranger = _person("Olive"), _person("Stranger")
    place: dict[str, Any] = {"country": "NZ", "currency": "NZD", "city": "Tern Bay", "locale": "en_NZ"}
    business = services.start_business(owner=owner, name="Tern Bay Fencing", **place)
    others = {"estimator": MemberRole.ESTIMATOR, "crew": MemberRole.CREW, "bookkeeper": MemberRole.BOOKKEEPER}
    people = {name: _person(name.capitalize()) for name in others}
    for name, role in others.items():
        services.add_member(business=business, person=people[name], role=role, actor=SYSTEM, accepted=True)
    return Cast(
        business=business,
        owner=owner,
        stranger=stranger,
        strangers_business=services.start_business(owner=stranger, name="Elsewhere Fences", **place),
        supplier=SupplierAccount.objects.create(name="Dry Creek Steel"),
        other_supplier=SupplierAccount.objects.create(name="Long Beach Timber"),
        **people,
    )


@cache
def _kept_cast() -> Cast:
    """Keep the cast and the sample catalogue of its business, and return the rows of the cast."""
    cast = CAST.keep(make_cast)
    CATALOGUE.keep(partial(load_starter, cast.business, tax_name="Tax", tax_rate=Decimal(10)))
    empty_tables(CAST, CATALOGUE)
    return cast


def copy_cast() -> Cast:
    """Return the cast, copied from the kept rows if the tables are empty."""
    if not CAST.fits():
        return make_cast()
    CAST.restore()
    made = _kept_cast()
    rows = {field.name: getattr(made, field.name) for field in fields(Cast)}
    return Cast(**{name: type(row).objects.get(pk=row.pk) for name, row in rows.items()})


@pytest.fixture
def cast(db: None) -> Cast:
    """Everybody."""
    return copy_cast()


@pytest.fixture
def business(cast: Cast) -> Business:
    """The business most tests are about."""
    return cast.business


def sign_in(person: Person) -> Client:
    """Return a browser in which a person is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


@pytest.fixture
def signed_in(cast: Cast) -> Callable[[Person], Client]:
    """Return a browser in which a person is signed in: ``signed_in(cast.crew)``."""
    return sign_in


@pytest.fixture
def owner_client(cast: Cast, signed_in: Callable[[Person], Client]) -> Client:
    """The owner's browser; also reads and writes the API."""
    return signed_in(cast.owner)


@pytest.fixture
def one_window(monkeypatch: pytest.MonkeyPatch) -> None:
    """Count all calls of a test in one window of each rate limit, whatever the time of day."""
    monkeypatch.setattr(rate_limit, "time", SimpleNamespace(time=lambda: 1_800_000_015.0, monotonic=time.monotonic))


def client_with_key(
    *scopes: Scope, business: Business | None = None, supplier: SupplierAccount | None = None
) -> Client:
    """Return the client of a machine with a new key of a business or of a supplier."""
    scopes = scopes or (tuple(SUPPLIER_SCOPES) if supplier else ())
    _, text = services.issue_key(name="till", scopes=scopes, business=business, supplier_account=supplier, actor=SYSTEM)
    return Client(headers={"Authorization": f"Bearer {text}"})


@pytest.fixture
def key_client(cast: Cast) -> Callable[..., Client]:
    """A machine with a key: ``key_client(Scope.JOBS_READ)``, or ``key_client(supplier=cast.supplier)``."""

    def issue(*scopes: Scope, business: Business | None = None, supplier: SupplierAccount | None = None) -> Client:
        return client_with_key(*scopes, business=None if supplier else business or cast.business, supplier=supplier)

    return issue


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return the path of the browser."""
    return shutil.which("chromium") or CHROMIUM
