"""Concurrent requests on PostgreSQL: one outcome each time, and locks always in the order job, quote, revision."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from quotes.jobs.models import JobState
from quotes.quoting.customer_responses import accept, decline
from quotes.quoting.models import PartyResponse, Revision, RevisionState
from quotes.quoting.services import revise, send, start_quote
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, entered, measure, sent, stock_up, token

pytestmark = pytest.mark.postgres
Call = Callable[[], str]


def _at_once(*calls: Call, together: int = 24) -> list[str]:
    """Everything at once, in threads with connections of their own; what each came to."""
    barrier = Barrier(min(together, len(calls)))

    def one(call: Call, waits: bool) -> str:
        try:
            if waits:
                barrier.wait(timeout=20)
            return call()
        except Problem as problem:
            return problem.code
        finally:
            connection.close()

    with ThreadPoolExecutor(max_workers=barrier.parties) as pool:
        waiting = [pool.submit(one, call, place < barrier.parties) for place, call in enumerate(calls)]
        return [future.result(timeout=60) for future in waiting]


def _accepting(revision: Revision, key: str) -> Call:
    held, digest = token(revision, key), revision.content_sha256

    def call() -> str:
        return "new" if accept(token=held, name="Ada", content_sha256=digest).is_new else "again"

    return call


@pytest.fixture
def open_quote(business: Business) -> Revision:
    """A sent quote with two parties."""
    stock_up(business)
    return sent(business)


@pytest.mark.django_db(transaction=True)
def test_two_hundred_accepts_of_one_party_are_one_acceptance(open_quote: Revision) -> None:
    outcomes = Counter(_at_once(*[_accepting(open_quote, "owner")] * 200))
    assert outcomes == {"new": 1, "again": 199}
    assert PartyResponse.objects.of(open_quote.business).filter(revision=open_quote).count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_parties_at_once_are_both_heard_and_the_quote_is_accepted_once(open_quote: Revision) -> None:
    calls = [_accepting(open_quote, key) for key in ("owner", "neighbour")] * 20
    assert Counter(_at_once(*calls)) == {"new": 2, "again": 38}
    open_quote.refresh_from_db()
    assert open_quote.state == RevisionState.ACCEPTED
    job = open_quote.quote.job
    assert job.state == JobState.ACCEPTED
    kinds = Counter(job.events.values_list("kind", flat=True))
    assert kinds["job.accepted"] == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_quotes_of_a_job_accepted_at_once_one_is(business: Business) -> None:
    stock_up(business)
    first = sent(business, {"parties": PARTIES[:1]}, _alone())
    job, version, actor = first.quote.job, first.measure_version, actor_of(business)
    second = send(
        revision=start_quote(job=job, version=version, actor=actor, setup=entered({"parties": PARTIES[:1]})),
        actor=actor,
    )
    outcomes = Counter(_at_once(_accepting(first, "owner"), _accepting(second, "owner")))
    assert outcomes == {"new": 1, "conflict": 1}
    states = Revision.objects.of(business).values_list("state", flat=True)
    assert sorted(states) == [RevisionState.ACCEPTED, RevisionState.SENT]


@pytest.mark.django_db(transaction=True)
def test_a_party_that_accepts_and_declines_at_once_has_done_one_of_them(business: Business) -> None:
    stock_up(business)
    for _ in range(5):
        revision = sent(business, {"parties": PARTIES[:1], "default_shares": {"owner": "1"}}, _alone())
        held, digest = token(revision, "owner"), revision.content_sha256

        def say_yes(held: str = held, digest: str = digest) -> str:
            accept(token=held, name="Ada", content_sha256=digest)
            return "accepted"

        def say_no(held: str = held) -> str:
            decline(token=held, name="Ada")
            return "declined"

        outcomes = set(_at_once(*[say_yes, say_no] * 8))
        revision.refresh_from_db()
        assert outcomes == {revision.state, "conflict"}


@pytest.mark.django_db(transaction=True)
def test_an_acceptance_and_a_replacement_at_once_leave_one_revision_standing(business: Business) -> None:
    stock_up(business)
    for _ in range(6):
        revision = sent(business, {"parties": PARTIES[:1]}, _alone())
        draft = revise(quote=revision.quote, actor=actor_of(business))

        def replace(draft: Revision = draft) -> str:
            send(revision=draft, actor=actor_of(business))
            return "superseded"

        outcomes = _at_once(_accepting(revision, "owner"), replace)
        revision.refresh_from_db()
        draft.refresh_from_db()
        standing = (revision.state, draft.state)
        # the second request finds a changed quote: a superseded link is gone, an accepted quote cannot be superseded
        assert (standing, sorted(outcomes)) in [
            ((RevisionState.ACCEPTED, RevisionState.DRAFT), ["conflict", "new"]),
            ((RevisionState.SUPERSEDED, RevisionState.SENT), ["conflict", "superseded"]),
            ((RevisionState.SUPERSEDED, RevisionState.SENT), ["gone", "superseded"]),
        ]


@pytest.mark.django_db(transaction=True)
def test_quotes_started_at_once_have_numbers_without_gaps(business: Business) -> None:
    stock_up(business)

    def start() -> str:
        return sent(business, {"parties": PARTIES[:1]}, _alone()).quote.number

    assert sorted(_at_once(*[start] * 12)) == [f"Q{number:04d}" for number in range(1, 13)]


def _alone() -> dict[str, object]:
    return measure(7200)


@pytest.mark.django_db(transaction=True)
def test_a_draft_sent_by_many_at_once_is_sent_once(business: Business) -> None:
    stock_up(business)
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(7200))

    def send_it() -> str:
        send(revision=Revision.objects.of(business).get(pk=draft.pk), actor=actor_of(business))
        return "sent"

    assert Counter(_at_once(*[send_it] * 8)) == {"sent": 1, "conflict": 7}
    assert draft.links.count() == 1


ORDER = ["jobs_job", "quoting_quote", "quoting_revision"]


def locked_tables(statements: CaptureQueriesContext) -> list[str]:
    """Return the tables whose rows were locked, each once, in the order of the first lock."""
    locks = [query["sql"] for query in statements.captured_queries if "FOR NO KEY UPDATE" in query["sql"]]
    tables = [match[1] for sql in locks if (match := re.search(r'FROM "(\w+)"', sql))]
    return [table for table in dict.fromkeys(tables) if table in ORDER]


@pytest.mark.django_db
def test_deleting_a_draft_locks_in_the_common_order(business: Business, owner_client: Client) -> None:
    stock_up(business)
    draft = revise(quote=sent(business).quote, actor=actor_of(business))
    with CaptureQueriesContext(connection) as statements:
        answer = owner_client.delete(f"/api/v1/revisions/{draft.ref}", headers={"If-Match": "*"})
    assert answer.status_code == 204
    assert locked_tables(statements) == ORDER


@pytest.mark.django_db
def test_sending_a_draft_locks_in_the_common_order(business: Business, owner_client: Client) -> None:
    stock_up(business)
    draft = drafted(business)
    headers = {"If-Match": "*", "Idempotency-Key": "send-once"}
    with CaptureQueriesContext(connection) as statements:
        answer = owner_client.post(
            f"/api/v1/revisions/{draft.ref}/send", {}, content_type="application/json", headers=headers
        )
    assert answer.status_code == 200
    assert locked_tables(statements) == ORDER
