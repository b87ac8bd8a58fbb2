"""A circuit breaker for the mail server: one that fails or hangs is left alone for a while, and never takes all workers.

Only one letter is on its way to the server at a time. Who finds another on its way waits a moment, then comes back later; after
a failure of the server itself nobody tries for a growing pause. The state is a row, so that all processes share it.
"""

from __future__ import annotations

import smtplib
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Final

from django.db import models
from django.utils import timezone

from shared.background.outbox import RetryLater
from shared.business.business_owned import new_ref

HELD_AT_MOST: Final = timedelta(seconds=100)
"""After this long a letter on its way is given up: its worker died."""
PATIENCE: Final = timedelta(seconds=2)
"""How long a worker waits for another's letter."""
FIRST_PAUSE: Final = timedelta(seconds=30)
LONGEST_PAUSE: Final = timedelta(minutes=10)
_LOOK_S = 0.05


class MailServer(models.Model):
    """The one row: who sends now, and until when nobody tries."""

    holder = models.CharField(max_length=32, blank=True)
    held_since = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    rests_until = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="mail_server_is_one")]

    def __str__(self) -> str:
        return "the mail server"


def is_fault_of_server(fault: Exception) -> bool:
    """Return whether a failure says that the server is out of order, not that it refused one letter.

    >>> is_fault_of_server(TimeoutError()), is_fault_of_server(smtplib.SMTPRecipientsRefused({}))
    (True, False)
    """
    refused = (smtplib.SMTPRecipientsRefused, smtplib.SMTPSenderRefused, smtplib.SMTPDataError)
    return isinstance(fault, OSError) and not isinstance(fault, refused)


@contextmanager
def line_to_server() -> Iterator[None]:
    """Hold the only line to the mail server inside the block.

    Raises:
        Later: if the server is resting after a failure, or another letter takes longer than a moment.
    """
    holder = _take()
    try:
        yield
    except Exception as fault:
        if is_fault_of_server(fault):
            _rest(holder, fault)
        else:
            _release(holder, succeeded=False)
        raise
    _release(holder, succeeded=True)


def _take() -> str:
    holder = new_ref()
    MailServer.objects.get_or_create(pk=1)
    patient_until = time.monotonic() + PATIENCE.total_seconds()
    while True:
        now = timezone.now()
        free = models.Q(held_since=None) | models.Q(held_since__lte=now - HELD_AT_MOST)
        open_now = models.Q(rests_until=None) | models.Q(rests_until__lte=now)
        if MailServer.objects.filter(free, open_now, pk=1).update(holder=holder, held_since=now):
            return holder
        server = MailServer.objects.get(pk=1)
        if server.rests_until and server.rests_until > now:
            raise RetryLater(server.rests_until, f"the mail server rests: {server.last_error}", begun=False)
        hangs = server.held_since is not None and server.held_since <= now - PATIENCE
        if hangs or time.monotonic() > patient_until:
            raise RetryLater(now + PATIENCE, "another letter is on its way to the mail server", begun=False)
        time.sleep(_LOOK_S)


def _release(holder: str, *, succeeded: bool) -> None:
    changes: dict[str, object] = {"holder": "", "held_since": None}
    if succeeded:
        changes |= {"failures": 0, "rests_until": None, "last_error": ""}
    MailServer.objects.filter(pk=1, holder=holder).update(**changes)


def _rest(holder: str, fault: Exception) -> None:
    failures = MailServer.objects.values_list("failures", flat=True).get(pk=1) + 1
    MailServer.objects.filter(pk=1, holder=holder).update(
        holder="",
        held_since=None,
        failures=failures,
        rests_until=timezone.now() + pause_after(failures),
        last_error=f"{type(fault).__name__}: {fault}"[:500],
    )


def pause_after(failures: int) -> timedelta:
    """Return how long the server rests after so many failures in a row.

    >>> [int(pause_after(count).total_seconds()) for count in (1, 2, 3, 6, 60)]
    [30, 60, 120, 600, 600]
    """
    doubled = FIRST_PAUSE.total_seconds() * 2.0 ** min(failures - 1, 10)
    return min(timedelta(seconds=doubled), LONGEST_PAUSE)


def resting_until() -> datetime | None:
    """Return until when nobody tries the server, if it failed last."""
    server = MailServer.objects.filter(pk=1).first()
    return server.rests_until if server and server.failures else None
