"""Tasks on the start page, collected from all apps, and undelivered e-mails with the page that sends them again.

Lists are limited to what the person has access to.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import F, Q
from django.urls import reverse
from django.utils import timezone

from quotes.documents.models import Document
from quotes.jobs import queries as jobs
from quotes.jobs.models import Job, JobState
from quotes.office.navigation import address
from quotes.purchasing import delivery_queries
from quotes.purchasing import queries as orders
from quotes.purchasing.order_models import OrderState, SupplierOrder
from quotes.quoting import queries as offers
from quotes.quoting.emails import KINDS, revisions_of
from quotes.quoting.models import PartyResponseStatus, Revision
from quotes.quoting.models import RevisionState as QuoteState
from quotes.quoting.queries import awaiting_answer
from shared.background.outgoing_mail import OutgoingMail, undelivered
from shared.business.actors import Actor
from shared.business.business_owned import OwnedQuerySet
from shared.business.roles import Scope
from shared.common.dates import today, write_day
from shared.members.mail_test import REQUESTED
from shared.models import Business

MAX = 12
COMING = (OrderState.PLACED, OrderState.ACKNOWLEDGED, OrderState.DESPATCHED)
SHOWN_FOR = timedelta(days=14)
"""Time a failed e-mail stays on Today."""


@dataclass(frozen=True, slots=True)
class TodayItem:
    """One thing to look at: where it leads, what it is, what is known, what it wants."""

    address: str
    name: str
    fact: str
    now: str
    live: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    key: str
    heading: str
    rows: tuple[TodayItem, ...]
    more: int = 0


def today_groups(business: Business, actor: Actor) -> list[Group]:
    """Everything that waits, the most urgent first; groups without rows are left out."""
    groups = []
    if actor.may(Scope.QUOTES_WRITE):
        groups.append(_group("mail", "Mail not delivered", undelivered_rows(business, MAX + 1)))
    if actor.may(Scope.QUOTES_READ):
        groups += [questions(business), answers(business), waiting(business)]
    if actor.may(Scope.MEASURES_READ):
        groups += [drafts(business), unpriced(business)]
    if actor.may(Scope.ORDERS_READ):
        groups += [to_order(business), replies(business), orders_wanting(business)]
    if actor.may(Scope.DELIVERIES_READ):
        groups.append(due(business))
    if actor.may(Scope.SET_OUT_READ):
        groups.append(to_build(business))
    return [group for group in groups if group.rows]


def questions(business: Business) -> Group:
    """Questions of customers without an answer."""
    rows = offers.questions(business).filter(replied_at=None).select_related("party", "revision__quote__job")
    found = [
        TodayItem(reverse("job", args=[job.ref]), row.text[:120], f"{row.party.name}, {job}", "answer", live=True)
        for row in rows.order_by("id")[: MAX + 1]
        for job in (row.revision.quote.job,)
    ]
    return _group("questions", "Customer questions", found)


def answers(business: Business) -> Group:
    """Return quotes declined in the last two weeks, and quotes that only some parties have accepted."""
    since = timezone.now() - timedelta(days=14)
    rows = offers.revisions(business, {"status": QuoteState.DECLINED}).filter(closed_at__gte=since)
    found = [_quote(row, "declined", live=True) for row in _whole(rows)]
    return _group("answers", "Declined quotes", found)


def waiting(business: Business) -> Group:
    """Return sent quotes without a response, the first to expire at the top."""
    rows = awaiting_answer(business).order_by("valid_until", "id")
    day = today(business)
    return _group("waiting", "Quotes awaiting a response", [_waiting(row, day) for row in _whole(rows)])


def _waiting(row: Revision, day: date) -> TodayItem:
    parties = list(offers.parties(row).values_list("response", flat=True))
    yes = sum(answer == PartyResponseStatus.ACCEPTED for answer in parties)
    left = (row.valid_until - day).days if row.valid_until else None
    progress = f"{yes} of {len(parties)} accepted" if yes else "no response yet"
    until = (
        ""
        if left is None
        else f", {left} days left"
        if left > 1
        else ", expires tomorrow"
        if left == 1
        else ", expires today"
    )
    return _quote(row, progress + until, live=left is not None and left <= 3)


def drafts(business: Business) -> Group:
    """Return measures with a draft that is not saved as a version."""
    rows = (
        jobs.measures(business).exclude(draft_at=None).filter(job__state=JobState.OPEN).select_related("job__customer")
    )
    found = [
        TodayItem(
            reverse("measure", args=[row.ref]),
            row.label,
            f"{row.job.number}, {row.job.customer.name}",
            f"{len(row.draft_errors)} error{'s' * (len(row.draft_errors) > 1)}"
            if row.draft_errors
            else "ready to save",
        )
        for row in rows.order_by("-draft_at")[: MAX + 1]
    ]
    return _group("drafts", "Unfinished measures", found)


def unpriced(business: Business) -> Group:
    """Return measured jobs without a quote."""
    rows = jobs.jobs(business, {"status": JobState.OPEN}).filter(measures__latest_version__gt=0, quotes=None).distinct()
    found = [
        TodayItem(_page("job-price", row), str(row), row.customer.name, "create quote")
        for row in rows.select_related("customer").order_by("id")[: MAX + 1]
    ]
    return _group("unpriced", "Ready to quote", found)


def to_order(business: Business) -> Group:
    """Return accepted jobs without an order."""
    rows = jobs.jobs(business, {"status": JobState.ACCEPTED}).filter(order_parts=None)
    found = [
        TodayItem(_page("job-orders", row), str(row), row.customer.name, "order materials", live=True)
        for row in rows.select_related("customer").order_by("id")[: MAX + 1]
    ]
    return _group("to-order", "Materials to order", found)


def _page(name: str, job: Job) -> str:
    """Return the address of a page of a job, or of the job itself if no app has that page."""
    return address(name, job.ref) or reverse("job", args=[job.ref])


def replies(business: Business) -> Group:
    """Lines a supplier would change, each order once: they wait for a yes or no."""
    rows = (
        orders.orders(business)
        .filter(state__in=COMING, lines__replies__decision="waiting")
        .select_related("supplier")
        .distinct()
    )
    found = [_order(row, "accept or reject", live=True) for row in rows.order_by("id")[: MAX + 1]]
    return _group("replies", "Supplier changes to approve", found)


def due(business: Business) -> Group:
    """Deliveries that are on the way or whose day has come, and that were not counted."""
    now = today(business)
    rows = delivery_queries.due(business, now).select_related("supplier").order_by("promised_on", "id")
    return _group("due", "Deliveries due", [_delivery(row, now) for row in rows[: MAX + 1]])


def _delivery(row: SupplierOrder, today: date) -> TodayItem:
    day = row.promised_on
    now = "on the way" if day is None or day > today else "today" if day == today else "late"
    name = f"{row.number} {row.supplier.name}"
    return TodayItem(reverse("delivery", args=[row.ref]), name, row.get_state_display(), now, live=now != "on the way")


def to_build(business: Business) -> Group:
    """Return accepted jobs to build, earliest preferred date first, with site and state of the materials."""
    rows = jobs.jobs(business, {"status": JobState.ACCEPTED}).select_related("site", "customer")
    found = list(rows.order_by(F("preferred_on").asc(nulls_last=True), "id")[: MAX + 1])
    material = delivery_queries.material_of(business, found)
    return _group("to-build", "Jobs to build", [_to_build(job, material[job.pk]) for job in found])


def _to_build(job: Job, material: delivery_queries.Material) -> TodayItem:
    place = ", ".join(part for part in (job.site.address, job.site.city) if part)
    day = "" if job.preferred_on is None else f", preferred {write_day(job.preferred_on)}"
    return TodayItem(_page("job-build", job), str(job), f"{place}{day}", material.text(), live=material.is_here)


def _order(row: SupplierOrder, now: str, *, live: bool = False) -> TodayItem:
    leads = address("order", row.ref) or reverse("today")
    return TodayItem(leads, f"{row.number} {row.supplier.name}", row.get_state_display(), now, live)


def orders_wanting(business: Business) -> Group:
    """Orders not sent yet, and those a supplier has not acknowledged."""
    rows = orders.orders(business).filter(state__in=(OrderState.DRAFT, OrderState.PLACED)).select_related("supplier")
    found = [
        _order(row, "place order" if row.state == OrderState.DRAFT else "not acknowledged")
        for row in rows.order_by("id")[: MAX + 1]
    ]
    return _group("orders", "Orders to place or confirm", found)


def _quote(row: Revision, now: str, *, live: bool = False) -> TodayItem:
    job = row.quote.job
    return TodayItem(
        reverse("job", args=[job.ref]),
        f"{row.quote.number} {row.quote.label}",
        f"{job.number}, {job.customer.name}",
        now,
        live,
    )


def _whole(rows: OwnedQuerySet[Revision]) -> list[Revision]:
    return list(rows.select_related("quote__job__customer", "business")[: MAX + 1])


def _group(key: str, heading: str, found: list[TodayItem]) -> Group:
    return Group(key, heading, tuple(found[:MAX]), max(0, len(found) - MAX))


def undelivered_rows(business: Business, most: int) -> list[TodayItem]:
    """Return a row for each letter that could not be delivered, or not yet; given-up ones first."""
    recent = Q(failed_at=None) | Q(failed_at__gte=timezone.now() - SHOWN_FOR)
    letters = sorted(undelivered(business).filter(recent)[:200], key=lambda item: not item.is_failed)
    places = _places(business, letters)
    found = [
        TodayItem(
            places[letter.event.subject],
            letter.subject or "E-mail",
            letter.recipient,
            "could not be delivered" if letter.is_failed else "not delivered yet",
            live=letter.is_failed,
        )
        for letter in letters
        if letter.event.subject in places
    ]
    return found[:most]


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
