"""Numbers of quotes, orders and other documents: 1, 2, 3 … for each business and kind, without gaps or duplicates.

A number is taken inside the transaction that uses it; a rollback frees it. To avoid deadlocks, first lock the rows that you
change, then take numbers, then write the audit entry.
"""

from __future__ import annotations

from django.db import connection, models, transaction

from shared.business.models import Business


class NumberSequence(models.Model):
    """Last number that was used."""

    business = models.ForeignKey(Business, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=40)
    last = models.PositiveBigIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "kind"], name="counter_once")]

    def __str__(self) -> str:
        return f"{self.kind} {self.last}"


_NEXT = """
INSERT INTO shared_numbersequence (business_id, kind, last) VALUES (%s, %s, %s)
ON CONFLICT (business_id, kind) DO UPDATE SET last = shared_numbersequence.last + excluded.last
RETURNING last
"""


def next_number(business: Business, kind: str, count: int = 1) -> int:
    """Return the next number of ``kind``; with ``count``, take several and return the last.

    Other transactions of the business wait until this one ends.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("a number is taken inside the transaction that uses it")
    hold(business)
    with connection.cursor() as cursor:
        cursor.execute(_NEXT, [business.pk, kind, count])
        return int(cursor.fetchone()[0])


def hold(business: Business) -> None:
    """Take the only lock for all number sequences and the audit log of a business, so that they cannot block each other."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [0x62617977, business.pk % 2**31])
