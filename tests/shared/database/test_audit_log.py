"""Tests of the audit log: entries are only added, and a changed entry is found."""

from __future__ import annotations

import re
from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client

from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.business.roles import Scope
from shared.database import audit_log
from shared.database.audit_log import AuditEntry
from shared.database.numbering import NumberSequence
from tests.conftest import Cast


@pytest.fixture
def chain(db: None) -> Business:
    business = Business.objects.create(name="Tern Bay Fencing", country="NZ", currency="NZD")
    for number in range(1, 6):
        audit_log.record(business, SYSTEM, "price.changed", f"price:{number}", {"after": number})
    return business


@pytest.fixture
def guarded(chain: Business) -> Iterator[Business]:
    audit_log.install_audit_triggers()
    yield chain
    audit_log.remove_audit_triggers()


def test_a_chain_as_it_was_written_is_whole(chain: Business) -> None:
    assert list(audit_log.verify(chain)) == []
    assert audit_log.head(chain)[0] == 5


@pytest.mark.parametrize(
    ("sql", "named"),
    [
        ("UPDATE shared_auditentry SET detail = '{}' WHERE number = 3", ["entry 3 was changed"]),
        ("DELETE FROM shared_auditentry WHERE number = 3", ["entry 3 is missing"]),
        ("DELETE FROM shared_auditentry WHERE number > 3", ["entries 4 to 5 are missing at the end"]),
    ],
)
def test_what_was_touched_is_named(chain: Business, sql: str, named: list[str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
    assert list(audit_log.verify(chain)) == named


def test_a_tail_cut_off_with_its_counter_is_found_by_a_head_kept_elsewhere(chain: Business, tmp_path: Path) -> None:
    kept, data = tmp_path / "heads.txt", StringIO()
    call_command("verify_audit", stdout=data)
    kept.write_text(data.getvalue())
    audit_log.record(chain, SYSTEM, "price.changed", "price:6")
    call_command("verify_audit", against=kept, stdout=StringIO())
    AuditEntry.objects.filter(number__gt=3).delete()
    NumberSequence.objects.filter(business=chain, kind="audit").update(last=3)
    assert list(audit_log.verify(chain)) == [], "what is left is a whole chain"
    errors = StringIO()
    with pytest.raises(CommandError, match="1 errors"):
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
    assert "entry 2 was changed" in list(audit_log.verify(chain))


@pytest.mark.parametrize("sql", ["UPDATE shared_auditentry SET action = 'x'", "DELETE FROM shared_auditentry"])
def test_the_database_refuses_changes(guarded: Business, sql: str) -> None:
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)
    assert AuditEntry.objects.count() == 5


@pytest.mark.postgres
def test_postgresql_refuses_to_empty_the_trail(guarded: Business) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # the rows were written in this very transaction
    with pytest.raises(DatabaseError, match="cannot be changed"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("TRUNCATE shared_auditentry")


def test_the_command_fails_on_a_touched_chain(chain: Business) -> None:
    call_command("verify_audit", stdout=StringIO())
    AuditEntry.objects.filter(number=2).update(actor_name="another person")
    errors = StringIO()
    with pytest.raises(CommandError, match="1 errors"):
        call_command("verify_audit", stdout=StringIO(), stderr=errors)
    assert "entry 2 was changed" in errors.getvalue()


def test_views_and_the_api_leave_writing_the_audit_trail_to_services() -> None:
    """An entry that a page writes is missing where the API does the same, and the other way round."""
    root = Path(audit_log.__file__).parents[2]
    views = [
        path
        for app in ("shared", "catalogue", "quotes")
        for path in (root / app).rglob("*.py")
        if re.search(r"(^|_)(pages|api|admin|views)$", path.stem)
    ]
    assert len(views) > 20
    assert [str(path) for path in views if re.search(r"audit_log\.record|record_each", path.read_text())] == []


def test_the_trail_is_read_in_pages_by_who_may(
    owner_client: Client, cast: Cast, signed_in: Any, key_client: Any
) -> None:
    """The trail of one's own business, from the newest."""
    audit_log.record(cast.strangers_business, SYSTEM, "price.changed", "price:other")
    for number in range(3):
        audit_log.record(cast.business, SYSTEM, "price.changed", f"price:{number}", {"after": number})
    first = owner_client.get("/api/v1/audit-entries?action=price.changed&page_size=2").json()
    rest = owner_client.get(first["next"]).json()
    entries = [*first["items"], *rest["items"]]
    assert [entry["subject"] for entry in entries] == ["price:2", "price:1", "price:0"]
    assert entries[0]["detail"] == {"after": 2}
    assert entries[0]["actor"]["kind"] == "system"
    assert entries[0]["previous"] == entries[1]["sha256"]
    assert [entry["number"] for entry in entries] == sorted((entry["number"] for entry in entries), reverse=True)
    machine = key_client(Scope.AUDIT_READ)
    assert [item["subject"] for item in machine.get("/api/v1/audit-entries?subject=price:1").json()["items"]] == [
        "price:1"
    ]
    assert signed_in(cast.estimator).get("/api/v1/audit-entries").status_code == 403
