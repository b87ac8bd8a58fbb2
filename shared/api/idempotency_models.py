"""Model of calls with an idempotency key and their responses."""

from __future__ import annotations

from datetime import timedelta

from django.db import models
from django.utils import timezone

STORED_FOR = timedelta(hours=48)


class IdempotentCall(models.Model):
    """Call with an idempotency key, with its response once it is finished."""

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
    """Delete expired calls and return their number."""
    return IdempotentCall.objects.filter(started_at__lt=timezone.now() - STORED_FOR).delete()[0]
