"""Models of stock: items, reservations for jobs, and movements."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from catalogue.models import Component
from quotes.jobs.models import ImmutableModel, Job
from quotes.purchasing.order_models import decimals
from shared.models import BusinessOwned


class ItemKind(models.TextChoices):
    FULL_LENGTH = "full_length", "full length"
    OFFCUT = "offcut", "offcut"


class MovementKind(models.TextChoices):
    ADDED = "added", "added"
    REMOVED = "removed", "removed"
    RESERVED = "reserved", "reserved"
    USED = "used", "used"
    RELEASED = "released", "released"


class StockItem(BusinessOwned):
    """Stock of a component, or its offcuts of one length. ``reserved`` of the quantity is for jobs."""

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="stock")
    kind = models.CharField(max_length=11, choices=ItemKind, default=ItemKind.FULL_LENGTH)
    length_mm = models.PositiveIntegerField(null=True, blank=True)
    quantity = decimals()
    reserved = decimals()
    location = models.CharField(max_length=80, blank=True)
    from_job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="left_over")
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=ItemKind.values), name="stock_kind_known"),
            models.CheckConstraint(
                condition=Q(reserved__gte=0, quantity__gte=F("reserved")), name="stock_reserves_no_more_than_it_has"
            ),
            models.CheckConstraint(
                condition=Q(kind="full_length") | Q(length_mm__isnull=False), name="offcut_has_a_length"
            ),
        ]
        indexes = [models.Index(fields=["business", "component", "kind"], name="stock_by_component")]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.component_id}"


class ReservationState(models.TextChoices):
    RESERVED = "reserved", "reserved"
    USED = "used", "used"
    RELEASED = "released", "released"


class Reservation(BusinessOwned):
    """Stock reserved for a job until it is used or released."""

    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="reservations")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="reservations")
    order = models.ForeignKey(
        "purchasing.SupplierOrder", on_delete=models.PROTECT, null=True, blank=True, related_name="reservations"
    )
    """The order drafted with it; cancelling that order releases it. None if it was reserved by hand."""
    quantity = decimals()
    state = models.CharField(max_length=8, choices=ReservationState, default=ReservationState.RESERVED)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=ReservationState.values), name="reservation_state_known"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="reservation_something"),
        ]
        indexes = [models.Index(fields=["business", "job", "state"], name="reservation_by_job")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.state}"


class StockMovement(ImmutableModel):
    """One movement of stock and its reason. ``quantity`` is negative for removals. Movements never change."""

    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=8, choices=MovementKind)
    quantity = decimals()
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=500, blank=True)
    created_by = models.CharField(max_length=160)

    class Meta:
        indexes = [models.Index(fields=["business", "item", "-id"], name="stock_move_by_item")]

    def __str__(self) -> str:
        return f"{self.kind} {self.quantity}"
