"""A job has one accepted quote: no second quote and no later choice replaces it."""

from __future__ import annotations

from typing import Any

import pytest

from fencing.model.faults import InvalidDocument
from quotes.jobs import measure_services, services
from quotes.jobs.models import Job, JobState
from quotes.quoting.customer_responses import accept
from quotes.quoting.draft_setup import checked_setup
from quotes.quoting.models import Revision, RevisionState
from quotes.quoting.queries import agreed
from quotes.quoting.services import change_draft, revise, send, start_quote
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, measure, new_job, sent, stock_up, token

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
    return start_quote(job=job, version=version, actor=actor, setup=ALONE)


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
        change_draft(revision=draft, actor=SYSTEM, setup={**ALONE, **whole})
    assert [fault.pointer for fault in refused.value.faults] == ["/setup/discount", "/setup/site_visits", "/setup/hire"]
    off = {"label": "Off", "net": "-50.00"}
    varied = send(
        revision=change_draft(revision=draft, actor=SYSTEM, setup={**ALONE, "extra_items": [off]}), actor=actor_of(yard)
    )
    assert str(varied.net) == "-50.00"
