"""Cancelling a job cancels its quotes: none is open or accepted, and the customer's page states it."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.test import Client

from quotes.jobs.models import Job, JobState
from quotes.jobs.services import move_job
from quotes.office.today import today_groups
from quotes.quoting import tasks
from quotes.quoting.customer_responses import accept, open_link
from quotes.quoting.models import Revision, RevisionState, SignedLink
from quotes.quoting.queries import agreed
from quotes.quoting.services import revise, send, start_quote
from shared.background.outbox import Event
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db
ALONE: dict[str, Any] = {"parties": PARTIES[:1]}


@pytest.fixture
def yard(business: Business) -> Business:
    stock_up(business)
    return business


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
            job=first.quote.job, version=first.measure_version, actor=actor_of(yard), setup={"parties": PARTIES[:1]}
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
