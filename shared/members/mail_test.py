"""Test e-mail to the address of a business, to check that responses of customers arrive."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from shared.background.events import publish_event
from shared.background.outbox import Event
from shared.background.outgoing_mail import OutgoingMail, letters_about
from shared.business.actors import Actor
from shared.business.models import Business
from shared.database import audit_log
from shared.web import rate_limit

REQUESTED = "mail.test"
_AN_HOUR_S, _AN_HOUR = 3600, 10


@dataclass(frozen=True, slots=True)
class MailState:
    """State of a business's e-mail: whether there is a server, whether a test succeeded, and the last test e-mail."""

    has_server: bool
    is_tested: bool
    letter: OutgoingMail | None


@transaction.atomic
def send_test_letter(*, business: Business, actor: Actor) -> None:
    """Send a test e-mail to the business's own address. Raise InvalidDocument after ten in an hour."""
    status = rate_limit.count(f"business:{business.ref}", policy="test-letter", quota=_AN_HOUR, window_s=_AN_HOUR_S)
    if status.exceeded:
        raise InvalidDocument(
            [Fault("", "mail.many", f"{_AN_HOUR} test e-mails were sent in this hour. Wait for the next hour.")]
        )
    publish_event(REQUESTED, business.ref, business=business)
    audit_log.record(business, actor, REQUESTED, f"business:{business.ref}", {"email": business.email})


def test_letter(business: Business) -> EmailMessage:
    """Return the test e-mail."""
    text = (
        f"This is the test e-mail of {business.name}.\n\nE-mails reach this address: questions and responses of your customers "
        f"are sent here.\n\n{settings.PUBLIC_URL}/settings\n"
    )
    return EmailMessage("Test e-mail", text, None, [business.email])


def note_tested(event: Event, address: str) -> None:
    """Store that e-mails to this address arrive, unless the business has another address now."""
    Business.objects.filter(ref=event.subject, email=address).update(mail_tested_at=timezone.now())


def mail_state(business: Business) -> MailState:
    """Return the state of a business's e-mail."""
    letter = letters_about(business, [business.ref]).filter(event__kind=REQUESTED).first()
    has_server = not settings.EMAIL_BACKEND.endswith("console.EmailBackend")
    return MailState(has_server, business.mail_tested_at is not None, letter)
