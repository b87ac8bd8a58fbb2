"""The audit trail is only ever added to, and says so itself when somebody did otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from shared import audit
from shared.audit import AuditEntry
from shared.business.actors import SYSTEM
from shared.business.models import Business


@pytest.fixture
def chain(business: Business) -> Business:
    for number in range(1, 6):
        audit.record(business, SYSTEM, "price.changed", f"price:{number}", {"after": number})
    return business


@pytest.fixture
def guarded(chain: Business) -> Iterator[Business]:
    audit.guard()
    yield chain
    audit.unguard()


def test_a_chain_as_it_was_written_is_whole(chain: Business) -> None:
    assert list(audit.verify(chain)) == []
    assert audit.head(chain)[0] == 5


@pytest.mark.parametrize(
    ("sql", "named"),
    [
        ("UPDATE shared_auditentry SET detail = '{}' WHERE number = 3", ["entry 3 is not as it was written"]),
        ("DELETE FROM shared_auditentry WHERE number = 3", ["entry 3 is missing"]),
        ("DELETE FROM shared_auditentry WHERE number > 3", ["entries 4 to 5 are missing at the end"]),
    ],
)
def test_what_was_touched_is_named(chain: Business, sql: str, named: list[str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
    assert list(audit.verify(chain)) == named


def test_swapped_entries_are_named(chain: Business) -> None:
    with connection.cursor() as cursor:
        for old, new in ((2, 99), (3, 2), (99, 3)):
            cursor.execute("UPDATE shared_auditentry SET number = %s WHERE number = %s", [new, old])
    assert "entry 2 is not as it was written" in list(audit.verify(chain))


@pytest.mark.parametrize("sql", ["UPDATE shared_auditentry SET action = 'x'", "DELETE FROM shared_auditentry"])
def test_the_database_refuses_changes(guarded: Business, sql: str) -> None:
    with pytest.raises(DatabaseError, match="only ever added to"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    assert AuditEntry.objects.count() == 5


@pytest.mark.postgres
def test_postgresql_refuses_to_empty_the_trail(guarded: Business) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # the rows were written in this very transaction
    with pytest.raises(DatabaseError, match="only ever added to"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("TRUNCATE shared_auditentry")


def test_the_command_fails_on_a_touched_chain(chain: Business) -> None:
    call_command("verify_audit", stdout=StringIO())
    AuditEntry.objects.filter(number=2).update(actor_name="somebody else")
    errors = StringIO()
    with pytest.raises(CommandError, match="1 faults"):
        call_command("verify_audit", stdout=StringIO(), stderr=errors)
    assert "entry 2 is not as it was written" in errors.getvalue()
