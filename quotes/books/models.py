"""The ledger of what orders cost: written once, every change a row of its own, so that a locked period can't change."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q

from quotes.jobs.models import Frozen, Job
from quotes.orders.models import OrderLine, SupplierOrder
from shared.models import Owned


class PeriodLock(Frozen):
    """Everything up to and including a day is final. The latest lock counts; none is ever taken back."""

    until = models.DateField()
    who = models.CharField(max_length=160)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "until"], name="period_lock_once")]

    def __str__(self) -> str:
        return f"until {self.until}"


class EntryKind(models.TextChoices):
    ORDER = "order", "order"
    CORRECTION = "correction", "correction"


class LedgerEntry(Frozen):
    """One amount of one line of an order for one job, or of its delivery fee. What is printed stands in the row itself."""

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


class Posting(Owned):
    """How far an order is in the ledger: up to which of its events."""

    order = models.OneToOneField(SupplierOrder, on_delete=models.PROTECT, related_name="posting")
    sequence = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.order_id} to {self.sequence}"
