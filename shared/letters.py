"""Letters by mail, each with a mark of its own: claimed before it is sent, so that a double is never a second letter.

Mail has no transaction: when a process dies after the server took a letter and before that was noted, nobody can know
whether it went. Such a letter is sent once more, with the same Message-ID and the same date, by which whoever receives it
twice can tell; one that is marked as sent never goes again.
"""

from __future__ import annotations

from email.utils import format_datetime
from typing import Final
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import models
from django.utils import timezone

from shared.outbox import Event

SENDING: Final = "sending"
SENT: Final = "sent"


class Letter(models.Model):
    """One letter that follows from an event; ``name`` tells those of one event apart."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="letters")
    name = models.CharField(max_length=40)
    message_id = models.CharField(max_length=255)
    state = models.CharField(max_length=7, choices=[(SENDING, "sending"), (SENT, "sent")], default=SENDING)
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


def send(event: Event, name: str, letter: EmailMessage) -> bool:
    """Sends a letter unless it went already; says whether it was sent now. For slow handlers: no transaction is open there."""
    row, _ = Letter.objects.get_or_create(
        event=event, name=name, defaults={"message_id": f"<{name}.{event.ref}@{_host()}>"}
    )
    if row.state == SENT:
        return False
    letter.extra_headers |= {"Message-ID": row.message_id, "Date": format_datetime(row.claimed_at)}
    letter.send()
    mark(row)
    return True


def mark(row: Letter) -> None:
    """Notes that a letter went."""
    Letter.objects.filter(pk=row.pk).update(state=SENT, sent_at=timezone.now())


def _host() -> str:
    """Our own name, as a Message-ID ends in; never the machine's."""
    return urlsplit(settings.PUBLIC_URL).hostname or "localhost"
