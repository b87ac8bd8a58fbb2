"""Actions on a signed link: read, accept, decline, ask. Concurrent requests give exactly one outcome."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import JobState
from quotes.jobs.services import move_job, note_event
from quotes.quoting import models
from quotes.quoting.content import Content, read_content
from quotes.quoting.json_values import JsonObject
from quotes.quoting.party_documents import PartyView, Receipt, party_view, pays_for_choices, receipt_of
from quotes.quoting.queries import reason_closed
from quotes.quoting.services import close_revision, lock_quote
from quotes.quoting.signed_links import hashed
from quotes.quoting.totals import Choices, read_choices, sums
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.common.dates import local_day
from shared.common.problems import Problem
from shared.database import audit_log

NEUTRAL = "This link is no longer valid. Ask the business for a new one."


def link_of(token: str) -> models.SignedLink:
    """Return the live link of a token. Raise 410 for an unknown, revoked or expired link, with the same text for each."""
    rows = models.SignedLink.unscoped.select_related(  # unscoped: the token identifies one party of one business
        "party", "revision__quote__job", "business"
    )
    link = rows.filter(token_sha256=hashed(token)).first() if len(token) == 43 and token.isascii() else None
    if link is None or link.revoked_at or link.expires_at <= timezone.now() or link.business.suspended:
        raise Problem("gone", NEUTRAL)
    if link.content_sha256 != link.revision.content_sha256:
        raise Problem("gone", NEUTRAL)
    return link


def open_link(token: str, choices: JsonObject | None = None) -> PartyView:
    """Return the view of this party with the totals of the requested choices. Expire the quote first if it is due."""
    link = link_of(token)
    if link.opened_at is None:
        models.SignedLink.objects.of(link.business).filter(pk=link.pk, opened_at=None).update(opened_at=timezone.now())
    expire_if_due(link.revision, timezone.now())
    return party_view(link.revision, link.party, choices)


@transaction.atomic
def accept(
    *, token: str, name: str, content_sha256: str, choices: JsonObject | None = None, now: datetime | None = None
) -> Receipt:
    """Accept this party's part. A repeated request gives the same receipt; a late one, or one for other content, gives 409."""
    now = now or timezone.now()
    revision, party, done = _enter(token, now)
    if done is not None:
        return _repeat_response(done, revision, accepted=True)
    _check_open(revision)
    if content_sha256 != revision.content_sha256:
        raise Problem("conflict", "The quote has changed since you opened it. Open your link again and read it.")
    content = read_content(revision.content)
    chosen = _accepted_choices(revision, party, content, choices)
    whole = sums(content, chosen)
    answer = _answer(party, name, now, whole.parties[party.key].total, accepted=True, choices=chosen.document())
    if party.chooses_options and revision.state == models.RevisionState.SENT:
        revision.choices = chosen.document()
        revision.net, revision.tax, revision.total = whole.net, whole.tax, whole.total
        revision.save(update_fields=["choices", "net", "tax", "total"])
    _note(revision, party, "quote.part_accepted", f"{party.name} accepted {revision}.", answer)
    waiting = revision.parties.filter(must_accept=True).exclude(response=models.PartyResponseStatus.ACCEPTED)
    if not waiting.exists():
        _conclude(revision, now)
    _record(revision, party, "quote.part_accepted", answer)
    return receipt_of(answer, revision, is_new=True)


@transaction.atomic
def decline(*, token: str, name: str, reason: str = "", now: datetime | None = None) -> Receipt:
    """Decline the quote. If a required party declines, the revision is closed. A repeated request gives the same receipt."""
    now = now or timezone.now()
    revision, party, done = _enter(token, now)
    if done is not None:
        return _repeat_response(done, revision, accepted=False)
    _check_open(revision)
    content = read_content(revision.content)
    own = sums(content, read_choices(content, revision.choices)).parties[party.key]
    answer = _answer(party, name, now, own.total, accepted=False, reason=reason[:2_000])
    _note(revision, party, "quote.declined", f"{party.name} declined {revision}.", answer)
    if party.must_accept:
        close_revision(revision, models.RevisionState.DECLINED, now)
        publish_event("quote.declined", revision.ref, business=revision.business)
    _record(revision, party, "quote.declined", answer)
    return receipt_of(answer, revision, is_new=True)


@transaction.atomic
def ask(*, token: str, text: str) -> models.Question:
    """Store a question to the business; the same text again is the same question."""
    link = link_of(token)
    rows = models.Question.objects.of(link.business).filter(party=link.party)
    asked = rows.filter(text=text, replied_at=None).first()
    if asked is not None:
        return asked
    if rows.count() >= 50:
        raise Problem("conflict", "You have reached the limit for questions. Please call us.")
    question = models.Question.objects.of(link.business).create(party=link.party, revision=link.revision, text=text)
    actor = customer(link.party)
    note_event(job=link.revision.quote.job, kind="quote.asked", text=f"{link.party.name} asks: {text}", actor=actor)
    publish_event("question.asked", question.ref, business=link.business)
    audit_log.record(link.business, actor, "question.asked", f"question:{question.ref}")
    return question


@transaction.atomic
def reply(*, question: models.Question, text: str, actor: Actor, now: datetime | None = None) -> models.Question:
    """Answer a question. The party reads the answer on its page and gets it by e-mail."""
    if question.replied_at is not None:
        raise Problem("conflict", "This question is answered already.")
    question.reply, question.replied_at, question.replied_by = text, now or timezone.now(), actor.name[:160]
    question.save(update_fields=["reply", "replied_at", "replied_by"])
    job = question.revision.quote.job
    note_event(job=job, kind="quote.replied", text=f"Answer to {question.party.name}: {text}", actor=actor)
    publish_event("question.answered", question.ref, business=question.business)
    audit_log.record(question.business, actor, "question.answered", f"question:{question.ref}")
    return question


