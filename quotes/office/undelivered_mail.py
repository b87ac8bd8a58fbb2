"""Letters that did not arrive, as Today shows them: each leads to where it can be sent again."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from quotes.documents.models import Document
from quotes.office.list_rows import TodayItem
from quotes.office.navigation import address
from quotes.quoting.emails import KINDS, revisions_of
from shared.background.outgoing_mail import OutgoingMail, undelivered
from shared.members.mail_test import REQUESTED
from shared.models import Business

SHOWN_FOR = timedelta(days=14)
"""Time a failed e-mail stays on Today."""


def undelivered_rows(business: Business, most: int) -> list[TodayItem]:
    """Return a row for each letter that could not be delivered, or not yet; given-up ones first."""
    recent = Q(failed_at=None) | Q(failed_at__gte=timezone.now() - SHOWN_FOR)
    letters = sorted(undelivered(business).filter(recent)[:200], key=lambda item: not item.is_failed)
    places = _places(business, letters)
    return [_row(letter, places[letter.event.subject]) for letter in letters if letter.event.subject in places][:most]


def _places(business: Business, letters: list[OutgoingMail]) -> dict[str, str]:
    """Return the page each letter belongs to, by the subject of its event; letters whose link was ended have none."""
    revisions = revisions_of(business, letters)
    lists = (
        Document.objects.of(business).filter(ref__in=[letter.event.subject for letter in letters]).exclude(subject="")
    )
    orders = dict(lists.values_list("ref", "subject"))
    places = {}
    for letter in letters:
        subject = letter.event.subject
        if subject in revisions:
            places[subject] = reverse("revision", args=[revisions[subject]])
        elif subject in orders:
            places[subject] = address("order", orders[subject]) or reverse("today")
        elif letter.event.kind not in KINDS:
            places[subject] = reverse("settings" if letter.event.kind == REQUESTED else "members")
    return places


def _row(letter: OutgoingMail, place: str) -> TodayItem:
    state = "could not be delivered" if letter.is_failed else "not delivered yet"
    return TodayItem(place, letter.subject or "E-mail", letter.recipient, state, live=letter.is_failed)
