"""A row never points at another business's row: our code refuses it, and on PostgreSQL the database does too."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from quotes.jobs.models import Customer, Site
from shared.business.business_owned import CrossBusinessError, add_business_foreign_keys
from tests.conftest import Cast
from tests.template_database import sqlite_template


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
