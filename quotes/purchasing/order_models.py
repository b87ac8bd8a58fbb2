"""Orders to suppliers: their lines, for which jobs they are, and everything that happened to them."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.db.models.expressions import CombinedExpression

from catalogue.models import Component, Supplier
from quotes.jobs.models import ImmutableModel, Job
from shared.models import BusinessOwned

ZERO = Decimal(0)


def decimals(default: Decimal = ZERO) -> models.DecimalField[Decimal, Decimal]:
    return models.DecimalField(max_digits=14, decimal_places=3, default=default)


def money() -> models.DecimalField[Decimal, Decimal]:
    return models.DecimalField(max_digits=16, decimal_places=4, default=ZERO)


def _equal(name: str, to: CombinedExpression, slack: str) -> Q:
    """Return a condition for equality within the last decimal place: SQLite calculates with binary fractions."""
    return Q(**{f"{name}__gt": to - Decimal(slack), f"{name}__lt": to + Decimal(slack)})


class OrderState(models.TextChoices):
    DRAFT = "draft", "draft"
    PLACED = "placed", "placed"
    ACKNOWLEDGED = "acknowledged", "acknowledged"
    DESPATCHED = "despatched", "despatched"
    RECEIVED = "received", "received"
    CLOSED = "closed", "closed"
    CANCELLED = "cancelled", "cancelled"


MOVES: dict[str, frozenset[str]] = {
    OrderState.DRAFT: frozenset({OrderState.PLACED, OrderState.CANCELLED}),
    OrderState.PLACED: frozenset(
        {OrderState.ACKNOWLEDGED, OrderState.DESPATCHED, OrderState.RECEIVED, OrderState.CANCELLED}
    ),
    OrderState.ACKNOWLEDGED: frozenset({OrderState.DESPATCHED, OrderState.RECEIVED, OrderState.CANCELLED}),
    OrderState.DESPATCHED: frozenset({OrderState.RECEIVED}),
    # goods returned for replacement are in transit again
    OrderState.RECEIVED: frozenset({OrderState.CLOSED, OrderState.DESPATCHED}),
    OrderState.CLOSED: frozenset(),
    OrderState.CANCELLED: frozenset(),
}
"""From which state an order may go to which."""


class OrderResponseStatus(models.TextChoices):
    NONE = "none", "none"
    ACCEPTED = "accepted", "accepted"
    PARTLY_ACCEPTED = "partly_accepted", "partly accepted"
    CHANGED = "changed", "changes proposed"
    REJECTED = "rejected", "rejected"


class SupplierOrder(BusinessOwned):
    """An order to one supplier, for one job or several. ``number`` has no gaps within a business.

    ``parties_snapshot`` holds both parties at the time of placing. ``change_sequence`` is the row id of the
    last event, so that orders sorted by it never hide a change from a supplier that polls. ``goods``,
    ``tax`` and ``total`` are what is ordered, less what was
    cancelled; those ``_after_credits`` leave out what went back for credit too, as the ledger does.
    """

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    number = models.CharField(max_length=20, editable=False)
    state = models.CharField(max_length=12, choices=OrderState, default=OrderState.DRAFT, editable=False)
    response_status = models.CharField(
        max_length=15, choices=OrderResponseStatus, default=OrderResponseStatus.NONE, editable=False
    )
    currency = models.CharField(max_length=3)
    parties_snapshot = models.JSONField(default=dict, editable=False)
    deliver_to = models.JSONField(default=dict, blank=True)
    deliver_from = models.DateField(null=True, blank=True)
    deliver_by = models.DateField(null=True, blank=True)
    promised_on = models.DateField(null=True, blank=True, editable=False)
    note = models.CharField(max_length=2_000, blank=True)
    delivery_fee = money()
    fee_tax_code = models.CharField(max_length=40, blank=True)
    fee_tax_category = models.CharField(max_length=3, default="S")
    fee_tax_rate = models.DecimalField(max_digits=8, decimal_places=4, default=ZERO)
    goods = money()
    tax = money()
    total = money()
    goods_after_credits = money()
    tax_after_credits = money()
    total_after_credits = money()
    placed_at = models.DateTimeField(null=True, blank=True, editable=False)
    placed_on = models.DateField(null=True, blank=True, editable=False)
    placed_by = models.CharField(max_length=160, blank=True, editable=False)
    mailed_at = models.DateTimeField(null=True, blank=True, editable=False)
    sequence = models.PositiveIntegerField(default=0, editable=False)
    change_sequence = models.BigIntegerField(default=0, editable=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "number"], name="order_number_once"),
            models.CheckConstraint(condition=Q(state__in=OrderState.values), name="order_state_known"),
            models.CheckConstraint(
                condition=Q(response_status__in=OrderResponseStatus.values), name="order_response_status_known"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "cancelled"]) | Q(placed_at__isnull=False),
                name="order_placed_at_a_time",
            ),
            models.CheckConstraint(
                condition=_equal("total", F("goods") + F("delivery_fee") + F("tax"), "0.00005"), name="order_adds_up"
            ),
        ]
        indexes = [
            models.Index(fields=["business", "state", "-id"], name="order_by_state"),
            models.Index(fields=["business", "placed_on"], name="order_by_day"),
            models.Index(fields=["supplier", "change_sequence"], name="order_by_change"),
        ]

    def __str__(self) -> str:
        return self.number


class OrderLine(BusinessOwned):
    """One line. Always quantity = received + outstanding + cancelled; the database checks it.

    ``required_quantity`` is what the jobs need,
    ``quantity`` what is ordered in whole packs. ``over_delivered`` exceeds the ordered quantity;
    ``damaged`` arrived, does not count as received and is not settled by a return. ``in_transit`` is on a docket that is not yet
    received yet. ``returned`` went back for credit; ``credited`` is the part of it that had been received in order and so is no
    longer to be paid for.
    """

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="+")
    sku = models.CharField(max_length=64)
    supplier_sku = models.CharField(max_length=64, blank=True)
    label = models.CharField(max_length=200)
    role = models.CharField(max_length=20)
    finish = models.CharField(max_length=40, blank=True)
    length_mm = models.PositiveIntegerField(null=True, blank=True)
    unit = models.CharField(max_length=3)
    mass_kg = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    gtin = models.CharField(max_length=14, blank=True)
    pack = decimals(Decimal(1))
    required_quantity = decimals()
    quantity = decimals()
    price = money()
    net = money()
    tax_code = models.CharField(max_length=40, blank=True)
    tax_category = models.CharField(max_length=3, default="S")
    tax_rate = models.DecimalField(max_digits=8, decimal_places=4, default=ZERO)
    account = models.CharField(max_length=40, blank=True)
    purchase_reason = models.JSONField(default=list, blank=True)
    received = decimals()
    outstanding = decimals()
    cancelled = decimals()
    in_transit = decimals()
    over_delivered = decimals()
    damaged = decimals()
    returned = decimals()
    credited = decimals()
    due_on = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "order", "position"], name="order_line_position_once"),
            models.CheckConstraint(
                condition=_equal("quantity", F("received") + F("outstanding") + F("cancelled"), "0.0005"),
                name="order_line_reconciles",
            ),
            models.CheckConstraint(
                condition=Q(received__gte=0, outstanding__gte=0, cancelled__gte=0, in_transit__gte=0, quantity__gt=0),
                name="order_line_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(over_delivered__gte=0, damaged__gte=0, returned__gte=0, price__gte=0, net__gte=0),
                name="order_line_sane",
            ),
            models.CheckConstraint(
                condition=Q(credited__gte=0, credited__lte=F("received")), name="order_line_credited_was_received"
            ),
        ]
        ordering = ["order", "position"]

    def __str__(self) -> str:
        return f"{self.order_id}/{self.position} {self.sku}"


class LineJob(BusinessOwned):
    """A job's share of a line. The shares add up to the line exactly."""

    line = models.ForeignKey(OrderLine, on_delete=models.CASCADE, related_name="jobs")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="order_parts")
    quantity = decimals()
    net = money()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["business", "line", "job"], name="line_job_once")]
        indexes = [models.Index(fields=["business", "job"], name="line_job_by_job")]

    def __str__(self) -> str:
        return f"{self.quantity} of line {self.line_id}"


class OrderEvent(ImmutableModel):
    """One thing that happened to an order: written once. ``sequence`` counts within the order from 1 without gaps."""

    order = models.ForeignKey(SupplierOrder, on_delete=models.PROTECT, related_name="events")
    sequence = models.PositiveIntegerField()
    kind = models.CharField(max_length=40)
    text = models.CharField(max_length=2_000)
    created_by = models.CharField(max_length=160)
    details = models.JSONField(default=dict)
    for_supplier = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["business", "order", "sequence"], name="order_event_sequence_once")
        ]
        indexes = [models.Index(fields=["business", "id"], name="order_event_by_business")]

    def __str__(self) -> str:
        return f"{self.kind} {self.sequence}"
