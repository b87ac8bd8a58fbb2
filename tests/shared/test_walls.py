"""A row never points at another business's row: our code refuses it, and on PostgreSQL the database does too."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.db import IntegrityError, connection, transaction

from quotes.jobs.models import Customer, Site
from shared.business.scoping import ForeignRowError
from tests.conftest import Cast

ROOT = Path(__file__).resolve().parents[2]


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
    with pytest.raises(ForeignRowError):
        Site.objects.of(cast.business).create(customer=theirs, address="1 Tern Street")
    with pytest.raises(ForeignRowError):
        Site.objects.of(cast.business).bulk_create([Site(customer_id=theirs.pk, address="1 Tern Street")])


def test_a_stored_row_cannot_be_turned_to_anothers(site: Site, theirs: Customer) -> None:
    site.customer_id = theirs.pk
    with pytest.raises(ForeignRowError):
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
    with pytest.raises(IntegrityError, match="wall_"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_site SET customer_id = %s WHERE id = %s", [theirs.pk, site.pk])


def test_a_migrated_database_is_guarded(tmp_path: Path) -> None:
    address = f"sqlite:///{tmp_path / 'fresh.sqlite3'}"
    env = {**os.environ, "DATABASE_URL": address, "BAYWRIGHT_DEMO": "1"}
    subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=env, check=True)
    with closing(sqlite3.connect(tmp_path / "fresh.sqlite3")) as database:
        triggers = {name for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    assert {"shared_audit_update", "shared_audit_delete"} <= triggers
