"""A link that is revoked, or whose quote has ended: it takes no response, and stays a receipt for a while."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.utils import timezone

from quotes.quoting import customer_responses
from quotes.quoting.customer_responses import accept, decline, open_link
from quotes.quoting.models import PartyResponse, Quote, Revision, SignedLink
from quotes.quoting.services import lock_quote
from quotes.quoting.signed_links import AFTER_VALIDITY
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, sent, stock_up, token

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("action", ["accept", "decline"])
def test_a_link_ended_while_its_quote_was_waited_for_answers_nothing(
    business: Business, monkeypatch: pytest.MonkeyPatch, action: str
) -> None:
    stock_up(business)
    revision = sent(business)
    held = token(revision, "owner")

    def wait_while_it_is_ended(quote: Quote) -> Quote:
        SignedLink.objects.of(business).filter(party__key="owner").update(revoked_at=timezone.now())
        return lock_quote(quote)

    monkeypatch.setattr(customer_responses, "lock_quote", wait_while_it_is_ended)
    more = {"content_sha256": revision.content_sha256} if action == "accept" else {}
    with pytest.raises(Problem) as refused:
        getattr(customer_responses, action)(token=held, name="Ada", **more)
    assert refused.value.code == "gone"
    assert not PartyResponse.objects.of(business).exists()


@pytest.fixture
def quote(business: Business) -> Revision:
    stock_up(business)
    return sent(business)


def last_noon(quote: Revision) -> datetime:
    assert quote.valid_until is not None
    return datetime.combine(quote.valid_until, datetime.min.time(), tzinfo=UTC) + timedelta(hours=12)


def test_after_the_last_day_a_link_shows_what_was_sent_and_answers_nothing(quote: Revision) -> None:
    held = token(quote, "neighbour")
    with time_machine.travel(last_noon(quote) + timedelta(days=2), tick=False):
        with pytest.raises(Problem) as late:
            accept(token=held, name="Ben", content_sha256=quote.content_sha256)
        with pytest.raises(Problem) as too:
            decline(token=held, name="Ben")
        view = open_link(held)
    assert (late.value.code, too.value.code) == ("conflict", "conflict")
    assert (view.status, view.can_respond) == ("expired", False)
    assert not PartyResponse.objects.of(quote.business).exists()


def test_the_receipt_can_be_read_until_the_link_ends_and_then_nothing(quote: Revision) -> None:
    held = {party["key"]: token(quote, party["key"]) for party in PARTIES}
    given = [accept(token=held[key], name="Ada", content_sha256=quote.content_sha256) for key in held]
    last = last_noon(quote) + AFTER_VALIDITY
    with time_machine.travel(last - timedelta(days=1), tick=False):
        receipt = open_link(held["owner"]).receipt
        assert receipt is not None
        assert receipt.total == given[0].total
    with time_machine.travel(last + timedelta(days=1), tick=False):
        with pytest.raises(Problem) as ended:
            open_link(held["owner"])
        with pytest.raises(Problem) as closed:
            decline(token=held["owner"], name="Ada")
    assert (ended.value.code, closed.value.code) == ("gone", "gone")
