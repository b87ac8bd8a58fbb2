"""The customer's page by signed link, as a browser without script meets it: addresses, headers, forms, refusals."""

from __future__ import annotations

import re
import subprocess
from datetime import timedelta
from decimal import ROUND_HALF_UP, Decimal
from html.parser import HTMLParser
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from django.utils import timezone

from quotes.quoting.models import PartyResponse, Question, Revision, SignedLink
from quotes.quoting.services import revise, send
from quotes.quoting.signed_links import reissue_link, revoke_link
from shared.business.actors import SYSTEM
from shared.models import Business
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_window")]
CHOICES = {
    "parties": PARTIES[:1],
    "options": [{"key": "mow", "label": "Mowing strip", "net": "200.00"}],
    "alternatives": [{"key": "low", "label": "1500 mm high", "height_mm": 1500}],
}


@pytest.fixture
def quoted(business: Business) -> Revision:
    """Send a quote with options to one customer."""
    stock_up(business)
    return sent(business, CHOICES, measure(12000))


class Customer:
    """Opens a link and fills in what the page shows."""

    def __init__(self, link: str) -> None:
        self.client = Client()
        self.entered = self.client.get(f"/q/{link}")
        self.address = self.entered.headers.get("Location", "")
        self.page: Any = self.client.get(self.address) if self.address else self.entered

    def hidden(self, name: str) -> str:
        found = re.search(rf'name="{name}" value="([^"]*)"', self.page.content.decode())
        assert found, name
        return found.group(1)

    def press(self, do: str, **fields: Any) -> HttpResponse:
        body = {"mark": self.hidden("mark"), "content": self.hidden("content"), **fields}
        self.page = self.client.post(self.address, {**body, "do": do})
        return self.page  # type: ignore[no-any-return]  # the test client's answer

    def agree(self, name: str, **choices: Any) -> HttpResponse:
        """Go through both steps of accepting."""
        self.press("review", **choices)
        return self.press("accept", name=name, agreed=self.hidden("agreed"), **choices)

    def price(self) -> Decimal:
        """Return the price at the top of the page."""
        found = re.search(r'class="strip-answer".*?<b>[^0-9]*([0-9.,]+)', self.page.content.decode(), re.DOTALL)
        assert found
        return Decimal(found.group(1).replace(",", ""))

    def follow(self) -> str:
        self.page = self.client.get(self.address)
        return str(self.page.content.decode())


def test_the_token_is_gone_from_the_address_before_anything_is_shown(quoted: Revision) -> None:
    secret = token(quoted, "owner")
    customer = Customer(secret)
    assert customer.entered.status_code == 302
    assert secret not in customer.address
    for response in (customer.entered, customer.page):
        assert response["Referrer-Policy"] == "no-referrer"
        assert response["Cache-Control"] == "no-store"
        assert response["X-Robots-Tag"].startswith("noindex")
    assert secret not in customer.page.content.decode()
    cookie = customer.client.cookies["quote"]
    assert (cookie["path"], cookie["httponly"], cookie["samesite"]) == (customer.address, True, "Lax")


def test_a_clean_address_opens_nothing_without_its_cookie(quoted: Revision) -> None:
    address = Customer(token(quoted, "owner")).address
    assert Client().get(address).status_code == 410


