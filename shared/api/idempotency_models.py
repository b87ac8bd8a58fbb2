"""The table of calls that must not happen twice, each with the answer it got."""

from __future__ import annotations

from datetime import timedelta

from django.db import models
from django.utils import timezone

KEPT = timedelta(hours=48)


class IdempotentCall(models.Model):
    """One call, and once it is finished its answer."""

    holder = models.CharField(max_length=80)
    route = models.CharField(max_length=300)
    key = models.CharField(max_length=200)
    body_sha256 = models.CharField(max_length=64)
    started_at = models.DateTimeField(default=timezone.now)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["holder", "route", "key"], name="idempotent_call_once")]
        indexes = [models.Index(fields=["started_at"], name="idempotent_call_age")]

    def __str__(self) -> str:
        return f"{self.route} {self.key}"


def forget_old() -> int:
    """Deletes calls whose time is over; says how many."""
    return IdempotentCall.objects.filter(started_at__lt=timezone.now() - KEPT).delete()[0]
