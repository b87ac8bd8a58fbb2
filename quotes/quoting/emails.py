"""E-mails about quotes, and their delivery status. Each is plain text for one recipient, without data of other parties."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from email.utils import formataddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import QuerySet

from quotes.quoting.models import Party, PartyResponse, Question, Revision, SignedLink
from quotes.quoting.signed_links import address_of
from shared.background.outgoing_mail import DeliveryStatus, OutgoingMail, letters_about
from shared.common.dates import write_day, write_moment
from shared.models import Business


def quote_letter(link: SignedLink) -> EmailMessage:
    """Return the e-mail with the link to a quote and its last day."""
    revision, business = link.revision, link.business
    word = "variation" if revision.kind == "variation" else "quote"
    text = (
        f"Dear {link.party.name},\n\n"
        f"here is your {word} {revision} for {revision.quote.label}:\n\n{address_of(link)}\n\n"
        f"It is valid until {_last_day(revision)}. On that page you can read it, ask a question, accept it or decline "
        f"it. The link is personal. Do not forward it.\n\n{signature(business)}"
    )
    return to_party(link.party, f"Your {word} {revision.quote.number} from {business.name}", text)


def reminder_letter(link: SignedLink) -> EmailMessage:
    """Return the reminder before the last day of a quote."""
    revision = link.revision
    text = (
        f"Dear {link.party.name},\n\n"
        f"quote {revision} for {revision.quote.label} is valid until {_last_day(revision)}. "
        f"You can still accept or decline it here:\n\n{address_of(link)}\n\n{signature(link.business)}"
    )
    return to_party(link.party, f"Quote {revision.quote.number} expires on {_last_day(revision)}", text)


def reply_letter(question: Question, link: SignedLink | None) -> EmailMessage:
    """Return the e-mail to a party with its question and the answer."""
    where = f"\n\nYour quote: {address_of(link)}" if link else ""
    text = f"Dear {question.party.name},\n\nyou asked:\n\n{question.text}\n\n{question.reply}{where}\n\n"
    return to_party(
        question.party, f"About quote {question.revision.quote.number}", text + signature(question.business)
    )


def question_letter(question: Question) -> EmailMessage:
    """Return the e-mail to the business about a customer's question."""
    text = f"{question.party.name} asks about {question.revision}:\n\n{question.text}\n"
    return _to_business(question.business, f"Question about {question.revision.quote.number}", text)


def answer_letter(answer: PartyResponse, revision: Revision) -> EmailMessage:
    """Return the e-mail to the business about a party's response."""
    word = "accepted" if answer.accepted else "declined"
    reason = f"\n\nReason given: {answer.reason}" if answer.reason else ""
    text = f"{answer.party.name} {word} {revision} as {answer.name} on {write_moment(answer.responded_at)}.{reason}\n"
    return _to_business(revision.business, f"{revision.quote.number} {word} by {answer.party.name}", text)


def _last_day(revision: Revision) -> str:
    return write_day(revision.valid_until) if revision.valid_until else ""


def signature(business: Business) -> str:
    """Return the closing lines of an e-mail from a business to a customer."""
    return "\n".join(filter(None, ("Kind regards", business.name, business.phone, business.email))) + "\n"


def to_party(party: Party, subject: str, text: str) -> EmailMessage:
    """Return an e-mail from the business to a party; replies go to the business."""
    business = party.business
    sender = formataddr((_one_line(business.name), settings.DEFAULT_FROM_EMAIL))
    reply_to = [business.email] if business.email else None
    return EmailMessage(
        _one_line(subject), text, sender, [formataddr((_one_line(party.name), party.email))], reply_to=reply_to
    )


def _to_business(business: Business, subject: str, text: str) -> EmailMessage:
    return EmailMessage(_one_line(subject), text, settings.DEFAULT_FROM_EMAIL, [business.email])


def _one_line(subject: str) -> str:
    return " ".join(subject.split())[:200]


KINDS = frozenset({"link.issued", "party.remind", "party.answered", "question.asked", "question.answered"})
"""Events that cause e-mails about quotes."""


def _subjects(business: Business) -> tuple[QuerySet[Any], ...]:
    """Return the records that e-mails are about, without revoked links."""
    links = SignedLink.objects.of(business).filter(revoked_at=None)
    return links, *(model.objects.of(business) for model in (Party, Question, PartyResponse))


def letters_of(revision: Revision) -> list[OutgoingMail]:
    """Return the e-mails about a revision, newest first, without those with a revoked link."""
    rows = (rows.filter(revision=revision).values_list("ref", flat=True) for rows in _subjects(revision.business))
    letters = letters_about(revision.business, [ref for refs in rows for ref in refs])
    return list(letters.filter(event__kind__in=KINDS)[:200])


def delivery_of(business: Business, links: Collection[str]) -> dict[str, tuple[DeliveryStatus, str]]:
    """Return the delivery status and the last error of the e-mail with each link, by the link's ref.

    A link is missing from the result if its e-mail was not tried yet.
    """
    letters = letters_about(business, links).filter(event__kind="link.issued")
    return {letter.event.subject: (letter.status, letter.last_error) for letter in letters}


def revisions_of(business: Business, letters: Iterable[OutgoingMail]) -> dict[str, str]:
    """Return the revision's ref of each e-mail by the subject of its event, without those of revoked links."""
    subjects = [letter.event.subject for letter in letters if letter.event.kind in KINDS]
    found: dict[str, str] = {}
    for rows in _subjects(business):
        found.update(rows.filter(ref__in=subjects).values_list("ref", "revision__ref"))
    return found
