"""The audit trail is only ever added to, and says so itself when somebody did otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from shared import audit
from shared.audit import AuditEntry
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.numbering import Counter


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


def test_a_tail_cut_off_with_its_counter_is_found_by_a_head_kept_elsewhere(chain: Business, tmp_path: Path) -> None:
    kept, told = tmp_path / "heads.txt", StringIO()
    call_command("verify_audit", stdout=told)
    kept.write_text(told.getvalue())
    audit.record(chain, SYSTEM, "price.changed", "price:6")
    call_command("verify_audit", against=kept, stdout=StringIO())
    AuditEntry.objects.filter(number__gt=3).delete()
    Counter.objects.filter(business=chain, kind="audit").update(last=3)
    assert list(audit.verify(chain)) == [], "what is left is a whole chain"
    errors = StringIO()
    with pytest.raises(CommandError, match="1 faults"):
        call_command("verify_audit", against=kept, stdout=StringIO(), stderr=errors)
    assert f"{chain.ref}: entry 5 was" in errors.getvalue()


@pytest.mark.parametrize("words", [None, "a shopping list"])
def test_a_file_that_holds_no_head_is_refused(chain: Business, tmp_path: Path, words: str | None) -> None:
    if words:
        (tmp_path / "heads.txt").write_text(words)
    with pytest.raises(CommandError, match=r"heads\.txt"):
        call_command("verify_audit", against=tmp_path / "heads.txt", stdout=StringIO())


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
