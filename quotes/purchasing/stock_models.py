"""What lies in the yard, for which job it is kept, and every change of it."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from catalogue.models import Component
from quotes.jobs.models import ImmutableModel, Job
from quotes.purchasing.order_models import decimals
from shared.models import BusinessOwned


class ItemKind(models.TextChoices):
    WHOLE = "whole", "as bought"
    OFFCUT = "remnant", "remnant"


class StockItem(BusinessOwned):
    """What lies in the yard: so many of a component, or remnants of it of one length. ``held`` of them are for jobs."""

    component = models.ForeignKey(Component, on_delete=models.PROTECT, related_name="stock")
    kind = models.CharField(max_length=7, choices=ItemKind, default=ItemKind.WHOLE)
    length_mm = models.PositiveIntegerField(null=True, blank=True)
    quantity = decimals()
    held = decimals()
    place = models.CharField(max_length=80, blank=True)
    from_job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="left_over")
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=ItemKind.values), name="stock_kind_known"),
            models.CheckConstraint(
                condition=Q(held__gte=0, quantity__gte=F("held")), name="stock_holds_no_more_than_it_has"
            ),
            models.CheckConstraint(condition=Q(kind="whole") | Q(length_mm__isnull=False), name="remnant_has_a_length"),
        ]
        indexes = [models.Index(fields=["business", "component", "kind"], name="stock_by_component")]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.component_id}"


class ReservationState(models.TextChoices):
    HELD = "held", "held"
    USED = "used", "used"
    RELEASED = "released", "released"


class Reservation(BusinessOwned):
    """Stock kept for a job until it is used or let go."""

    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="holds")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="holds")
    order = models.ForeignKey(
        "purchasing.SupplierOrder", on_delete=models.PROTECT, null=True, blank=True, related_name="holds"
    )
    """The order drafted beside it, which lets it go when it is cancelled; None where somebody kept it by hand."""
    quantity = decimals()
    state = models.CharField(max_length=8, choices=ReservationState, default=ReservationState.HELD)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=ReservationState.values), name="hold_state_known"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="hold_something"),
        ]
        indexes = [models.Index(fields=["business", "job", "state"], name="hold_by_job")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.state}"


class StockMovement(ImmutableModel):
    """One change of stock and its reason: written once. ``quantity`` is what came in, negative for what went out."""

    item = models.ForeignKey(StockItem, on_delete=models.PROTECT, related_name="moves")
    kind = models.CharField(max_length=10)
    quantity = decimals()
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    reason = models.CharField(max_length=500, blank=True)
    who = models.CharField(max_length=160)

    class Meta:
        indexes = [models.Index(fields=["business", "item", "-id"], name="stock_move_by_item")]

    def __str__(self) -> str:
        return f"{self.kind} {self.quantity}"

    @property
    def word(self) -> str:
        """The kind as a person says it."""
        return {"in": "put in", "out": "taken out", "hold": "kept", "released": "let go"}.get(self.kind, self.kind)