def test_reading_however_often_answers_nothing(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    for _ in range(3):
        customer.follow()
    quoted.refresh_from_db()
    assert quoted.state == "sent"
    assert not PartyResponse.objects.of(quoted.business).exists()


def test_wrong_replaced_revoked_and_expired_links_look_the_same(quoted: Revision) -> None:
    bodies = {Customer("x" * 43).page.content}
    old = token(quoted, "owner")
    link = reissue_link(party=quoted.parties.get(key="owner"), actor=SYSTEM)
    bodies.add(Customer(old).page.content)
    last = token(quoted, "owner")
    revoke_link(link=link, actor=SYSTEM)
    bodies.add(Customer(last).page.content)
    reissue_link(party=quoted.parties.get(key="owner"), actor=SYSTEM)
    past = timezone.now() - timedelta(seconds=1)
    live = SignedLink.objects.of(quoted.business).filter(revoked_at=None)
    live.update(created_at=past - timedelta(days=1), expires_at=past)
    expired = Customer(token(quoted, "owner")).page
    assert expired.status_code == 410
    assert bodies == {expired.content}


def test_the_twenty_first_wrong_link_in_a_minute_is_refused(quoted: Revision) -> None:
    client = Client()
    statuses = [client.get(f"/q/{str(place).zfill(43)}").status_code for place in range(41)]
    # a minute may change during the requests: then the count starts again, once
    assert statuses.count(429) >= 1
    assert statuses[:20].count(410) == 20
    assert Customer(token(quoted, "owner")).page.status_code == 200


def test_recalculating_moves_the_total_and_agrees_to_nothing(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    before = customer.price()
    customer.press("look", build="base", option="mow")
    # 200 before tax and 10 % tax on it
    assert customer.price() - before == Decimal("220.00")
    quoted.refresh_from_db()
    assert quoted.state == "sent"


def test_choices_changed_without_recalculating_are_shown_before_they_are_accepted(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    before = customer.price()
    first = customer.press("review", build="base", option="mow")
    assert customer.price() - before == Decimal("220.00")
    assert "Mowing strip" in first.content.decode()
    customer.press("accept", build="base", option="mow", name="Ada Quill", agreed=customer.hidden("agreed"))
    quoted.refresh_from_db()
    assert quoted.choices == {"build": "base", "options": ["mow"]}


def test_nothing_is_accepted_that_the_second_step_did_not_show(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    page = customer.press("accept", build="base", name="Ada Quill")
    assert page.status_code == 409
    assert "Check the quote, then select" in page.content.decode()
    assert 'value="Ada Quill"' in page.content.decode()
    agreed = customer.hidden("agreed")
    page = customer.press("accept", build="low", name="Ada Quill", agreed=agreed)  # agreed to the other fence
    assert page.status_code == 409
    assert not PartyResponse.objects.of(quoted.business).exists()


class Buttons(HTMLParser):
    """The button that Enter presses in the form a field stands in: the first one that submits."""

    def __init__(self, page: bytes, field: str) -> None:
        super().__init__()
        self._first, self._field, self.pressed = "", field, ""
        self.feed(page.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        data = dict(attrs)
        if tag == "form":
            self._first, self._inside = "", False
        elif tag == "button" and not self._first:
            self._first = str(data.get("value"))
        if data.get("name") == self._field and data.get("type") != "hidden":
            self._inside = True

    def handle_endtag(self, tag: str) -> None:
        if tag == "form" and self._inside:
            self.pressed = self._first


@pytest.mark.parametrize("has_choices", [True, False])
def test_enter_in_the_name_field_accepts_nothing_and_loses_nothing(business: Business, has_choices: bool) -> None:
    stock_up(business)
    revision = sent(business, CHOICES if has_choices else {"parties": PARTIES[:1]}, measure(12000))
    customer = Customer(token(revision, "owner"))
    chosen = {"build": "base", "option": "mow"} if has_choices else {"build": "base"}
    step = customer.press("review", **chosen)
    pressed = Buttons(step.content, "name").pressed
    assert pressed == "review"
    again = customer.press(pressed, name="Ada Quill", agreed=customer.hidden("agreed"), **chosen)
    assert 'name="name" maxlength="120" autocomplete="name" value="Ada Quill"' in again.content.decode()
    assert not PartyResponse.objects.of(business).exists()
    back = customer.press("look", name="Ada Quill", **chosen)
    assert '<input type="hidden" name="name" value="Ada Quill">' in back.content.decode()


def test_enter_in_the_form_for_declining_declines_nothing_and_loses_nothing(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    pressed = Buttons(customer.page.content, "decliner").pressed
    page = customer.press(pressed, decliner="Ada Quill", reason="Too dear").content.decode()
    assert 'value="Ada Quill"' in page
    assert "Too dear" in page
    assert not PartyResponse.objects.of(quoted.business).exists()


def test_accepting_gives_a_receipt_that_stays_the_same(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    customer.agree("Ada Quill", build="base")
    receipt = customer.follow()
    assert "You accepted this quote" in receipt
    assert quoted.content_sha256 in receipt
    assert PartyResponse.objects.of(quoted.business).count() == 1
    assert 'value="accept"' not in receipt


def test_a_name_is_wanted_and_said_beside_its_field(quoted: Revision) -> None:
    page = Customer(token(quoted, "owner")).agree("  ", build="base")
    assert page.status_code == 422
    assert 'aria-describedby="name-fault"' in page.content.decode()


def test_content_that_is_not_what_was_looked_at_is_not_accepted(quoted: Revision) -> None:
    page = Customer(token(quoted, "owner")).agree("Ada", build="base", content="0" * 64)
    assert page.status_code == 409
    assert "has changed since you opened it" in page.content.decode()


def test_a_page_left_open_over_a_new_revision_accepts_nothing(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    actor = actor_of(quoted.business)
    send(revision=revise(quote=quoted.quote, actor=actor), actor=actor)
    assert customer.press("accept", build="base", name="Ada").status_code == 410
    assert not PartyResponse.objects.of(quoted.business).exists()


def test_a_form_without_the_pages_mark_does_nothing(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    page = customer.press("accept", build="base", name="Ada", mark="guessed")
    assert page.status_code == 403
    assert not PartyResponse.objects.of(quoted.business).exists()


def test_a_choice_nobody_offers_is_named_and_the_page_still_works(quoted: Revision) -> None:
    page = Customer(token(quoted, "owner")).press("look", build="gold")
    assert page.status_code == 422
    assert "Choose from: base, low." in page.content.decode()


def test_declining_and_asking_need_a_few_words_only(quoted: Revision) -> None:
    customer = Customer(token(quoted, "owner"))
    refused = customer.press("ask", text="")
    assert refused.status_code == 422
    assert '<a href="#text">Enter your question.</a>' in refused.content.decode()
    customer.page = customer.client.get(customer.address)
    asked = customer.press("ask", text="When can you start?")
    assert asked["Location"].endswith("#ask")  # to where it stands, not to the top of the page
    assert "When can you start?" in customer.follow()
    assert Question.objects.of(quoted.business).count() == 1
    customer.press("decline", decliner="Ada Quill", reason="Too dear")
    assert "You declined this quote" in customer.follow()


def test_a_party_is_shown_its_half_and_no_other_names(business: Business) -> None:
    stock_up(business)
    page = Customer(token(sent(business), "neighbour")).page.content.decode()
    assert "Your part of the price" in page
    assert "Ada" not in page


def test_after_acceptance_the_customer_has_what_was_chosen(
    business: Business, django_capture_on_commit_callbacks: Any, mailoutbox: list[Any]
) -> None:
    business.terms, business.payment_details = "Work begins within four weeks.", "Account 12-3456"
    business.save()
    stock_up(business)
    payments = [
        {"key": "deposit", "label": "Deposit", "percent": "30", "milestone": "acceptance"},
        {"key": "rest", "label": "On completion", "percent": "70", "milestone": "completion"},
    ]
    revision = sent(business, {**CHOICES, "payments": payments}, measure(12000))
    customer = Customer(token(revision, "owner"))
    with django_capture_on_commit_callbacks(execute=True):
        customer.agree("Ada Quill", build="low", option="mow")
    answer = PartyResponse.objects.of(business).get()
    total = f"{answer.total:,.2f}"
    deposit = f"{(answer.total * 30 / 100).quantize(Decimal('0.01'), ROUND_HALF_UP):,.2f}"
    page = customer.follow()
    record = customer.client.get(f"{customer.address}/acceptance.pdf")
    assert record["Content-Type"] == "application/pdf"
    assert 'acceptance.pdf">Download the acceptance record' in page
    [letter] = [item for item in mailoutbox if "ada@example.test" in item.to[0]]
    assert [(name, kind) for name, _, kind in letter.attachments] == [("acceptance-Q0001-1.pdf", "application/pdf")]
    assert letter.attachments[0][1] == record.content
    for text in (page, letter.body, words_of(record.content)):
        for words in ("1500 mm high", "Mowing strip", total, deposit, "Deposit", "Work begins", "12-3456", "Ada Quill"):
            assert words in text, words


def words_of(pdf: bytes) -> str:
    run = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(run.stdout.decode().split())


def test_the_record_of_one_party_is_nobody_elses(business: Business, django_capture_on_commit_callbacks: Any) -> None:
    stock_up(business)
    revision = sent(business)
    ada, ben = Customer(token(revision, "owner")), Customer(token(revision, "neighbour"))
    with django_capture_on_commit_callbacks(execute=True):
        ada.agree("Ada Quill", build="base")
    record = words_of(ada.client.get(f"{ada.address}/acceptance.pdf").content)
    assert "Ada Quill" in record
    assert "Ben" not in record
    assert ben.client.get(f"{ben.address}/acceptance.pdf").status_code == 404
