"""Pricing and sending by pages: what is kept, refused, sent, revised and handed over."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from quotes.quoting.models import Question, Revision
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press, seen_on
from tests.quotes.quoting.cast import PARTIES, drafted, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db


@pytest.fixture
def estimator(cast: Cast, signed_in: Any) -> Client:
    stock_up(cast.business)
    client: Client = signed_in(cast.estimator)
    return client


def form_of(revision: Revision, **changes: str) -> dict[str, str]:
    """Return the form of a draft with one customer, as the page shows it."""
    party = revision.setup["parties"][0]
    data = {f"parties-0-{name}": party.get(name, "") for name in ("key", "name", "email")}
    return {**data, "parties-0-must_accept": "1", "chooses_options": party["key"], **changes}


def test_a_page_keeps_what_it_has_no_box_for(estimator: Client, business: Business) -> None:
    option = {"key": "mow", "label": "Mowing strip", "net": "200.00", "shares": {"owner": "1"}}
    draft = drafted(business, {"parties": PARTIES[:1], "options": [option]}, measure(12000))
    typed = {"options-0-key": "mow", "options-0-label": "Mowing strip", "options-0-net": "210"}
    press(estimator, f"/revisions/{draft.ref}", form_of(draft, **typed, do="save"))
    draft.refresh_from_db()
    assert draft.setup["options"] == [{**option, "net": "210"}]


def test_sending_keeps_what_was_typed_in_the_same_breath(estimator: Client, business: Business) -> None:
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    typed = {"extra_items-0-label": "Clearing", "extra_items-0-net": "1 200,50"}
    press(estimator, f"/revisions/{draft.ref}", form_of(draft, **typed, do="send"))
    draft.refresh_from_db()
    assert draft.state == "sent"
    assert [row["net"] for row in draft.setup["extra_items"]] == ["1200.50"]


def test_stops_are_sent_only_with_a_reason(estimator: Client, business: Business) -> None:
    document = measure(12000, form="stepped")
    document["runs"][0]["levels"] = [[0, 0], [12000, -6000]]
    draft = drafted(business, {"parties": PARTIES[:1]}, document)
    page = press(estimator, f"/revisions/{draft.ref}", form_of(draft, do="send"))
    assert page.status_code == 422
    assert "override_reason" in page.content.decode()
    press(estimator, f"/revisions/{draft.ref}", form_of(draft, do="send", override_reason="A wall comes first"))
    draft.refresh_from_db()
    assert (draft.state, draft.override_reason) == ("sent", "A wall comes first")


def test_sent_twice_is_sent_once_and_said(estimator: Client, business: Business) -> None:
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    form = {**seen_on(estimator, f"/revisions/{draft.ref}"), **form_of(draft, do="send")}
    assert press(estimator, f"/revisions/{draft.ref}", form).status_code == 302
    again = press(estimator, f"/revisions/{draft.ref}", form)
    assert again.status_code == 412
    assert "This has changed since you opened the page" in again.content.decode()


def test_a_preview_is_the_pdf_of_a_party(estimator: Client, business: Business) -> None:
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    answer = estimator.get(f"/revisions/{draft.ref}/preview/owner.pdf")
    assert answer.content.startswith(b"%PDF-")
    assert estimator.get(f"/revisions/{draft.ref}/preview/no-party.pdf").status_code == 404


def test_a_link_is_ended_and_made_anew(estimator: Client, business: Business) -> None:
    revision = sent(business, {"parties": PARTIES[:1]}, measure(12000))
    old = token(revision, "owner")
    page = press(
        estimator, f"/revisions/{revision.ref}", {"do": "issue"}, f"/revisions/{revision.ref}/parties/owner/link"
    )
    new = token(revision, "owner")
    assert f"/q/{new}" in page.content.decode()
    assert page["Cache-Control"] == "no-store"
    assert (Client().get(f"/q/{old}").status_code, Client().get(f"/q/{new}").status_code) == (410, 302)
    press(estimator, f"/revisions/{revision.ref}", {"do": "revoke"}, f"/revisions/{revision.ref}/parties/owner/link")
    assert Client().get(f"/q/{new}").status_code == 410


def test_the_next_revision_and_throwing_it_away(estimator: Client, business: Business) -> None:
    revision = sent(business, {"parties": PARTIES[:1]}, measure(12000))
    page = press(estimator, f"/revisions/{revision.ref}", {}, f"/quotes/{revision.quote.ref}/revise")
    draft = Revision.objects.of(business).get(number=2)
    assert page["Location"] == f"/revisions/{draft.ref}"
    press(estimator, f"/revisions/{draft.ref}", {"do": "discard"})
    assert Revision.objects.of(business).count() == 1


def test_a_question_is_answered(estimator: Client, business: Business) -> None:
    revision = sent(business, {"parties": PARTIES[:1]}, measure(12000))
    party = revision.parties.get()
    question = Question.objects.of(business).create(party=party, revision=revision, text="When?")
    press(estimator, f"/revisions/{revision.ref}", {"text": "In May."}, f"/questions/{question.ref}/reply")
    question.refresh_from_db()
    assert question.reply == "In May."


def test_who_may_read_but_not_write_is_shown_no_costs_and_changes_nothing(
    business: Business, cast: Cast, signed_in: Any
) -> None:
    stock_up(business)
    draft = drafted(business, {"parties": PARTIES[:1]}, measure(12000))
    bookkeeper = signed_in(cast.bookkeeper)
    page = bookkeeper.get(f"/revisions/{draft.ref}").content.decode()
    assert "Margin" not in page
    assert bookkeeper.post(f"/revisions/{draft.ref}", form_of(draft, do="send")).status_code == 403
    assert signed_in(cast.crew).get(f"/revisions/{draft.ref}").status_code == 403
    assert signed_in(cast.stranger).get(f"/revisions/{draft.ref}").status_code == 404
