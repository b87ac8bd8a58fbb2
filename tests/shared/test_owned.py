"""Nobody can forget whose rows they are asking for, and no row points at another business's row."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, models, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver

from quotes.jobs.models import Customer, Site
from shared.api.endpoint import Endpoint
from shared.business.business_owned import (
    BusinessManager,
    BusinessOwned,
    CrossBusinessError,
    UnscopedError,
    add_business_foreign_keys,
    new_ref,
    owned_links,
)
from shared.business.models import Business
from shared.business.roles import GRANTS, SUPPLIER_SCOPES, MemberRole, Scope
from tests.conftest import Cast
from tests.template_database import sqlite_template

ROOT = Path(__file__).resolve().parents[2]
OURS = ("shared", "catalogue", "quotes")

# every model of ours that is not Owned, and why that is right
NOT_OWNED = {
    "shared.Person": "a person may be a member of several businesses",
    "shared.Business": "is the owner",
    "shared.Member": "links a person to the business; reached through it",
    "shared.SupplierAccount": "serves several businesses",
    "shared.ApiKey": "of a business or of a supplier account; checked by a constraint",
    "shared.AuditEntry": "append-only, numbered for each business; has no ref and no version",
    "shared.NumberSequence": "the numbers of a business; never shown",
    "shared.Event": "the outbox; some events are of no business",
    "shared.OutboxTask": "the outbox; follows its event",
    "shared.OutgoingMail": "the mark of a letter; follows its event",
    "shared.MailServer": "one row for the whole service: whether the mail server answers",
    "shared.PeriodicTask": "when the system last did something",
    "shared.IdempotentCall": "belongs to a caller, not to a business",
    "integrations.Sandbox": "links a supplier's account to its make-believe business",
    "integrations.WebhookEndpoint": "of a business or of a supplier account; checked by a constraint",
    "integrations.WebhookDelivery": "follows its endpoint",
    "integrations.Attempt": "follows its delivery",
    "shared.RateWindow": "belongs to a caller, or to a network address",
}


def our_models() -> list[type[models.Model]]:
    return [model for model in apps.get_models() if model.__module__.split(".")[0] in OURS]


def test_every_model_is_owned_or_has_a_reason_not_to_be() -> None:
    bare = {model._meta.label for model in our_models() if not issubclass(model, BusinessOwned)}
    assert bare == set(NOT_OWNED)


def test_no_owned_model_replaces_the_managers() -> None:
    for model in our_models():
        if issubclass(model, BusinessOwned):
            assert isinstance(model.objects, BusinessManager), model


@pytest.mark.parametrize("ask", ["all", "count", "first", "exists", "create"])
def test_an_owned_model_answers_nothing_without_a_business(ask: str) -> None:
    for model in our_models():
        if issubclass(model, BusinessOwned):
            with pytest.raises(UnscopedError):
                getattr(model.objects, ask)()


def test_a_business_that_is_not_stored_owns_nothing() -> None:
    owned = next(model for model in our_models() if issubclass(model, BusinessOwned))
    with pytest.raises(UnscopedError):
        owned.objects.of(Business(name="not stored"))


def sources() -> list[Path]:
    return [path for name in OURS for path in (ROOT / name).rglob("*.py") if "migrations" not in path.parts]


def test_every_way_past_the_scope_says_why() -> None:
    past = re.compile(r"\.unscoped\b|_default_manager|_base_manager")
    silent = []
    for path in sources():
        lines = path.read_text().splitlines()
        for number, line in enumerate(lines):
            asks = past.search(line.split('"')[0]) and not line.lstrip().startswith(("#", "``"))
            # the reason stands on the line, or just above or below where the statement is a long one
            if asks and not any("# unscoped:" in near for near in lines[max(0, number - 2) : number + 3]):
                silent.append(f"{path.relative_to(ROOT)}:{number + 1}: {line.strip()}")
    assert silent == []


def test_nobody_uses_the_short_cut_that_goes_past_the_scope() -> None:
    found = [str(path) for path in sources() if re.search(r"get_(object|list)_or_404\(", path.read_text())]
    assert found == []


def test_only_the_relay_sends_tasks() -> None:
    sends = re.compile(r"\.(delay|apply_async|delay_on_commit|send_task)\(")
    found = {str(path.relative_to(ROOT)) for path in sources() if sends.search(path.read_text())}
    assert found == {"shared/background/runner.py"}


def endpoints() -> list[type[Endpoint]]:
    def walk(patterns: list[URLPattern | URLResolver]) -> list[type[Endpoint]]:
        found: list[type[Endpoint]] = []
        for pattern in patterns:
            if isinstance(pattern, URLResolver):
                found += walk(pattern.url_patterns)
            else:
                view = getattr(pattern.callback, "view_class", None) or getattr(pattern.callback, "cls", None)
                if isinstance(view, type) and issubclass(view, Endpoint):
                    found.append(view)
        return found

    return walk(get_resolver().url_patterns)


def test_every_method_of_every_endpoint_names_its_scope() -> None:
    for endpoint in endpoints():
        methods = {name.upper() for name in ("get", "post", "put", "patch", "delete") if hasattr(endpoint, name)}
        if not endpoint.public:
            assert methods == set(endpoint.scopes), endpoint
        assert all(isinstance(scope, Scope) for scope in endpoint.scopes.values())


def test_every_address_of_the_api_is_an_endpoint() -> None:
    resolvers = [
        item for item in get_resolver().url_patterns if isinstance(item, URLResolver) and "api/v1" in str(item.pattern)
    ]
    views = [
        getattr(pattern.callback, "view_class", None) or getattr(pattern.callback, "cls", None)
        for resolver in resolvers
        for pattern in resolver.url_patterns
        if isinstance(pattern, URLPattern)
    ]
    assert all(isinstance(view, type) and issubclass(view, Endpoint) for view in views)


def test_the_roles_are_those_of_the_contract() -> None:
    estimator, crew, bookkeeper = GRANTS[MemberRole.ESTIMATOR], GRANTS[MemberRole.CREW], GRANTS[MemberRole.BOOKKEEPER]
    assert GRANTS[MemberRole.OWNER] == frozenset(Scope) - SUPPLIER_SCOPES
    assert not estimator & {
        Scope.MEMBERS_READ,
        Scope.MEMBERS_WRITE,
        Scope.KEYS_READ,
        Scope.KEYS_WRITE,
        Scope.PRICES_WRITE,
    }
    assert not {scope for scope in crew if scope.endswith(":write")} - {Scope.AS_BUILT_WRITE, Scope.DELIVERIES_WRITE}
    assert {scope for scope in bookkeeper if scope.endswith(":write")} == {Scope.ACCOUNTING_WRITE}
    assert Scope.PRICES_READ not in crew


def test_a_ref_has_more_than_128_bits() -> None:
    assert 62 ** len(new_ref()) > 2**128
    assert len({new_ref() for _ in range(1000)}) == 1000


def test_links_between_owned_rows_are_all_watched() -> None:
    watched = [
        (model, field.name)
        for model in our_models()
        if issubclass(model, BusinessOwned)
        for field, _ in owned_links(model)
    ]
    for model, name in watched:
        target = model._meta.get_field(name).related_model
        assert target is not None
        assert issubclass(target, BusinessOwned)
    assert CrossBusinessError.__mro__[1].__name__ == "ValidationError"


@pytest.fixture
def theirs(cast: Cast) -> Customer:
    return Customer.objects.of(cast.strangers_business).create(name="Theirs")


@pytest.fixture
def site(cast: Cast) -> Site:
    customer = Customer.objects.of(cast.business).create(name="Ours")
    return Site.objects.of(cast.business).create(customer=customer, address="1 Tern Street")


def test_rows_made_through_a_business_belong_to_it(cast: Cast, site: Site) -> None:
    assert site.business == cast.business
    assert Site.objects.of(cast.business).count() == 1
    assert Site.objects.of(cast.strangers_business).count() == 0


def test_a_new_row_cannot_point_at_anothers(cast: Cast, theirs: Customer) -> None:
    with pytest.raises(CrossBusinessError):
        Site.objects.of(cast.business).create(customer=theirs, address="1 Tern Street")
    with pytest.raises(CrossBusinessError):
        Site.objects.of(cast.business).bulk_create([Site(customer_id=theirs.pk, address="1 Tern Street")])


def test_a_stored_row_cannot_be_turned_to_anothers(site: Site, theirs: Customer) -> None:
    site.customer_id = theirs.pk
    with pytest.raises(CrossBusinessError):
        site.save()


def test_every_change_gives_the_next_version(cast: Cast, site: Site) -> None:
    site.save()
    site.save(update_fields=["address"])
    Site.objects.of(cast.business).update(address="2 Tern Street")
    site.refresh_from_db()
    assert site.version == 4


@pytest.mark.postgres
def test_postgresql_refuses_what_goes_past_our_code(site: Site, theirs: Customer) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    with pytest.raises(IntegrityError, match="same_business_"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_site SET customer_id = %s WHERE id = %s", [theirs.pk, site.pk])


@pytest.mark.postgres
def test_a_key_is_added_unchecked_and_then_checked_so_that_writers_go_on(site: Site) -> None:
    keys = "SELECT count(*), bool_and(convalidated) FROM pg_constraint WHERE conname LIKE 'same\\_business\\_%' AND contype = 'f'"
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # a table with checks still to come can't be altered
        cursor.execute(keys)
        before = cursor.fetchone()
        cursor.execute(
            "SELECT conname FROM pg_constraint "
            "WHERE conrelid = 'jobs_site'::regclass AND conname ~ '^same_business_' AND contype = 'f'"
        )
        for (name,) in cursor.fetchall():
            cursor.execute(f'ALTER TABLE jobs_site DROP CONSTRAINT "{name}"')
        with CaptureQueriesContext(connection) as asked:
            add_business_foreign_keys()
        cursor.execute(keys)
        assert cursor.fetchone() == before
    added = [item["sql"] for item in asked if "FOREIGN KEY" in item["sql"]]
    assert added
    assert all(sql.endswith("NOT VALID") for sql in added)


def test_a_migrated_database_is_guarded() -> None:
    with closing(sqlite3.connect(sqlite_template())) as database:
        triggers = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    assert {"shared_audit_update", "shared_audit_delete"} <= triggers
