"""Background tasks of quotes: e-mails, reminders, expiry. Each may run twice and has one effect."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from quotes.jobs.document_text import parsed
from quotes.jobs.measure_services import save_measure
from quotes.quoting import emails, models
from quotes.quoting.build_pricing import changed_document
from quotes.quoting.content import BASE
from quotes.quoting.customer_responses import expire_if_due
from quotes.quoting.draft_setup import setup_of
from quotes.quoting.queries import content_and_choices
from quotes.quoting.totals import build_of
from shared.background import outgoing_mail
from shared.background.events import publish_event
from shared.background.outbox import Event, Finish, on_event, run_every
from shared.business.actors import SYSTEM
from shared.common.dates import latest_day_anywhere, today

REMIND_BEFORE = timedelta(days=3)


@on_event("link.issued", name="quoting.mail_link", slow=True)
def mail_link(event: Event) -> Finish | None:
    """E-mail a party its link, unless the link is revoked or already sent, or the party has no address."""
    link = _links().filter(ref=event.subject).first()
    if link is None or link.revoked_at or link.mailed_at or not link.party.email:
        return None
    if link.revision.state not in {models.RevisionState.SENT, models.RevisionState.ACCEPTED}:
        return None
    outgoing_mail.send(event, "quote", emails.quote_letter(link))

    def finish() -> None:
        models.SignedLink.objects.of(link.business).filter(pk=link.pk, mailed_at=None).update(mailed_at=timezone.now())

    return finish


@on_event("party.remind", name="quoting.mail_reminder", slow=True)
def mail_reminder(event: Event) -> None:
    """E-mail a reminder to a party that has not responded and still can."""
    link = _links().filter(party__ref=event.subject, revoked_at=None).first()
    if (
        link
        and link.party.email
        and link.party.response == models.PartyResponseStatus.PENDING
        and link.revision.state == models.RevisionState.SENT
    ):
        outgoing_mail.send(event, "reminder", emails.reminder_letter(link))


@on_event("question.asked", name="quoting.mail_question", slow=True)
def mail_question(event: Event) -> None:
    """E-mail the business a customer's question."""
    question = _questions().filter(ref=event.subject).first()
    if question and question.business.email:
        outgoing_mail.send(event, "question", emails.question_letter(question))


@on_event("question.answered", name="quoting.mail_reply", slow=True)
def mail_reply(event: Event) -> None:
    """E-mail the party the answer to its question."""
    question = _questions().filter(ref=event.subject).first()
    if question and question.party.email:
        link = _links().filter(party=question.party, revoked_at=None).first()
        outgoing_mail.send(event, "reply", emails.reply_letter(question, link))


@on_event("party.answered", name="quoting.mail_response", slow=True)
def mail_response(event: Event) -> None:
    """E-mail the business a party's response. The documents app sends the party its acceptance record."""
    rows = models.PartyResponse.unscoped  # unscoped: an event of its own business identifies it
    related = ("party__business", "revision__quote", "revision__business")
    answer = rows.select_related(*related).filter(ref=event.subject).first()
    if answer and answer.revision.business.email:
        outgoing_mail.send(event, "answer", emails.answer_letter(answer, answer.revision))


@on_event("quote.accepted", name="quoting.save_chosen_measure")
def save_chosen_measure(event: Event) -> None:
    """Save the measure of a chosen alternative as the next version, so that later changes start from it."""
    rows = models.Revision.unscoped.select_related("measure_version__measure__job", "business")  # unscoped: by event
    revision = rows.get(ref=event.subject)
    build = build_of(*content_and_choices(revision))
    if build.key != BASE:
        typed = parsed(revision.measure_version.document)
        chosen = next(row for row in setup_of(revision).alternatives if row.key == build.key)
        measure = revision.measure_version.measure
        save_measure(measure=measure, document=changed_document(typed, chosen.changes()), actor=SYSTEM)


@run_every(timedelta(minutes=30), name="quoting.expire_quotes")
def expire_quotes() -> None:
    """Expire every revision whose last day is over in the business's time zone."""
    now = timezone.now()
    for revision in _ending_within(timedelta(0)):
        expire_if_due(revision, now)


@run_every(timedelta(hours=1), name="quoting.send_due_reminders")
def send_due_reminders() -> None:
    """Queue one reminder for each party without a response a few days before the last day."""
    for revision in _ending_within(REMIND_BEFORE):
        for party in models.Party.objects.of(revision.business).filter(
            revision=revision, response=models.PartyResponseStatus.PENDING
        ):
            remind(party)


@transaction.atomic
def remind(party: models.Party) -> None:
    """Queue the reminder of a party, once."""
    rows = models.Party.objects.of(party.business).filter(pk=party.pk, reminded_at=None)
    if rows.update(reminded_at=timezone.now()):
        publish_event("party.remind", party.ref, business=party.business)


def _ending_within(span: timedelta) -> Iterator[models.Revision]:
    """Yield sent revisions whose last day is at most ``span`` away in the business's time zone."""
    rows = models.Revision.unscoped.select_related(
        "quote__job", "business"
    )  # unscoped: the routine serves every business
    latest = latest_day_anywhere() + span
    for row in rows.filter(
        state=models.RevisionState.SENT, valid_until__lte=latest, business__suspended_at=None
    ).iterator():
        if row.valid_until and row.valid_until <= today(row.business) + span:
            yield row


def _links() -> QuerySet[models.SignedLink]:
    return models.SignedLink.unscoped.select_related(  # unscoped: an event of its own business identifies it
        "party__business", "revision__quote", "business"
    )


def _questions() -> QuerySet[models.Question]:
    return models.Question.unscoped.select_related(  # unscoped: an event of its own business identifies it
        "party__business", "revision__quote", "business"
    )
