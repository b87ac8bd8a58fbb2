"""Rows of the outbox, and the handlers of its events.

Background tasks are stored in the same transaction as the change that needs them (``events.publish_event``). After the
commit a message asks a worker to run the task. Tasks without a message are found by ``runner.run_due_tasks()``. So a
broker without its data, a killed worker or a crash loses no task, and a rollback removes the task. ``runner.py`` runs the tasks.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Final

from django.db import models
from django.utils import timezone
from django.utils.module_loading import autodiscover_modules

from shared.business.business_owned import new_ref
from shared.business.models import Business

ATTEMPTS: Final = 8


class TaskState(models.TextChoices):
    QUEUED = "queued", "queued"
    DONE = "done", "done"
    FAILED = "failed", "failed"


class Event(models.Model):
    """Event with a ``kind`` such as ``quote.sent`` and, as its ``subject``, the ref of a record."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    business = models.ForeignKey(Business, on_delete=models.PROTECT, null=True, related_name="+")
    kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=64)
    request_id = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}"


class OutboxTask(models.Model):
    """Task of one handler for one event. It has one effect, even if a message is lost or repeated, or a worker is killed."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="tasks")
    handler = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=TaskState, default=TaskState.QUEUED)
    due_at = models.DateTimeField(default=timezone.now)
    starts = models.PositiveIntegerField(default=0)
    lease = models.CharField(max_length=32, blank=True)
    leased_until = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    last_error = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["event", "handler"], name="task_once_for_an_event"),
            models.CheckConstraint(condition=models.Q(state__in=TaskState.values), name="task_state_known"),
        ]
        indexes = [models.Index(fields=["due_at"], name="task_due", condition=models.Q(state="queued"))]
        verbose_name, verbose_name_plural = "background task", "background tasks"

    def __str__(self) -> str:
        return f"{self.event} by {self.handler}: {self.state}"


class RetryLater(Exception):
    """Raised by a handler to run again at ``due_at``. It counts as an attempt, unless ``begun`` is false."""

    def __init__(self, due_at: datetime, reason: str = "", *, begun: bool = True) -> None:
        self.due_at, self.begun = due_at, begun
        super().__init__(reason or f"again at {due_at.isoformat()}")


class GaveUpError(Exception):
    """Raised by a handler if another attempt would not help."""


running: ContextVar[str] = ContextVar("name of the handler that runs", default="")

Finish = Callable[[], None]
Handle = Callable[[Event], Finish | None]


@dataclass(frozen=True, slots=True)
class Handler:
    """Function that runs for an event."""

    name: str
    kind: str
    handle: Handle
    slow: bool
    attempts: int


_handlers: dict[str, Handler] = {}


def on_event(kind: str, *, name: str, slow: bool = False, attempts: int = ATTEMPTS) -> Callable[[Handle], Handle]:
    """Register a handler (in an app's ``tasks.py``) for every event of ``kind``.

    Tasks are stored with the ``name`` of their handler, so that a function can move without losing queued work.

    A plain handler runs in one transaction with the mark that it is done: all or nothing, once. A ``slow`` one
    (rendering, the network) runs outside of any transaction and returns a function that stores what it made;
    that function runs in one transaction with the mark. Only its steps outside the database may happen twice.
    """

    def register(handle: Handle) -> Handle:
        _handlers[name] = Handler(name, kind, handle, slow, attempts)
        return handle

    return register


@cache
def load_task_modules() -> None:
    """Import every app's tasks module on first use.

    They are not imported when Django starts, because commands without background tasks do not need them.
    """
    autodiscover_modules("tasks")


def find_handler(name: str) -> Handler | None:
    """Return a registered handler, or None if the code no longer has it."""
    load_task_modules()
    return _handlers.get(name)


def handlers_of(kind: str) -> list[Handler]:
    """Return the handlers for a kind of event, ordered by name."""
    load_task_modules()
    return sorted((handler for handler in _handlers.values() if handler.kind == kind), key=lambda item: item.name)


def retry_delay(starts: int) -> timedelta:
    """Return the pause after a failed attempt: 5 s, 10 s, 20 s … at most an hour."""
    return timedelta(seconds=min(5 * 2 ** max(0, starts - 1), 3600))


class PeriodicTask(models.Model):
    """Time at which a periodic task last started."""

    name = models.CharField(max_length=120, unique=True)
    last_started_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name


_periodic_tasks: dict[str, tuple[timedelta, Callable[[], None]]] = {}


def run_every(every: timedelta, *, name: str) -> Callable[[Callable[[], None]], Callable[[], None]]:
    """Register a periodic task (in an app's ``tasks.py``). It must be safe to start twice."""

    def register(do: Callable[[], None]) -> Callable[[], None]:
        _periodic_tasks[name] = (every, do)
        return do

    return register


def periodic_tasks() -> dict[str, tuple[timedelta, Callable[[], None]]]:
    """Return all periodic tasks with their intervals."""
    load_task_modules()
    return dict(_periodic_tasks)
