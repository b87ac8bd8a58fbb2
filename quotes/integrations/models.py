"""Sandboxes of suppliers, and webhooks: where events go, what is on its way there, and how each try went."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from quotes.purchasing.models import OrderEvent
from shared.models import Business, SupplierAccount, new_ref


class Sandbox(models.Model):
    """The make-believe business that a supplier's test keys see instead of its customers."""

    account = models.OneToOneField(SupplierAccount, on_delete=models.CASCADE, related_name="sandbox")
    business = models.OneToOneField(Business, on_delete=models.PROTECT, related_name="sandbox")
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"sandbox of {self.account}"


class EndpointState(models.TextChoices):
    PENDING = "pending", "pending"
    ACTIVE = "active", "active"
    DISABLED = "disabled", "disabled"


class WebhookEndpoint(models.Model):
    """An address that wants events, of a business or of a supplier. ``secrets`` are two at most, the newest first."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    business = models.ForeignKey(Business, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    account = models.ForeignKey(SupplierAccount, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    test = models.BooleanField(default=False)
    url = models.CharField(max_length=500)
    kinds = models.JSONField(default=list, blank=True)
    state = models.CharField(max_length=8, choices=EndpointState, default=EndpointState.PENDING)
    why = models.CharField(max_length=500, blank=True)
    secrets = models.JSONField(default=list)
    paused_until = models.DateTimeField(null=True, blank=True)
    failing_since = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(business__isnull=False, account__isnull=True)
                | Q(business__isnull=True, account__isnull=False),
                name="endpoint_has_one_holder",
            ),
            models.CheckConstraint(condition=Q(state__in=EndpointState.values), name="endpoint_state_known"),
        ]

    def __str__(self) -> str:
        return self.url


class DeliveryState(models.TextChoices):
    WAITING = "waiting", "waiting"
    DELIVERED = "delivered", "delivered"
    FAILED = "failed", "given up"


class WebhookDelivery(models.Model):
    """One event for one endpoint. ``message`` is the id the receiver sees, the same at every try; a replay is a new one."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    endpoint = models.ForeignKey(WebhookEndpoint, on_delete=models.CASCADE, related_name="deliveries")
    event = models.ForeignKey(OrderEvent, on_delete=models.CASCADE, null=True, blank=True, related_name="deliveries")
    message = models.CharField(max_length=64)
    body = models.TextField()
    state = models.CharField(max_length=9, choices=DeliveryState, default=DeliveryState.WAITING)
    tries = models.PositiveSmallIntegerField(default=0)
    next_attempt_at = models.DateTimeField(null=True, blank=True)
    replay = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        verbose_name_plural = "deliveries"
        constraints = [
            models.UniqueConstraint(fields=["endpoint", "event", "replay"], name="delivery_once"),
            models.CheckConstraint(condition=Q(state__in=DeliveryState.values), name="delivery_state_known"),
        ]
        indexes = [models.Index(fields=["endpoint", "-id"], name="delivery_by_endpoint")]

    def __str__(self) -> str:
        return f"{self.message} to {self.endpoint_id}"


class Attempt(models.Model):
    """One try of a delivery: what was answered (the first 4 kB) and how long it took."""

    delivery = models.ForeignKey(WebhookDelivery, on_delete=models.CASCADE, related_name="attempts")
    at = models.DateTimeField(default=timezone.now)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    answer = models.TextField(blank=True)
    fault = models.CharField(max_length=300, blank=True)
    duration_ms = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.status or self.fault}"