@transaction.atomic
def expire_if_due(revision: models.Revision, now: datetime) -> bool:
    """Expire a sent revision after its last day. Return whether it expired now."""
    if revision.state != models.RevisionState.SENT or not _is_over(revision, now):
        return False
    lock_quote(revision.quote)
    if not close_revision(revision, models.RevisionState.EXPIRED, now):
        revision.refresh_from_db()
        return False
    system = Actor("system", "", "the system", business=revision.business)
    note_event(job=revision.quote.job, kind="quote.expired", text=f"{revision} expired.", actor=system)
    publish_event("quote.expired", revision.ref, business=revision.business)
    return True


def _is_over(revision: models.Revision, now: datetime) -> bool:
    return revision.valid_until is not None and local_day(revision.business, now) > revision.valid_until


def customer(party: models.Party) -> Actor:
    """Return the actor of a party with a signed link, for the history and the audit log."""
    return Actor("customer", party.ref, party.name, business=party.business)


def _enter(token: str, now: datetime) -> tuple[models.Revision, models.Party, models.PartyResponse | None]:
    """Lock the quote of a token. Return its revision, its party and the party's earlier response."""
    link = link_of(token)
    quote = lock_quote(link.revision.quote)
    revisions = (
        models.Revision.objects.of(quote.business)
        .select_for_update(no_key=True, of=("self",))
        .select_related("business")
    )
    revision = revisions.get(pk=link.revision_id)
    links = models.SignedLink.objects.of(quote.business).select_for_update(no_key=True, of=("self",))
    if links.filter(pk=link.pk, revoked_at=None).first() is None:  # revoked while waiting for the quote
        raise Problem("gone", NEUTRAL)
    revision.quote = quote
    party = models.Party.objects.of(quote.business).get(pk=link.party_id)
    party.revision = revision
    done = models.PartyResponse.objects.of(quote.business).filter(party=party).first()
    if done is None and revision.state == models.RevisionState.SENT and _is_over(revision, now):
        raise Problem("conflict", "This quote has expired. Ask the business for a new one.")
    return revision, party, done


def _check_open(revision: models.Revision) -> None:
    # a job has one accepted quote, also with concurrent requests: lock_quote has locked the job's row
    if reason := reason_closed(revision, revision.quote.job):
        raise Problem("conflict", reason)


def _accepted_choices(
    revision: models.Revision, party: models.Party, content: Content, asked: JsonObject | None
) -> Choices:
    """Return the choices that a party accepts: its own if it chooses, otherwise the stored choices.

    Once accepted, the choices are the same for all parties.
    """
    if party.chooses_options and revision.state == models.RevisionState.SENT:
        return read_choices(content, asked)
    if (
        revision.state == models.RevisionState.SENT
        and revision.choices is None
        and pays_for_choices(content, party.key)
    ):
        raise Problem("conflict", "The options are not chosen yet. We will notify you when you can accept.")
    settled = read_choices(content, revision.choices)
    if asked and read_choices(content, asked) != settled:
        raise InvalidDocument(
            [Fault("/choices", "choices.settled", "The options of this quote have already been chosen.")]
        )
    return settled


def _answer(
    party: models.Party,
    name: str,
    now: datetime,
    total: Decimal,
    *,
    accepted: bool,
    reason: str = "",
    choices: JsonObject | None = None,
) -> models.PartyResponse:
    party.response = models.PartyResponseStatus.ACCEPTED if accepted else models.PartyResponseStatus.DECLINED
    party.save(update_fields=["response"])
    answer = models.PartyResponse(
        business=party.business,
        party=party,
        revision=party.revision,
        accepted=accepted,
        name=name,
        reason=reason,
        choices=dict(choices or {}),
        total=total,
        responded_at=now,
        content_sha256=party.revision.content_sha256,
    )
    answer.save()
    party.revision.save(update_fields=[])  # increases the version, so that an old copy is recognised
    return answer


def _conclude(revision: models.Revision, now: datetime) -> None:
    if not close_revision(revision, models.RevisionState.ACCEPTED, now):
        return
    job = revision.quote.job
    system = Actor("system", "", "the system", business=revision.business)
    if revision.kind == models.RevisionKind.QUOTE and job.state == JobState.OPEN:
        move_job(job=job, to=JobState.ACCEPTED, actor=system, reason=f"{revision} accepted.")
    else:
        note_event(job=job, kind="quote.accepted", text=f"{revision} accepted.", actor=system)
    publish_event("quote.accepted", revision.ref, business=revision.business)


def _note(revision: models.Revision, party: models.Party, kind: str, text: str, answer: models.PartyResponse) -> None:
    actor = customer(party)
    note_event(job=revision.quote.job, kind=kind, text=text, actor=actor, facts={"party": party.key})
    publish_event("party.answered", answer.ref, business=revision.business)


def _record(revision: models.Revision, party: models.Party, kind: str, answer: models.PartyResponse) -> None:
    detail = {"name": answer.name, "choices": answer.choices, "content_sha256": answer.content_sha256}
    audit_log.record(revision.business, customer(party), kind, f"revision:{revision.ref}", detail)


def _repeat_response(done: models.PartyResponse, revision: models.Revision, *, accepted: bool) -> Receipt:
    if done.accepted != accepted:
        word = "accepted" if done.accepted else "declined"
        raise Problem("conflict", f"You have {word} this quote already. Call the business to change that.")
    return receipt_of(done, revision)
