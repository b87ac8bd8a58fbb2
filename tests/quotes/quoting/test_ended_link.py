"""A link is revoked during a response: the call returns only when no response can follow."""

from __future__ import annotations

import pytest
from django.utils import timezone

from quotes.quoting import customer_responses
from quotes.quoting.models import PartyResponse, Quote, SignedLink
from quotes.quoting.services import lock_quote
from shared.business.models import Business
from shared.common.problems import Problem
from tests.quotes.quoting.cast import sent, stock_up, token

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
