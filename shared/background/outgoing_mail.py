"""Outgoing e-mails. Each has a record that is created before it is sent, so that it is sent once.

Sending has no transaction. If a process ends after the server accepted an e-mail and before that is stored, the result is
unknown. The e-mail is then sent again with the same Message-ID and date, so that a second copy can be recognised. It is never
sent again once it is marked as sent.

An e-mail that fails is tried again for three days with growing pauses. The business sees e-mails that are not delivered yet or
could not be delivered, and can send them again.
"""

from __future__ import annotations

import smtplib
from collections.abc import Iterable
from datetime import datetime, timedelta
from email.utils import format_datetime
from enum import StrEnum
from typing import Final
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import models, transaction
from django.utils import timezone

from shared.background import outbox, runner
from shared.background.mail_server import PATIENCE, mail_server_reserved
from shared.background.outbox import Event, GaveUpError, OutboxTask, RetryLater
from shared.business.actors import Actor
from shared.business.models import Business
from shared.database import audit_log

SENDING: Final = "sending"
SENT: Final = "sent"
TRIED_FOR: Final = timedelta(days=3)
_PAUSES: Final = (60, 120, 300, 600, 1_800, 3_600, 7_200, 14_400)
"""Seconds before the second attempt, the third and so on; the last pause repeats."""


class DeliveryStatus(StrEnum):
    """Delivery status of an e-mail, as pages and the API show it."""

    SENDING = "sending"
    DELAYED = "delayed"
    SENT = "sent"
    FAILED = "failed"


