"""What suppliers answered, what was despatched and received, and what was sent back."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import Q

from quotes.purchasing.order_models import OrderLine, SupplierOrder, decimals, money
from shared.models import BusinessOwned


class OrderResponse(BusinessOwned):
    """A supplier's word on an order: ``code`` is AB seen, AP accepted, RE refused, CA with changes line by line."""

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
    REFUSE = "refuse", "refused"
    CHANGE = "change", "changed"


class Decision(models.TextChoices):
    NONE = "", "none needed"
    WAITING = "waiting", "waiting for the buyer"
    AGREED = "agreed", "agreed"
    REJECTED = "rejected", "rejected"
    OVERTAKEN = "overtaken", "overtaken by a later reply"


class OrderResponseLine(BusinessOwned):
    """A supplier's word on one line. A price or a date that differs waits for the owner's word."""

    reply = models.ForeignKey(OrderResponse, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="replies")
    said = models.CharField(max_length=6, choices=LineAction)
    reason = models.CharField(max_length=500, blank=True)
    quantity = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    price = models.DecimalField(max_digits=16, decimal_places=4, null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True)
    decision = models.CharField(max_length=9, choices=Decision, default=Decision.NONE, blank=True)

    class Meta:
        verbose_name_plural = "line replies"
        constraints = [
            models.CheckConstraint(condition=Q(said__in=LineAction.values), name="line_reply_known"),
            models.CheckConstraint(condition=Q(decision__in=Decision.values), name="line_reply_decision_known"),
            models.UniqueConstraint(
                fields=["business", "line"], condition=Q(decision="waiting"), name="line_reply_one_waiting"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.said} {self.line_id}"


class Despatch(BusinessOwned):
    """A docket: what a supplier says is on the lorry."""

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
    """What was counted when a docket's goods came. ``despatch`` is None where the supplier announced nothing."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="receipts")
    despatch = models.OneToOneField(Despatch, on_delete=models.PROTECT, null=True, blank=True, related_name="receipt")
    docket = models.CharField(max_length=60)
    received_on = models.DateField()
    note = models.CharField(max_length=2_000, blank=True)
    who = models.CharField(max_length=160)
    sha256 = models.CharField(max_length=64)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "order", "docket"], name="receipt_docket_once")]

    def __str__(self) -> str:
        return self.docket


class ReceiptLine(BusinessOwned):
    """The count of one line: ``quantity`` sound and ``damaged`` pieces arrived; ``expected`` is what the docket states.

    ``short`` is missing from the docket, ``over`` is sound and beyond what was ordered.
    """

    receipt = models.ForeignKey(GoodsReceipt, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="receipts")
    expected = decimals()
    quantity = decimals()
    damaged = decimals()
    short = decimals()
    over = decimals()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "receipt", "line"], name="receipt_line_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0, damaged__gte=0), name="receipt_line_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of line {self.line_id}"

    @property
    def sound(self) -> Decimal:
        """What arrived undamaged."""
        return self.quantity

    @property
    def arrived(self) -> Decimal:
        """Everything that arrived, sound or damaged."""
        return self.quantity + self.damaged


class GoodsReturn(BusinessOwned):
    """What was sent back: to be replaced, or for ``credit``, the net amount that is no longer to be paid."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="returns")
    number = models.CharField(max_length=20, editable=False)
    line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, related_name="returns")
    quantity = decimals()
    replace = models.BooleanField()
    credit = money()
    reason = models.CharField(max_length=500)
    who = models.CharField(max_length=160)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "number"], name="return_number_once"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="return_something"),
        ]

    def __str__(self) -> str:
        return self.number
