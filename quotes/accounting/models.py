"""Ledger rows of orders, receipts and quotes. Rows never change: a change is a new row, so locked periods stay locked."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

from django.db import models
from django.db.models import Q

from quotes.jobs.models import ImmutableModel, Job
from quotes.purchasing.models import OrderLine, SupplierOrder
from quotes.quoting.models import Revision
from shared.models import Business, BusinessOwned


class PeriodLock(ImmutableModel):
    """Everything up to and including a day is final. The latest lock counts; none is ever taken back."""

    locked_through = models.DateField()
    created_by = models.CharField(max_length=160)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "locked_through"], name="period_lock_once")]

    def __str__(self) -> str:
        return f"through {self.locked_through}"

    @classmethod
    def last_day(cls, business: Business) -> date | None:
        """Return the last locked day of a business."""
        rows = cls.objects.of(business).order_by("-locked_through")
        day: date | None = rows.values_list("locked_through", flat=True).first()
        return day

    @classmethod
    def open_day(cls, business: Business, day: date) -> date:
        """Return the day itself, or the first day after the locked period."""
        last = cls.last_day(business)
        return day if last is None or day > last else last + timedelta(days=1)


class EntryKind(models.TextChoices):
    ORDER = "order", "order"
    CORRECTION = "correction", "correction"
    CREDIT = "credit", "credit"


class LedgerEntry(ImmutableModel):
    """One amount of one line of an order for one job, or a job's part of the delivery fee (``line`` is None then).

    A credit is for returned goods. The row holds every printed value itself.
    """

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="+")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    kind = models.CharField(max_length=10, choices=EntryKind)
    day = models.DateField()
    order_number = models.CharField(max_length=20)
    supplier_code = models.CharField(max_length=40)
    supplier_name = models.CharField(max_length=120)
    job_number = models.CharField(max_length=20, blank=True)
    sku = models.CharField(max_length=64, blank=True)
    description = models.CharField(max_length=200)
    account = models.CharField(max_length=40, blank=True)
    tax_account = models.CharField(max_length=40, blank=True)
    tax_code = models.CharField(max_length=40, blank=True)
    tax_category = models.CharField(max_length=3, blank=True)
    tax_rate = models.DecimalField(max_digits=8, decimal_places=4, default=Decimal(0))
    currency = models.CharField(max_length=3)
    net = models.DecimalField(max_digits=16, decimal_places=4)
    tax = models.DecimalField(max_digits=16, decimal_places=4)

    class Meta:
        verbose_name_plural = "ledger entries"
        constraints = [models.CheckConstraint(condition=Q(kind__in=EntryKind.values), name="ledger_kind_known")]
        indexes = [
            models.Index(fields=["business", "day", "id"], name="ledger_by_day"),
            models.Index(fields=["business", "order"], name="ledger_by_order"),
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.order_number} {self.net}"


class ReceivedEntry(ImmutableModel):
    """Value of the received goods of a job that were not returned, at the prices of their order, without delivery and tax."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    day = models.DateField()
    net = models.DecimalField(max_digits=16, decimal_places=4)

    class Meta:
        verbose_name_plural = "received entries"
        indexes = [
            models.Index(fields=["business", "day"], name="received_by_day"),
            models.Index(fields=["business", "order"], name="received_by_order"),
        ]

    def __str__(self) -> str:
        return f"{self.day} {self.net}"


class QuoteStep(models.TextChoices):
    QUOTED = "quoted", "quoted"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    EXPIRED = "expired", "expired"
    SUPERSEDED = "superseded", "superseded"
    CANCELLED = "cancelled", "cancelled"


class QuoteEntry(ImmutableModel):
    """One step of a revision: it was sent, accepted, declined, superseded, cancelled with its job, or expired.

    ``net``, ``tax`` and ``total`` are its own, of a variation the difference. "superseded" reverses what "quoted" entered,
    "cancelled" what "accepted" entered; "declined" and "expired" enter no amounts. ``sold``,
    ``cost`` and ``materials`` are by how
    much an acceptance changed what the whole job is sold for, is to cost, and is to cost in materials with their delivery.
    """

    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=10, choices=QuoteStep)
    day = models.DateField()
    quote_number = models.CharField(max_length=20)
    revision_number = models.PositiveIntegerField()
    kind = models.CharField(max_length=9)
    job_number = models.CharField(max_length=20)
    job_label = models.CharField(max_length=200)
    customer_name = models.CharField(max_length=120)
    net = models.DecimalField(max_digits=16, decimal_places=4)
    tax = models.DecimalField(max_digits=16, decimal_places=4)
    total = models.DecimalField(max_digits=16, decimal_places=4)
    sold = models.DecimalField(max_digits=16, decimal_places=4, default=Decimal(0))
    cost = models.DecimalField(max_digits=16, decimal_places=4, default=Decimal(0))
    materials = models.DecimalField(max_digits=16, decimal_places=4, default=Decimal(0))

    class Meta:
        verbose_name_plural = "quote entries"
        constraints = [
            models.UniqueConstraint(fields=["business", "revision", "what"], name="quote_entry_once"),
            models.CheckConstraint(condition=Q(what__in=QuoteStep.values), name="quote_entry_known"),
        ]
        indexes = [models.Index(fields=["business", "day", "id"], name="quote_entry_by_day")]

    def __str__(self) -> str:
        return f"{self.day} {self.quote_number}/{self.revision_number} {self.what}"


class Posting(BusinessOwned):
    """Position of an order in the ledger: the last of its events that was posted."""

    order = models.OneToOneField(SupplierOrder, on_delete=models.PROTECT, related_name="posting")
    sequence = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.order_id} to {self.sequence}"
