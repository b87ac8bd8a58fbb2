"""Audit log: entries are only added, and each contains the hash of the entry before it.

An entry is written in the transaction of its change. The database rejects changes and deletions of entries. If an entry is
changed anyway, ``verify`` reports it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django.db import connection, models
from django.utils import timezone

from shared.business.models import Business
from shared.common.json_encoder import write_json
from shared.common.request_id import request_id
from shared.database.numbering import next_number

if TYPE_CHECKING:
    from shared.business.actors import Actor

_KIND, _BATCH = "audit", 500


class AuditEntry(models.Model):
    """Entry for one change. ``subject`` is ``kind:ref`` of the changed record; ``detail`` contains plain values."""

    business = models.ForeignKey(Business, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor_kind = models.CharField(max_length=20)
    actor_ref = models.CharField(max_length=64, blank=True)
    actor_name = models.CharField(max_length=120)
    action = models.CharField(max_length=60)
    subject = models.CharField(max_length=100)
    detail = models.TextField(default="{}")
    request_id = models.CharField(max_length=64, blank=True)
    previous = models.CharField(max_length=64, blank=True)
    sha256 = models.CharField(max_length=64)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "number"], name="audit_number_once")]
        indexes = [models.Index(fields=["business", "subject"], name="audit_subject")]
        verbose_name_plural = "audit entries"

    def __str__(self) -> str:
        return f"{self.number} {self.action} {self.subject}"


def record(
    business: Business,
    actor: Actor,
    action: str,
    subject: str,
    detail: dict[str, Any] | None = None,
    at: datetime | None = None,
) -> AuditEntry:
    """Add an entry, as the last step of a transaction (see ``numbering``). ``action`` is a name such as ``quote.sent``."""
    [entry] = record_each(business, actor, action, [(subject, detail or {})], at)
    return entry


def record_each(
    business: Business,
    actor: Actor,
    action: str,
    changes: Sequence[tuple[str, dict[str, Any]]],
    at: datetime | None = None,
) -> list[AuditEntry]:
    """Add an entry for each subject and its details, in two queries and one more for every 500 entries."""
    first = next_number(business, _KIND, len(changes)) - len(changes) + 1
    before = AuditEntry.objects.filter(business=business, number=first - 1).values_list("sha256", flat=True).first()
    common: dict[str, Any] = {
        "business": business,
        "at": at or timezone.now(),
        "actor_kind": actor.kind,
        "actor_ref": actor.ref,
        "actor_name": actor.name[:120],
        "action": action,
        "request_id": request_id(),
    }
    entries = list[AuditEntry]()
    for number, (subject, detail) in enumerate(changes, first):
        entry = AuditEntry(**common, number=number, subject=subject, detail=write_json(detail).decode())
        entry.previous = entries[-1].sha256 if entries else before or ""
        entry.sha256 = _seal(entry)
        entries.append(entry)
    return AuditEntry.objects.bulk_create(entries, batch_size=_BATCH)


def verify(business: Business) -> Iterator[str]:
    """Yield the errors in a business's audit chain; nothing if it is intact."""
    previous, expected = "", 1
    for entry in AuditEntry.objects.filter(business=business).order_by("number").iterator():
        if entry.number != expected:
            yield f"entry {expected} is missing"
        if entry.sha256 != _seal(entry) or (entry.previous != previous and entry.number == expected):
            yield f"entry {entry.number} was changed"
        previous, expected = entry.sha256, entry.number + 1
    from shared.database.numbering import NumberSequence

    last = NumberSequence.objects.filter(business=business, kind=_KIND).values_list("last", flat=True).first() or 0
    if last != expected - 1:
        yield f"entries {expected} to {last} are missing at the end"


def head(business: Business) -> tuple[int, str]:
    """Return the number and hash of the last entry. Stored elsewhere, they prove that no entry was removed at the end."""
    last = AuditEntry.objects.filter(business=business).order_by("-number").values_list("number", "sha256").first()
    return last or (0, "")


def has(business_ref: str, number: int, sha256: str) -> bool:
    """Return whether a business's audit log contains an entry with this number and hash."""
    rows = AuditEntry.objects.filter(business__ref=business_ref, number=min(number, 2**63 - 1), sha256=sha256)
    return rows.exists()


def _seal(entry: AuditEntry) -> str:
    data = [
        entry.business_id, entry.number, entry.at.isoformat(), entry.actor_kind, entry.actor_ref, entry.actor_name,
        entry.action, entry.subject, entry.detail, entry.request_id, entry.previous,
    ]  # fmt: skip
    return hashlib.sha256(write_json(data)).hexdigest()


_GUARD = {
    "postgresql": [
        """CREATE OR REPLACE FUNCTION shared_audit_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION 'entries of the audit log cannot be changed' USING ERRCODE = '42501'; END $$""",
        """CREATE OR REPLACE TRIGGER shared_audit_rows BEFORE UPDATE OR DELETE ON shared_auditentry
        FOR EACH ROW EXECUTE FUNCTION shared_audit_refuse()""",
        """CREATE OR REPLACE TRIGGER shared_audit_all BEFORE TRUNCATE ON shared_auditentry
        FOR EACH STATEMENT EXECUTE FUNCTION shared_audit_refuse()""",
    ],
    "sqlite": [
        f"""CREATE TRIGGER IF NOT EXISTS shared_audit_{verb.lower()} BEFORE {verb} ON shared_auditentry
        BEGIN SELECT RAISE(ABORT, 'entries of the audit log cannot be changed'); END"""
        for verb in ("UPDATE", "DELETE")
    ],
}
_UNGUARD = {
    "postgresql": [f"DROP TRIGGER IF EXISTS shared_audit_{name} ON shared_auditentry" for name in ("rows", "all")],
    "sqlite": [f"DROP TRIGGER IF EXISTS shared_audit_{name}" for name in ("update", "delete")],
}


def install_audit_triggers() -> None:
    """Make the database reject changes of entries. It runs after every migration."""
    _run(_GUARD[connection.vendor])


def remove_audit_triggers() -> None:
    """Remove the triggers. Only for tests, which empty their tables."""
    _run(_UNGUARD[connection.vendor])


def _run(statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
