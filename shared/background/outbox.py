"""The outbox: work that is wanted is a row, written in the transaction of the change that wants it.

    with transaction.atomic():
        quote.save()
        want("quote.sent", quote.ref, business=quote.business)

After the commit the relay sends a nudge; what is still wanted when no nudge arrives is found by the sweep. So
a lost broker, a killed worker or a crash at any point loses nothing, and nothing happens for a change that was
rolled back. ``relay.py`` runs the rows.
"""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Final

from django.db import models, transaction
from django.utils import timezone
from django.utils.module_loading import autodiscover_modules

from shared.business.business_owned import new_ref
from shared.business.models import Business
from shared.web.request_id import request_id

ATTEMPTS: Final = 8


class TaskState(models.TextChoices):
    WANTED = "wanted", "wanted"
    DONE = "done", "done"
    DEAD = "dead", "given up"


class Event(models.Model):
    """Something that happened: ``kind`` is a word of the trade (``quote.sent``), ``subject`` the ref of what it is about."""

    ref = models.CharField(max_length=32, unique=True, default=new_ref, editable=False)
    business = models.ForeignKey(Business, on_delete=models.PROTECT, null=True, related_name="+")
    kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=64)
    request_id = models.CharField(max_length=64, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return f"{self.kind} {self.subject}"


class OutboxTask(models.Model):
    """One handler's duty for one event: at most one effect, whatever is lost, repeated or killed on the way."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="wanted")
    handler = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=TaskState, default=TaskState.WANTED)
    due_at = models.DateTimeField(default=timezone.now)
    starts = models.PositiveIntegerField(default=0)
    lease = models.CharField(max_length=32, blank=True)
    leased_until = models.DateTimeField(null=True)
    done_at = models.DateTimeField(null=True)
    last_fault = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["event", "handler"], name="wanted_once_for_an_event"),
            models.CheckConstraint(condition=models.Q(state__in=TaskState.values), name="wanted_state_known"),
        ]
        indexes = [models.Index(fields=["due_at"], name="wanted_due", condition=models.Q(state="wanted"))]
        verbose_name_plural = "wanted work"

    def __str__(self) -> str:
        return f"{self.event} by {self.handler}: {self.state}"


class RetryLater(Exception):
    """Raised by a handler that wants to run again at ``due_at``; that counts as a start, unless it did not begin at all."""

    def __init__(self, due_at: datetime, why: str = "", *, begun: bool = True) -> None:
        self.due_at, self.begun = due_at, begun
        super().__init__(why or f"again at {due_at.isoformat()}")


class GaveUpError(Exception):
    """Raised by a handler that knows that no further start would help."""


running: ContextVar[str] = ContextVar("name of the handler that runs", default="")

Finish = Callable[[], None]
Handle = Callable[[Event], Finish | None]


@dataclass(frozen=True, slots=True)
class Handler:
    """What runs for an event."""

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
    """Loads every app's ``tasks``, when a handler or routine is first asked for.

    Not when Django starts: a command that wants nothing done later need not load what renders, mails and orders.
    """
    autodiscover_modules("tasks")


def handler_named(name: str) -> Handler | None:
    """The registered handler, if our code still has it."""
    load_task_modules()
    return _handlers.get(name)


def handlers_of(kind: str) -> list[Handler]:
    """Everything that runs for a kind of event, by name."""
    load_task_modules()
    return sorted((handler for handler in _handlers.values() if handler.kind == kind), key=lambda item: item.name)


def publish_event(
    kind: str, subject: str, *, business: Business | None = None, due_at: datetime | None = None
) -> Event:
    """Writes down that an event happened and what has to follow from it, in the caller's transaction."""
    from shared.background import runner  # the relay knows the outbox

    with transaction.atomic():
        event = Event.objects.create(business=business, kind=kind, subject=subject, request_id=request_id())
        due = due_at or timezone.now()
        rows = [OutboxTask(event=event, handler=handler.name, due_at=due) for handler in handlers_of(kind)]
        for row in rows:
            row.save(force_insert=True)
    if rows and due <= timezone.now():
        transaction.on_commit(lambda: runner.run_soon([row.pk for row in rows]), robust=True)
    return event


def retry_delay(starts: int) -> timedelta:
    """How long a handler that failed rests: 5 s, 10 s, 20 s … at most an hour."""
    return timedelta(seconds=min(5 * 2 ** max(0, starts - 1), 3600))


class PeriodicTask(models.Model):
    """When something that happens regularly last started."""

    name = models.CharField(max_length=120, unique=True)
    last_started_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name


_routines: dict[str, tuple[timedelta, Callable[[], None]]] = {}


def run_every(every: timedelta, *, name: str) -> Callable[[Callable[[], None]], Callable[[], None]]:
    """Register a periodic task (in an app's ``tasks.py``). It must be safe to start twice."""

    def register(do: Callable[[], None]) -> Callable[[], None]:
        _routines[name] = (every, do)
        return do

    return register


def routines() -> dict[str, tuple[timedelta, Callable[[], None]]]:
    """Everything that happens regularly."""
    load_task_modules()
    return dict(_routines)
