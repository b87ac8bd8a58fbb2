"""A job has one accepted quote, which no second quote replaces; a cancelled job has none."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from fencing.model.faults import InvalidDocument
from quotes.jobs import measure_services, services
from quotes.jobs.models import Job, JobState
from quotes.jobs.services import move_job
from quotes.office.today import today_groups
from quotes.quoting import tasks
from quotes.quoting.customer_responses import accept, open_link
from quotes.quoting.draft_setup import checked_setup
from quotes.quoting.models import Revision, RevisionState, SignedLink
from quotes.quoting.queries import agreed
from quotes.quoting.services import change_draft, revise, send, start_quote
from shared.background.outbox import Event
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, entered, measure, new_job, sent, stock_up, token

pytestmark = pytest.mark.django_db


ALONE: dict[str, Any] = {"parties": PARTIES[:1]}


@pytest.fixture
def yard(business: Business) -> Business:
    stock_up(business)
    return business


def draft_of(job: Job, *lengths: int) -> Revision:
    """A quote for another fence of the same job."""
    actor = actor_of(job.business)
    version = measure_services.newest(measure_services.start_measure(job=job, document=measure(*lengths), actor=actor))
    assert version is not None
    return start_quote(job=job, version=version, actor=actor, setup=entered(ALONE))


def said_yes(revision: Revision) -> None:
    accept(token=token(revision, "owner"), name="Ada", content_sha256=revision.content_sha256)


def test_of_two_quotes_of_a_job_one_is_accepted(yard: Business) -> None:
    job, _ = new_job(yard, measure(12000))
    rear, front, side = draft_of(job, 12000), draft_of(job, 7200), draft_of(job, 4800)
    rear, front = (send(revision=item, actor=actor_of(yard)) for item in (rear, front))
    said_yes(rear)
    with pytest.raises(Problem, match="Another quote for this job was accepted already") as late:
        said_yes(front)
    assert late.value.code == "conflict"
    # what is ordered, set out and booked is the first, and nothing of the second's answer stays
    front.refresh_from_db()
    assert (agreed(job), front.state, front.parties.get().response) == (rear, RevisionState.SENT, "pending")
    with pytest.raises(Problem, match="Q0001/1 is already accepted for this job"):
        send(revision=side, actor=actor_of(yard))
    with pytest.raises(Problem, match="Q0001/1 is already accepted for this job"):
        draft_of(Job.objects.of(yard).get(pk=job.pk), 2400)


def test_a_job_that_was_cancelled_and_is_open_again_is_agreed_anew(yard: Business) -> None:
    job, _ = new_job(yard, measure(12000))
    said_yes(send(revision=draft_of(job, 12000), actor=actor_of(yard)))
    for state in (JobState.CANCELLED, JobState.OPEN):
        services.move_job(job=job, to=state, actor=actor_of(yard))
    second = send(revision=draft_of(Job.objects.of(yard).get(pk=job.pk), 7200), actor=actor_of(yard))
    said_yes(second)
    assert agreed(job) == second


def test_who_settles_the_choices_must_accept(yard: Business) -> None:
    first, second = PARTIES
    with pytest.raises(InvalidDocument) as refused:
        checked_setup({"parties": [{**first, "must_accept": False}, second]})
    assert [(fault.pointer, fault.code) for fault in refused.value.faults] == [
        ("/parties/0/must_accept", "chooses_options.optional")
    ]
    # if no party is named, it is the first that must accept
    asked = [{"key": "owner", "name": "Ada", "must_accept": False}, second]
    draft = drafted(yard, {"parties": asked})
    assert [party.key for party in draft.parties.all() if party.chooses_options] == ["neighbour"]


def test_what_was_accepted_is_settled_for_who_says_yes_later(yard: Business) -> None:
    """Its sums are in the books by then, and its fence may be on order."""
    first, second = PARTIES
    bolts = {"key": "bolts", "label": "Drop bolts", "net": "500.00", "shares": {"owner": "1"}}
    revision = sent(yard, {"parties": [{**first, "must_accept": False}, second], "options": [bolts]})
    digest = revision.content_sha256
    accept(token=token(revision, "neighbour"), name="Ben", content_sha256=digest)
    revision.refresh_from_db()
    before = revision.net, revision.tax, revision.total, revision.choices
    with pytest.raises(InvalidDocument, match="already been chosen"):
        accept(token=token(revision, "owner"), name="Ada", content_sha256=digest, choices={"options": ["bolts"]})
    receipt = accept(token=token(revision, "owner"), name="Ada", content_sha256=digest)
    assert receipt.choices == {"build": "base", "options": []}
    revision.refresh_from_db()
    assert (revision.net, revision.tax, revision.total, revision.choices) == before


def test_a_variation_refuses_what_it_would_leave_out(yard: Business) -> None:
    """A variation does not change lines for the whole job, so it rejects a discount, visits and hire."""
    agreed_to = sent(yard, ALONE, measure(2260))
    said_yes(agreed_to)
    draft = revise(quote=agreed_to.quote, actor=actor_of(yard))
    whole = {"discount": {"label": "Off", "percent": "5"}, "site_visits": "1", "hire": {"auger": "1"}}
    with pytest.raises(InvalidDocument) as refused:
        change_draft(revision=draft, actor=SYSTEM, setup=entered({**ALONE, **whole}))
    assert [fault.pointer for fault in refused.value.faults] == ["/setup/discount", "/setup/site_visits", "/setup/hire"]
    off = {"label": "Off", "net": "-50.00"}
    varied = send(
        revision=change_draft(revision=draft, actor=SYSTEM, setup=entered({**ALONE, "extra_items": [off]})),
        actor=actor_of(yard),
    )
    assert str(varied.net) == "-50.00"


def accept_as_owner(revision: Revision) -> None:
    accept(token=token(revision, "owner"), name="Ada", content_sha256=revision.content_sha256)


def cancel(revision: Revision) -> Job:
    job = move_job(job=revision.quote.job, to=JobState.CANCELLED, actor=actor_of(revision.business))
    revision.refresh_from_db()
    return job


def waiting_names(business: Business) -> list[str]:
    groups = {group.key: group for group in today_groups(business, actor_of(business))}
    return [row.name for row in groups["waiting"].rows] if "waiting" in groups else []


def party_page(revision: Revision) -> str:
    client = Client()
    return client.get(f"/q/{token(revision, 'owner')}", follow=True).content.decode()


def test_a_cancelled_job_no_longer_waits_for_an_answer(yard: Business) -> None:
    revision = sent(yard, ALONE, measure(7200))
    assert len(waiting_names(yard)) == 1
    cancel(revision)
    assert revision.state == RevisionState.CANCELLED
    assert waiting_names(yard) == []


def test_the_link_of_a_cancelled_job_states_it_and_offers_no_answer(yard: Business) -> None:
    revision = sent(yard, ALONE, measure(7200))
    assert 'value="review"' in party_page(revision)
    cancel(revision)
    view = open_link(token(revision, "owner"))
    assert (view.can_respond, view.blocked_reason) == (
        False,
        "This job was cancelled. This quote can no longer be accepted.",
    )
    page = party_page(revision)
    assert "This job was cancelled." in page
    assert 'value="review"' not in page
    with pytest.raises(Problem, match="This job was cancelled"):
        accept_as_owner(revision)


def test_what_was_accepted_is_no_longer_agreed_and_the_customer_reads_it_beside_the_receipt(yard: Business) -> None:
    revision = sent(yard, ALONE, measure(7200))
    accept_as_owner(revision)
    job = cancel(revision)
    assert (agreed(job), revision.state) == (None, RevisionState.CANCELLED)
    page = party_page(revision)
    assert "You accepted this quote" in page
    assert "This job was cancelled." in page


def test_another_quote_of_an_agreed_job_offers_no_acceptance(yard: Business) -> None:
    first = sent(yard, ALONE, measure(7200))
    second = send(
        revision=start_quote(
            job=first.quote.job,
            version=first.measure_version,
            actor=actor_of(yard),
            setup=entered({"parties": PARTIES[:1]}),
        ),
        actor=actor_of(yard),
    )
    accept_as_owner(first)
    view = open_link(token(second, "owner"))
    assert (view.can_respond, view.blocked_reason) == (
        False,
        "Another quote for this job was accepted already. Ask the business.",
    )
    page = party_page(second)
    assert 'value="review"' not in page
    assert "Another quote for this job was accepted already." in page
    assert waiting_names(yard) == []


def test_nothing_is_drafted_or_sent_for_a_cancelled_job_until_it_is_open_again(yard: Business) -> None:
    revision = sent(yard, ALONE, measure(7200))
    draft = revise(quote=revision.quote, actor=actor_of(yard))
    job = cancel(revision)
    with pytest.raises(Problem, match="is cancelled"):
        send(revision=draft, actor=actor_of(yard))
    move_job(job=job, to=JobState.OPEN, actor=actor_of(yard))
    again = send(revision=draft, actor=actor_of(yard))
    assert (again.state, again.kind) == (RevisionState.SENT, "quote")
    accept_as_owner(again)
    assert agreed(job) == again


def test_no_link_is_mailed_after_its_job_was_cancelled(yard: Business, mailoutbox: list[Any]) -> None:
    revision = sent(yard, ALONE, measure(7200))
    link = SignedLink.objects.of(yard).get(revision=revision)
    cancel(revision)
    tasks.mail_link(Event(business=yard, kind="link.issued", subject=link.ref))
    assert mailoutbox == []


@pytest.mark.parametrize("state", [RevisionState.SENT, RevisionState.DECLINED, RevisionState.EXPIRED])
def test_an_accepted_revision_becomes_nothing_but_cancelled(yard: Business, state: RevisionState) -> None:
    revision = sent(yard, ALONE, measure(7200))
    accept_as_owner(revision)
    with pytest.raises(DatabaseError), transaction.atomic():
        Revision.objects.of(yard).filter(pk=revision.pk).update(state=state)
    cancel(revision)
    with pytest.raises(DatabaseError), transaction.atomic():
        Revision.objects.of(yard).filter(pk=revision.pk).update(state=RevisionState.ACCEPTED)
