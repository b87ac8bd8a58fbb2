"""Models of order responses, despatches, receipts and returns."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q

from quotes.purchasing.order_models import OrderLine, SupplierOrder, decimals, money
from shared.models import BusinessOwned

RECEIPT_QUANTITIES = {
    "arrived_quantity": "arrived",
    "damaged_quantity": "damaged",
    "good_quantity": "sound",
    "advised_quantity": "expected",
    "short_quantity": "short_delivered",
    "over_quantity": "over_delivered",
}
"""Quantities of a receipt line by their API names."""


class OrderResponse(BusinessOwned):
    """A supplier's response to an order. ``code``: AB receipt confirmed, AP accepted, RE rejected, CA line by line."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="replies")
    number = models.CharField(max_length=60)
    code = models.CharField(max_length=2)
    note = models.CharField(max_length=2_000, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    sha256 = models.CharField(max_length=64)

    class Meta:
        verbose_name_plural = "replies"
        constraints = [
            models.UniqueConstraint(fields=["business", "order", "number"], name="reply_number_once"),
            models.CheckConstraint(condition=Q(code__in=["AB", "AP", "RE", "CA"]), name="reply_code_known"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.code}"


class LineAction(models.TextChoices):
    ACCEPT = "accept", "accepted"
    REJECT = "reject", "rejected"
    CHANGE = "change", "changed"


class Decision(models.TextChoices):
    NONE = "", "none needed"
    WAITING = "waiting", "awaiting decision"
    ACCEPTED = "accepted", "accepted"
    REJECTED = "rejected", "rejected"
    SUPERSEDED = "superseded", "superseded by a later response"


class OrderResponseLine(BusinessOwned):
    """A supplier's response to one line. A different price or date waits for the owner's decision."""

    reply = models.ForeignKey(OrderResponse, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="replies")
    action = models.CharField(max_length=6, choices=LineAction)
    reason = models.CharField(max_length=500, blank=True)
    quantity = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    price = models.DecimalField(max_digits=16, decimal_places=4, null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    decision = models.CharField(max_length=10, choices=Decision, default=Decision.NONE, blank=True)

    class Meta:
        verbose_name_plural = "line replies"
        constraints = [
            models.CheckConstraint(condition=Q(action__in=LineAction.values), name="line_reply_known"),
            models.CheckConstraint(condition=Q(decision__in=Decision.values), name="line_reply_decision_known"),
            models.UniqueConstraint(
                fields=["business", "line"], condition=Q(decision="waiting"), name="line_reply_one_waiting"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.action} {self.line_id}"


class Despatch(BusinessOwned):
    """A despatch advice (docket) of a supplier."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="despatches")
    number = models.CharField(max_length=60)
    despatched_on = models.DateField(null=True, blank=True)
    arrives_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=2_000, blank=True)
    sha256 = models.CharField(max_length=64)

    class Meta:
        verbose_name_plural = "despatches"
        constraints = [models.UniqueConstraint(fields=["business", "order", "number"], name="despatch_number_once")]

    def __str__(self) -> str:
        return self.number


class DespatchLine(BusinessOwned):
    """Quantity of one line on a docket."""

    despatch = models.ForeignKey(Despatch, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="despatched")
    quantity = decimals()
    outstanding_reason = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "despatch", "line"], name="despatch_line_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="despatch_line_something"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of line {self.line_id}"


class GoodsReceipt(BusinessOwned):
    """The count of the goods of a docket. ``despatch`` is None if the supplier sent no despatch advice."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="receipts")
    despatch = models.OneToOneField(Despatch, on_delete=models.PROTECT, null=True, blank=True, related_name="receipt")
    docket_number = models.CharField(max_length=60)
    received_on = models.DateField()
    note = models.CharField(max_length=2_000, blank=True)
    created_by = models.CharField(max_length=160)
    sha256 = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "order", "docket_number"], name="receipt_docket_once")
        ]

    def __str__(self) -> str:
        return self.docket_number


class ReceiptLine(BusinessOwned):
    """The count of one line: ``quantity`` good and ``damaged`` pieces arrived; the docket states ``expected``.

    ``short_delivered`` is missing from the docket; ``over_delivered`` is good and exceeds the ordered quantity.
    """

    receipt = models.ForeignKey(GoodsReceipt, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="receipts")
    expected = decimals()
    quantity = decimals()
    damaged = decimals()
    short_delivered = decimals()
    over_delivered = decimals()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "receipt", "line"], name="receipt_line_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0, damaged__gte=0), name="receipt_line_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of line {self.line_id}"

    @property
    def sound(self) -> Decimal:
        """Return the quantity that arrived undamaged."""
        return self.quantity

    @property
    def arrived(self) -> Decimal:
        """Return the quantity that arrived, good or damaged."""
        return self.quantity + self.damaged


class GoodsReturn(BusinessOwned):
    """A return of goods: for replacement, or for ``credit``, the net amount that is no longer payable."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="returns")
    number = models.CharField(max_length=20, editable=False)
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="returns")
    quantity = decimals()
    replacement_required = models.BooleanField()
    credit = money()
    reason = models.CharField(max_length=500)
    created_by = models.CharField(max_length=160)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "number"], name="return_number_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="return_something"),
        ]

    def __str__(self) -> str:
        return self.number
