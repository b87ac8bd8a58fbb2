"""The test letter: until one was sent to the address of a business, nobody knows whether answers of customers reach it."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from shared.background.outbox import Event, publish_event
from shared.background.outgoing_mail import OutgoingMail, letters_about
from shared.business.actors import Actor
from shared.business.models import Business
from shared.database import audit_log
from shared.web import rate_limit

ASKED = "mail.test"
_AN_HOUR_S, _AN_HOUR = 3600, 10


@dataclass(frozen=True, slots=True)
class MailState:
    """What is known of a business's mail: whether there is a server, whether a letter got through, and the last try."""

    has_server: bool
    is_tested: bool
    letter: OutgoingMail | None


@transaction.atomic
def send_test_letter(*, business: Business, actor: Actor) -> None:
    """Send a letter to the business's own address; refused after ten in an hour."""
    standing = rate_limit.count(f"business:{business.ref}", policy="test-letter", quota=_AN_HOUR, window_s=_AN_HOUR_S)
    if standing.exceeded:
        raise InvalidDocument(
            [Fault("", "mail.many", f"{_AN_HOUR} test letters were sent in this hour; wait for the next.")]
        )
    publish_event(ASKED, business.ref, business=business)
    audit_log.record(business, actor, ASKED, f"business:{business.ref}", {"email": business.email})


def test_letter(business: Business) -> EmailMessage:
    """Return the letter itself."""
    text = (
        f"This is the test letter of {business.name}.\n\nMail reaches this address: questions and answers of your customers "
        f"come here.\n\n{settings.PUBLIC_URL}/settings\n"
    )
    return EmailMessage("Test letter", text, None, [business.email])


def note_tested(event: Event, address: str) -> None:
    """Note that mail to this address works; not if the business has another one by now."""
    Business.objects.filter(ref=event.subject, email=address).update(mail_tested_at=timezone.now())


def mail_state(business: Business) -> MailState:
    """Return what is known of a business's mail."""
    letter = letters_about(business, [business.ref]).filter(event__kind=ASKED).first()
    has_server = not settings.EMAIL_BACKEND.endswith("console.EmailBackend")
    return MailState(has_server, business.mail_tested_at is not None, letter)
