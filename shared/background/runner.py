"""Runner of background tasks: by Celery if there is a Redis, otherwise in the process after the commit."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import timedelta
from typing import Final

from django.conf import settings
from django.db import models, transaction
from django.db.models.functions import Now
from django.utils import timezone
from kombu.exceptions import OperationalError

from shared.background import outbox
from shared.background.outbox import Event, Finish, GaveUpError, Handler, OutboxTask, RetryLater, TaskState
from shared.business.business_owned import new_ref
from shared.common import request_id
from shared.common.dates import dates_by
from shared.database.errors import retry_deadlock

_log = logging.getLogger("baywright.jobs")
RUN_TASK: Final = "shared.tasks.run_task"
_BATCH = 500
_PAUSE_S = 5.0  # after a failed message no other is sent for this time: a stopped broker must not delay every request
_broker_down_until = 0.0


def run_soon(task_ids: Iterable[int]) -> None:
    """Start the tasks as soon as possible. Never raises; run_due_tasks() picks up the rest."""
    global _broker_down_until
    ids = list(task_ids)
    if not settings.REDIS_URL:
        for task_id in ids:
            run(task_id)
        return
    from shared.background.celery_app import app, message_producers  # Celery takes long to import

    for task_id in ids:
        if time.monotonic() < _broker_down_until:
            return
        try:
            with message_producers().acquire(block=True) as producer:
                app.send_task(RUN_TASK, args=(task_id,), producer=producer, retry=False)
        except (OperationalError, OSError) as fault:
            _broker_down_until = time.monotonic() + _PAUSE_S
            _log.warning("the broker does not respond", extra={"fault": str(fault)[:200]})


def run(task_id: int) -> bool:
    """Run a task if it is due and no other worker runs it. Return whether it is done now."""
    lease = _lease(task_id)
    if lease is None:
        return False
    row = OutboxTask.objects.select_related("event", "event__business").get(pk=task_id)
    handler = outbox.find_handler(row.handler)
    if handler is None:
        return _mark_failed(row, "no handler of this name")
    if row.event.business is not None and row.event.business.suspended:
        return _mark_failed(row, "the business is suspended")
    if row.starts > handler.attempts:
        return _mark_failed(row, row.last_error or "its worker died at every attempt")
    request_id.begin(row.event.request_id)
    try:
        with _dates_of(row.event), _running(row.handler):
            return _work(row, handler, lease)
    except GaveUpError as final:
        return _mark_failed(row, str(final))
    except RetryLater as later:
        return _retry(row, lease, str(later), later.due_at, begun=later.begun)
    except Exception as fault:  # noqa: BLE001 - every error is stored and the task is tried again
        _log.warning("task failed", exc_info=fault, extra={"handler": row.handler, "starts": row.starts})
        if row.starts >= handler.attempts:
            return _mark_failed(row, repr(fault))
        return _retry(row, lease, repr(fault), timezone.now() + outbox.retry_delay(row.starts))


def run_due_tasks() -> int:
    """Start every task that is due and not running, and the periodic tasks. Return the number of tasks."""
    _start_periodic_tasks()
    due = list(_due().order_by("due_at").values_list("pk", flat=True)[:_BATCH])
    run_soon(due)
    return len(due)


def _due() -> models.QuerySet[OutboxTask]:
    """Return tasks that are due by this machine's clock and have no lease. Leases are compared by the database's clock."""
    free = models.Q(leased_until=None) | models.Q(leased_until__lte=Now())
    return OutboxTask.objects.filter(free, state=TaskState.QUEUED, due_at__lte=timezone.now())


def _lease(task_id: int) -> str | None:
    """Reserve a task for a limited time. The attempt is counted before it starts, so that one that kills its worker counts."""
    lease = new_ref()
    until = Now() + settings.JOB_LEASE
    reserved = _due().filter(pk=task_id).update(lease=lease, leased_until=until, starts=models.F("starts") + 1)
    return lease if reserved else None


def _dates_of(event: Event) -> AbstractContextManager[None]:
    """Return a context with the time zone and locale of the event's business."""
    business = event.business
    return dates_by(business.time_zone, business.locale) if business else dates_by("UTC", "en")


@contextmanager
def _running(handler: str) -> Iterator[None]:
    token = outbox.running.set(handler)
    try:
        yield
    finally:
        outbox.running.reset(token)


def _work(row: OutboxTask, handler: Handler, lease: str) -> bool:
    finish: Finish | None = handler.handle(row.event) if handler.slow else None
    return _store(row, handler, lease, finish)


@retry_deadlock
@transaction.atomic
def _store(row: OutboxTask, handler: Handler, lease: str, finish: Finish | None) -> bool:
    mine = OutboxTask.objects.select_for_update(no_key=True).filter(pk=row.pk, lease=lease, state=TaskState.QUEUED)
    if not mine.exists():
        return False  # the lease is over and another worker runs the task: store nothing
    if not handler.slow:
        finish = handler.handle(row.event)
    if finish is not None:
        finish()
    mine.update(state=TaskState.DONE, done_at=timezone.now(), leased_until=None, last_error="")
    return True


def _retry(row: OutboxTask, lease: str, reason: str, due_at: object, *, begun: bool = True) -> bool:
    starts = models.F("starts") - (0 if begun else 1)
    mine = OutboxTask.objects.filter(pk=row.pk, lease=lease)
    mine.update(leased_until=None, due_at=due_at, last_error=reason[:2000], starts=starts)
    return False


def _mark_failed(row: OutboxTask, reason: str) -> bool:
    OutboxTask.objects.filter(pk=row.pk).update(state=TaskState.FAILED, leased_until=None, last_error=reason[:2000])
    _log.error("task not tried again", extra={"handler": row.handler, "event": row.event.ref, "reason": reason[:500]})
    return False


def _start_periodic_tasks() -> None:
    for name, (every, do) in sorted(outbox.periodic_tasks().items()):
        task, _ = outbox.PeriodicTask.objects.get_or_create(name=name)
        waiting = models.Q(last_started_at=None) | models.Q(
            last_started_at__lte=Now() - every + timedelta(milliseconds=1)
        )
        if not outbox.PeriodicTask.objects.filter(waiting, pk=task.pk).update(last_started_at=Now()):
            continue
        try:
            retry_deadlock(do)()
        except Exception as fault:  # noqa: BLE001 - one periodic task must not stop the others
            _log.error("periodic task failed", exc_info=fault, extra={"task": name})
