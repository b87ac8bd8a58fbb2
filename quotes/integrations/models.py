"""Sandboxes of suppliers, and webhooks: endpoints, deliveries and their attempts."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from quotes.purchasing.models import OrderEvent
from shared.models import Business, SupplierAccount, new_ref


class Sandbox(models.Model):
    """The sample business that a supplier's sandbox keys see instead of its customers."""

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
    """An address that receives events of a business or a supplier. ``secrets`` holds at most two, the newest first."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    business = models.ForeignKey(Business, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    account = models.ForeignKey(SupplierAccount, on_delete=models.CASCADE, null=True, blank=True, related_name="+")
    test = models.BooleanField(default=False)
    url = models.CharField(max_length=500)
    event_types = models.JSONField(default=list, blank=True)
    state = models.CharField(max_length=8, choices=EndpointState, default=EndpointState.PENDING)
    reason = models.CharField(max_length=500, blank=True)
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
    FAILED = "failed", "failed"


class WebhookDelivery(models.Model):
    """One event for one endpoint. All its attempts have the same ``message_id``; a replay has a new one."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    endpoint = models.ForeignKey(WebhookEndpoint, on_delete=models.CASCADE, related_name="deliveries")
    event = models.ForeignKey(OrderEvent, on_delete=models.CASCADE, null=True, blank=True, related_name="deliveries")
    message_id = models.CharField(max_length=64)
    body = models.TextField()
    state = models.CharField(max_length=9, choices=DeliveryState, default=DeliveryState.WAITING)
    attempt_count = models.PositiveSmallIntegerField(default=0)
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
        return f"{self.message_id} to {self.endpoint_id}"


class Attempt(models.Model):
    """One attempt of a delivery: the response (its first 4 kB) and the duration."""

    delivery = models.ForeignKey(WebhookDelivery, on_delete=models.CASCADE, related_name="attempts")
    attempted_at = models.DateTimeField(default=timezone.now)
    http_status = models.PositiveSmallIntegerField(null=True, blank=True)
    response_body = models.TextField(blank=True)
    error = models.CharField(max_length=300, blank=True)
    duration_ms = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.http_status or self.error}"
