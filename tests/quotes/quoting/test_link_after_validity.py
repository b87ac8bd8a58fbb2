"""A link after its quote's last day: it answers nothing any more, stays a reader's receipt for a while, and then ends."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from quotes.quoting.customer_responses import accept, decline, open_link
from quotes.quoting.models import PartyResponse, Revision
from quotes.quoting.signed_links import AFTER_VALIDITY
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import PARTIES, sent, stock_up, token

pytestmark = pytest.mark.django_db


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
