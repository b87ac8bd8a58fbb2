"""Publication of events to the outbox."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from shared.background import outbox, runner
from shared.business.models import Business
from shared.common.request_id import request_id


def publish_event(
    kind: str, subject: str, *, business: Business | None = None, due_at: datetime | None = None
) -> outbox.Event:
    """Store an event and the tasks of its handlers, in the caller's transaction."""
    with transaction.atomic():
        event = outbox.Event.objects.create(business=business, kind=kind, subject=subject, request_id=request_id())
        due = due_at or timezone.now()
        rows = [
            outbox.OutboxTask(event=event, handler=handler.name, due_at=due) for handler in outbox.handlers_of(kind)
        ]
        for row in rows:
            row.save(force_insert=True)
    if rows and due <= timezone.now():
        transaction.on_commit(lambda: runner.run_soon([row.pk for row in rows]), robust=True)
    return event
