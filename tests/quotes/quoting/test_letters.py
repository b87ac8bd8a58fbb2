"""E-mails about quotes: content, recipients and number."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from decimal import Decimal
from typing import Any

import pytest
from django.core import mail

from quotes.quoting.customer_responses import accept, ask
from quotes.quoting.models import Revision, SignedLink
from quotes.quoting.services import send
from quotes.quoting.signed_links import reissue_link
from quotes.quoting.tasks import mail_link
from shared.background.outbox import Event
from shared.business.actors import SYSTEM
from shared.business.models import Business
from tests.quotes.quoting.cast import actor_of, drafted, stock_up, token

pytestmark = pytest.mark.django_db
Commit = Callable[..., AbstractContextManager[Any]]


@pytest.fixture
def mailed(business: Business, django_capture_on_commit_callbacks: Commit) -> Revision:
    """A quote that was sent to two parties, letters and all."""
    business.email = "office@example.test"
    business.save()
    stock_up(business)
    with django_capture_on_commit_callbacks(execute=True):
        return send(revision=drafted(business), actor=actor_of(business))


def _to(address: str) -> list[str]:
    return [str(letter.body) for letter in mail.outbox if any(address in to for to in letter.to)]


def test_each_party_gets_one_letter_with_its_own_link_and_nobody_elses(mailed: Revision) -> None:
    ada, ben = _to("ada@example.test"), _to("ben@example.test")
    assert (len(ada), len(ben)) == (1, 1)
    own, others = token(mailed, "owner"), token(mailed, "neighbour")
    assert own in ada[0]
    assert others not in ada[0]
    assert "Ben" not in ada[0]
    assert others in ben[0]


def test_a_letter_is_sent_once_however_often_its_job_runs(mailed: Revision) -> None:
    mail.outbox.clear()
    for event in Event.objects.filter(kind="link.issued"):
        for _ in range(5):
            mail_link(event)
    assert mail.outbox == []


def test_an_ended_link_is_not_mailed_and_a_new_one_is(
    mailed: Revision, django_capture_on_commit_callbacks: Commit
) -> None:
    mail.outbox.clear()
    party = mailed.parties.get(key="owner")
    with django_capture_on_commit_callbacks(execute=True):
        first, second = reissue_link(party=party, actor=SYSTEM), reissue_link(party=party, actor=SYSTEM)
    rows = SignedLink.objects.of(mailed.business)
    assert rows.get(pk=first.pk).mailed_at is None
    assert rows.get(pk=second.pk).mailed_at is not None
    assert len(mail.outbox) == 1


def test_the_business_and_the_party_get_an_email_about_a_response(
    mailed: Revision, django_capture_on_commit_callbacks: Commit
) -> None:
    mail.outbox.clear()
    with django_capture_on_commit_callbacks(execute=True):
        receipt = accept(token=token(mailed, "owner"), name="Ada Q", content_sha256=mailed.content_sha256)
    assert "accepted Q0001/1 as Ada Q" in _to("office@example.test")[0]
    letter = _to("ada@example.test")[0]
    assert f"{Decimal(receipt.total):,.2f}" in letter
    assert mailed.content_sha256 in letter
    assert _to("ben@example.test") == []


def test_a_question_goes_to_the_business_and_not_to_other_parties(
    mailed: Revision, django_capture_on_commit_callbacks: Commit
) -> None:
    mail.outbox.clear()
    with django_capture_on_commit_callbacks(execute=True):
        ask(token=token(mailed, "neighbour"), text="When do you start?")
        ask(token=token(mailed, "neighbour"), text="When do you start?")
    assert [letter.to for letter in mail.outbox] == [["office@example.test"]]


def test_a_name_with_a_line_break_can_not_add_a_header(
    business: Business, django_capture_on_commit_callbacks: Commit
) -> None:
    stock_up(business)
    parties = [
        {"key": "owner", "name": "Ada\nBcc: all@example.test", "email": "ada@example.test"},
        {"key": "neighbour", "name": "Ben", "email": "ben@example.test"},
    ]
    with django_capture_on_commit_callbacks(execute=True):
        send(revision=drafted(business, {"parties": parties}), actor=actor_of(business))
    assert len(mail.outbox) == 2
    for letter in mail.outbox:
        assert "Bcc" not in dict(letter.message().items())
        assert letter.recipients() == letter.to
