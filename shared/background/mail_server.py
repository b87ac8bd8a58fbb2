"""Circuit breaker for the mail server: a server that fails or hangs is not tried for a while, and never occupies all workers.

Only one e-mail is sent at a time. A worker that finds the server in use waits a moment, then tries again later. After a failure
of the server no worker tries it for a growing pause. The state is a record, so that all processes share it. Its times are set
and compared by the database's clock, because the clocks of the processes may differ.
"""

from __future__ import annotations

import smtplib
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Final

from django.db import models
from django.db.models.functions import Now
from django.utils import timezone

from shared.background.outbox import RetryLater
from shared.business.business_owned import new_ref

MAX_SENDING: Final = timedelta(seconds=100)
"""Time after which another worker may send: the worker that started is gone."""
PATIENCE: Final = timedelta(seconds=2)
"""Time that a worker waits while another one sends."""
FIRST_PAUSE: Final = timedelta(seconds=30)
MAX_PAUSE: Final = timedelta(minutes=10)
_POLL_S = 0.05


class MailServer(models.Model):
    """The only record of the mail server: which worker is sending, and until when no worker tries it."""

    holder = models.CharField(max_length=32, blank=True)
    held_since = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    rests_until = models.DateTimeField(null=True)
    last_error = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="mail_server_is_one")]

    def __str__(self) -> str:
        return "the mail server"


def is_server_error(error: Exception) -> bool:
    """Return whether an error means that the server does not work, not that it rejected one e-mail.

    >>> is_server_error(TimeoutError()), is_server_error(smtplib.SMTPRecipientsRefused({}))
    (True, False)
    """
    rejections = (smtplib.SMTPRecipientsRefused, smtplib.SMTPSenderRefused, smtplib.SMTPDataError)
    return isinstance(error, OSError) and not isinstance(error, rejections)


@contextmanager
def mail_server_reserved() -> Iterator[None]:
    """Reserve the mail server for this worker inside the block.

    Raises:
        RetryLater: if the server pauses after a failure, or another worker sends for longer than a moment.
    """
    holder = _reserve()
    try:
        yield
    except Exception as error:
        if is_server_error(error):
            _pause(holder, error)
        else:
            _release(holder, succeeded=False)
        raise
    _release(holder, succeeded=True)


def _reserve() -> str:
    holder = new_ref()
    MailServer.objects.get_or_create(pk=1)
    deadline = time.monotonic() + PATIENCE.total_seconds()
    is_free = models.Q(held_since=None) | models.Q(held_since__lte=Now() - MAX_SENDING)
    is_working = models.Q(rests_until=None) | models.Q(rests_until__lte=Now())
    while not MailServer.objects.filter(is_free, is_working, pk=1).update(holder=holder, held_since=Now()):
        server = MailServer.objects.annotate(now=Now()).get(pk=1)
        if server.rests_until and server.rests_until > server.now:
            due_at = timezone.now() + (server.rests_until - server.now)
            raise RetryLater(due_at, f"the mail server does not work: {server.last_error}", begun=False)
        hangs = server.held_since is not None and server.held_since <= server.now - PATIENCE
        if hangs or time.monotonic() > deadline:
            raise RetryLater(timezone.now() + PATIENCE, "another e-mail is being sent", begun=False)
        time.sleep(_POLL_S)
    return holder


def _release(holder: str, *, succeeded: bool) -> None:
    changes: dict[str, object] = {"holder": "", "held_since": None}
    if succeeded:
        changes |= {"failures": 0, "rests_until": None, "last_error": ""}
    MailServer.objects.filter(pk=1, holder=holder).update(**changes)


def _pause(holder: str, error: Exception) -> None:
    failures = MailServer.objects.values_list("failures", flat=True).get(pk=1) + 1
    MailServer.objects.filter(pk=1, holder=holder).update(
        holder="",
        held_since=None,
        failures=failures,
        rests_until=Now() + pause_after(failures),
        last_error=f"{type(error).__name__}: {error}"[:500],
    )


def pause_after(failures: int) -> timedelta:
    """Return the pause after this number of consecutive failures.

    >>> [int(pause_after(count).total_seconds()) for count in (1, 2, 3, 6, 60)]
    [30, 60, 120, 600, 600]
    """
    doubled = FIRST_PAUSE.total_seconds() * 2.0 ** min(failures - 1, 10)
    return min(timedelta(seconds=doubled), MAX_PAUSE)
