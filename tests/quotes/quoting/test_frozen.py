"""A sent revision never changes, and the database enforces it."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from catalogue.models import PriceRule, SupplierPrice
from catalogue.rules.price_rule_lines import RuleKind
from quotes.jobs.document_text import canonical, digest, parsed
from quotes.quoting.customer_responses import accept, expire_if_due, open_link
from quotes.quoting.models import Party, Revision, RevisionState
from quotes.quoting.party_documents import party_document
from quotes.quoting.queries import content_of
from quotes.quoting.services import revise, send
from quotes.quoting.tasks import expire_quotes, send_due_reminders
from shared.background.outbox import Event
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, actor_of, drafted, sent, stock_up, token

pytestmark = pytest.mark.django_db


@pytest.fixture
def revision(business: Business) -> Revision:
    """A quote that was just sent to two parties."""
    stock_up(business)
    return sent(business)


def _change_everything(revision: Revision) -> None:
    """Prices doubled, tax raised, the business renamed, the customer and the measure changed."""
    business, today = revision.business, timezone.localdate()
    for offer in SupplierPrice.objects.of(business):
        offer.pk, offer.ref, offer.price, offer.valid_from = None, offer.ref[::-1], offer.price * 2, today
        offer._state.adding = True
        offer.save()
    rows = PriceRule.objects.of(business)
    rows.create(
        kind=RuleKind.TAX, applies_to="standard", value=Decimal(25), option="S", label="New tax", valid_from=today
    )
    business.name, business.terms, business.address = "Another Name", "Other terms", "Elsewhere"
    business.logo_png = b"\x89PNG another"
    business.save()
    customer = revision.quote.job.customer
    customer.name = "Renamed"
    customer.save()


def test_a_sent_revision_keeps_its_bytes_when_everything_around_it_changes(revision: Revision) -> None:
    before, shown = revision.content, open_link(token(revision, "owner")).document
    _change_everything(revision)
    kept = Revision.objects.of(revision.business).get(pk=revision.pk)
    assert kept.content == before
    assert digest(kept.content) == kept.content_sha256 == revision.content_sha256
    assert open_link(token(kept, "owner")).document == shown
    # a new revision does see the new prices, tax and name
    draft = send(revision=revise(quote=kept.quote, actor=actor_of(kept.business)), actor=actor_of(kept.business))
    again = content_of(draft)
    assert again.business.name == "Another Name"
    assert draft.total is not None
    assert revision.total is not None
    assert draft.total > revision.total


def test_content_is_canonical_so_that_anybody_can_check_its_digest(revision: Revision) -> None:
    assert canonical(parsed(revision.content)) == revision.content


@pytest.mark.parametrize(
    ("column", "value"),
    [("content", "{}"), ("content_sha256", "0" * 64), ("valid_until", "2030-01-01"), ("state", "draft"), ("number", 7)],
)
def test_the_database_refuses_to_change_what_was_sent(revision: Revision, column: str, value: str | int) -> None:
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE quoting_revision SET {column} = %s WHERE id = %s", [value, revision.pk])  # noqa: S608


def test_a_receipt_and_the_time_line_are_written_once(revision: Revision) -> None:
    event = revision.quote.job.events.first()
    assert event is not None
    with pytest.raises(ValidationError):
        event.save()
    with pytest.raises(ValidationError):
        event.delete()
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_jobevent SET text = 'nothing happened' WHERE id = %s", [event.pk])


def test_the_token_itself_is_stored_nowhere(revision: Revision) -> None:
    held = token(revision, "owner")
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')  # noqa: S608  # our own table names
            assert held not in repr(cursor.fetchall()), table


def test_a_partys_document_holds_its_own_part_of_every_total(revision: Revision) -> None:
    content = content_of(revision)
    documents = [party_document(content, str(party["key"])) for party in PARTIES]
    for name in ("net", "tax", "total"):
        assert sum(getattr(document, name) for document in documents) == getattr(revision, name)
    lines = [line for line in documents[1].lines if line.part]
    assert [(line.part, str(line.share)) for line in lines] == [("A", "1/2")]


def test_a_quote_lapses_after_its_last_day_and_not_on_it(revision: Revision) -> None:
    assert revision.valid_until is not None
    at_noon = timezone.now().replace(hour=12, minute=0)
    last_day = at_noon + (revision.valid_until - at_noon.date())
    assert not expire_if_due(revision, last_day)
    assert expire_if_due(revision, last_day + timedelta(days=1))
    revision.refresh_from_db()
    assert revision.state == RevisionState.EXPIRED
    view = open_link(token(revision, "owner"))
    assert (view.can_respond, view.blocked_reason) == (False, "This quote is expired. Ask the business for a new one.")


def test_the_routine_lapses_once_however_often_it_runs(business: Business) -> None:
    stock_up(business)
    draft = drafted(business, {"parties": PARTIES, "validity_days": 1})
    old = send(revision=draft, actor=actor_of(business), now=timezone.now() - timedelta(days=9))
    for _ in range(3):
        expire_quotes()
    old.refresh_from_db()
    assert old.state == RevisionState.EXPIRED
    assert Event.objects.filter(kind="quote.expired", subject=old.ref).count() == 1


def test_each_party_is_reminded_once_before_the_last_day(business: Business) -> None:
    stock_up(business)
    send(revision=drafted(business, {"parties": PARTIES, "validity_days": 2}), actor=actor_of(business))
    for _ in range(3):
        send_due_reminders()
    assert Event.objects.filter(kind="party.remind").count() == 2
    assert Party.objects.of(business).filter(reminded_at=None).count() == 0


def test_what_was_accepted_is_still_shown_after_the_quotes_last_day(revision: Revision) -> None:
    now, held = timezone.now(), token(revision, "owner")
    first = accept(token=held, name="Ada", content_sha256=revision.content_sha256, now=now)
    late = accept(token=held, name="Ada", content_sha256=revision.content_sha256, now=now + timedelta(days=100))
    assert (late.is_new, late.total, late.responded_at) == (False, first.total, first.responded_at)
    with pytest.raises(Problem) as refused:
        accept(
            token=token(revision, "neighbour"),
            name="Ben",
            content_sha256=revision.content_sha256,
            now=now + timedelta(days=100),
        )
    assert refused.value.detail == "This quote has expired. Ask the business for a new one."


def test_a_draft_says_nothing_yet(revision: Revision) -> None:
    with pytest.raises(Problem) as refused:
        content_of(revise(quote=revision.quote, actor=actor_of(revision.business)))
    assert refused.value.code == "conflict"


def test_the_database_refuses_to_take_an_outcome_back(revision: Revision) -> None:
    accept(token=token(revision, "neighbour"), name="Ben", content_sha256=revision.content_sha256)
    expire_if_due(revision, timezone.now() + timedelta(days=400))
    for statement in (
        "UPDATE quoting_revision SET state = 'sent' WHERE id = %s",
        "UPDATE quoting_party SET answer = 'declined' WHERE revision_id = %s AND key = 'neighbour'",
    ):
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement, [revision.pk])