class OutgoingMail(models.Model):
    """E-mail for an event. ``name`` is unique for an event."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="letters")
    name = models.CharField(max_length=40)
    message_id = models.CharField(max_length=255)
    state = models.CharField(max_length=7, choices=[(SENDING, "sending"), (SENT, "sent")], default=SENDING)
    handler = models.CharField(max_length=120, blank=True, db_default="")
    recipient = models.CharField(max_length=320, blank=True, db_default="")
    subject = models.CharField(max_length=250, blank=True, db_default="")
    tries = models.PositiveIntegerField(default=0, db_default=0)
    last_error = models.CharField(max_length=500, blank=True, db_default="")
    next_try_at = models.DateTimeField(null=True)
    tried_since = models.DateTimeField(null=True)
    failed_at = models.DateTimeField(null=True)
    claimed_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["event", "name"], name="letter_once_for_an_event"),
            models.CheckConstraint(
                condition=models.Q(state=SENDING, sent_at__isnull=True) | models.Q(state=SENT, sent_at__isnull=False),
                name="letter_sent_at_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.event}: {self.state}"

    @property
    def is_late(self) -> bool:
        """Return whether an attempt failed and another one follows."""
        return self.status == DeliveryStatus.DELAYED

    @property
    def is_failed(self) -> bool:
        """Return whether the e-mail could not be delivered and is not tried again."""
        return self.status == DeliveryStatus.FAILED

    @property
    def status(self) -> DeliveryStatus:
        """Return the delivery status."""
        if self.state == SENT:
            return DeliveryStatus.SENT
        if self.failed_at is not None:
            return DeliveryStatus.FAILED
        return DeliveryStatus.SENDING if self.next_try_at is None else DeliveryStatus.DELAYED


def send(event: Event, name: str, letter: EmailMessage) -> bool:
    """Send an e-mail unless it was sent before; return whether it was sent now. Use it in slow handlers, without a transaction.

    Raises:
        RetryLater: if it could not be sent and is tried again.
        GaveUpError: if the address does not exist, or the attempts of three days have failed.
    """
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    row, _ = OutgoingMail.objects.get_or_create(
        event=event, name=name, defaults={"message_id": f"<{name}.{event.ref}@{host}>"}
    )
    if row.state == SENT:
        return False
    # recipient and subject are shown if the e-mail is not delivered
    row.handler, row.recipient = outbox.running.get(), ", ".join(letter.to)[:320]
    row.subject, row.tried_since = str(letter.subject)[:250], row.tried_since or timezone.now()
    row.save(update_fields=["handler", "recipient", "subject", "tried_since"])
    letter.extra_headers |= {"Message-ID": row.message_id, "Date": format_datetime(row.claimed_at)}
    try:
        with mail_server_reserved():
            letter.send()
    except RetryLater as later:
        raise _note_wait(row, later) from later
    except Exception as fault:  # every error is shown to the business, and the e-mail is tried again
        raise _note_failure(row, fault) from fault
    mark(row)
    return True


def mark(row: OutgoingMail) -> None:
    """Mark an e-mail as sent."""
    OutgoingMail.objects.filter(pk=row.pk).update(state=SENT, sent_at=timezone.now(), next_try_at=None, failed_at=None)


def _note_failure(row: OutgoingMail, fault: Exception) -> RetryLater | GaveUpError:
    """Store a failed attempt and return the exception for the task."""
    row.tries += 1
    pause = timedelta(seconds=_PAUSES[min(row.tries, len(_PAUSES)) - 1])
    return _note_next(row, timezone.now() + pause, _error_text(fault), is_final=_is_final(fault))


def _note_wait(row: OutgoingMail, later: RetryLater) -> RetryLater | GaveUpError:
    """Store that the server was not tried because it pauses, and return the exception for the task."""
    if later.due_at - timezone.now() <= PATIENCE:
        return later
    return _note_next(row, later.due_at, str(later), is_final=False)


def _note_next(row: OutgoingMail, next_attempt_at: datetime, error: str, *, is_final: bool) -> RetryLater | GaveUpError:
    is_over = is_final or next_attempt_at > (row.tried_since or timezone.now()) + TRIED_FOR
    row.next_try_at, row.last_error = None if is_over else next_attempt_at, error
    row.failed_at = timezone.now() if is_over else None
    row.save(update_fields=["tries", "next_try_at", "last_error", "failed_at"])
    return GaveUpError(error) if is_over else RetryLater(next_attempt_at, error, begun=False)


def _is_final(fault: Exception) -> bool:
    """Return whether the server reported that the recipient does not exist (5yz of RFC 5321), so that it is not tried again.

    >>> _is_final(smtplib.SMTPRecipientsRefused({"a@b.example": (550, b"no such user")})), _is_final(TimeoutError())
    (True, False)
    """
    if not isinstance(fault, smtplib.SMTPRecipientsRefused) or not fault.recipients:
        return False
    return all(code >= 500 for code, _ in fault.recipients.values())


def _error_text(fault: Exception) -> str:
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        text = "; ".join(f"{to}: {code} {_text(reply)}" for to, (code, reply) in fault.recipients.items())
    elif isinstance(fault, smtplib.SMTPResponseException):
        text = f"{fault.smtp_code} {_text(fault.smtp_error)}"
    else:
        text = "The mail server does not respond." if isinstance(fault, TimeoutError) else str(fault)
    return " ".join(text.split())[:500] or type(fault).__name__


def _text(reply: bytes | str) -> str:
    return reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply


# -- e-mails that are not delivered -----------------------------------------------------
def letters_about(business: Business, subjects: Iterable[str]) -> models.QuerySet[OutgoingMail]:
    """Return the e-mails for events with one of these subjects, newest first."""
    rows = OutgoingMail.objects.filter(event__business=business, event__subject__in=list(subjects))
    return rows.select_related("event").order_by("-id")


def undelivered(business: Business) -> models.QuerySet[OutgoingMail]:
    """Return the e-mails of a business that are delayed or could not be delivered, newest first."""
    waiting = models.Q(next_try_at__isnull=False) | models.Q(failed_at__isnull=False)
    return (
        OutgoingMail.objects.filter(waiting, state=SENDING, event__business=business)
        .select_related("event")
        .order_by("-id")
    )


@transaction.atomic
def send_again(letter: OutgoingMail, *, actor: Actor) -> None:
    """Try an undelivered e-mail again now, for another three days if it had failed. Ignore an e-mail that was sent."""
    row = OutgoingMail.objects.select_for_update(no_key=True, of=("self",)).select_related("event").get(pk=letter.pk)
    if row.state == SENT:
        return
    now = timezone.now()
    if row.failed_at:
        row.failed_at, row.tries, row.tried_since, row.last_error = None, 0, now, ""
    row.next_try_at = now
    row.save(update_fields=["failed_at", "tries", "tried_since", "last_error", "next_try_at"])
    tasks = OutboxTask.objects.filter(event=row.event, handler=row.handler).exclude(state=outbox.TaskState.DONE)
    tasks.update(state=outbox.TaskState.QUEUED, due_at=now, starts=0, lease="", leased_until=None)
    task_ids = list(tasks.values_list("pk", flat=True))
    if row.event.business is not None:
        audit_log.record(row.event.business, actor, "mail.sent_again", row.event.subject, {"letter": row.name})
    transaction.on_commit(lambda: runner.run_soon(task_ids), robust=True)
