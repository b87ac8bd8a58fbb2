"""Delivery status of e-mails about a quote: sent, still trying or failed."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from quotes.quoting.models import Party, PartyResponse, Question, Revision, SignedLink
from shared.background.outgoing_mail import DeliveryStatus, OutgoingMail, letters_about
from shared.models import Business

KINDS = frozenset({"link.issued", "party.remind", "party.answered", "question.asked", "question.answered"})
"""Events that cause e-mails about quotes."""


def letters_of(revision: Revision) -> list[OutgoingMail]:
    """Return the e-mails about a revision, newest first, without those with a revoked link."""
    business = revision.business
    subjects = [
        *SignedLink.objects.of(business).filter(revision=revision, revoked_at=None).values_list("ref", flat=True),
        *Party.objects.of(business).filter(revision=revision).values_list("ref", flat=True),
        *Question.objects.of(business).filter(revision=revision).values_list("ref", flat=True),
        *PartyResponse.objects.of(business).filter(revision=revision).values_list("ref", flat=True),
    ]
    return list(letters_about(business, subjects).filter(event__kind__in=KINDS)[:200])


def letter_to(link: SignedLink | None, letters: Iterable[OutgoingMail]) -> OutgoingMail | None:
    """Return the e-mail with a link; None if there is none yet."""
    if link is None:
        return None
    return next((letter for letter in letters if letter.event.subject == link.ref), None)


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
    links = SignedLink.objects.of(business).filter(ref__in=subjects, revoked_at=None)
    for rows in (
        links,
        Party.objects.of(business).filter(ref__in=subjects),
        Question.objects.of(business).filter(ref__in=subjects),
        PartyResponse.objects.of(business).filter(ref__in=subjects),
    ):
        found.update(rows.values_list("ref", "revision__ref"))
    return found
