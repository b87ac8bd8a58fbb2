"""Every amount on a page, on a paper and in an e-mail states whether it is before tax or including tax."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pypdf
import pytest
from django.template.loader import render_to_string
from django.test import Client
from lxml import html

from quotes.documents import pdf
from quotes.documents.kinds import KINDS
from quotes.documents.kinds.acceptance import receipt_letter
from quotes.documents.kinds.quote import quote_pdf
from quotes.quoting.content import read_content
from quotes.quoting.emails import quote_letter
from quotes.quoting.models import PartyResponse, Revision, SignedLink
from quotes.quoting.services import revise
from shared.business.models import Person
from shared.models import Business
from tests.browser.test_every_page import PAGES, world
from tests.conftest import Cast
from tests.flows.test_party_page import Customer
from tests.forms import squeeze
from tests.matrix.world import World
from tests.money_labels import LABEL, MONEY, unlabelled_amounts
from tests.quotes.documents.test_layout import agreed, business_with, every_paper, fence, quoted
from tests.quotes.quoting.cast import BOTH, PARTIES, actor_of, drafted, measure, sent, stock_up, token

__all__ = ["world"]


@pytest.mark.django_db
def test_every_amount_on_a_page_has_its_label(world: World, owner_client: Client) -> None:
    errors: list[str] = []
    for addresses in PAGES.values():
        for address in addresses(world):
            response = owner_client.get(address, follow=True)
            if response["Content-Type"].startswith("text/html"):
                errors += [f"{address}: {error}" for error in unlabelled_amounts(response.content.decode())]
    assert not errors, "\n".join(errors)


@pytest.mark.slow
@pytest.mark.django_db
def test_every_amount_on_a_paper_has_its_label(monkeypatch: pytest.MonkeyPatch) -> None:
    papers: list[str] = []

    def record(template: str, values: dict[str, Any]) -> str:
        papers.append(render_to_string(template, values))
        return papers[-1]

    monkeypatch.setattr(pdf, "render_to_string", record)
    kinds = {kind for kind, _ in every_paper(agreed(quoted(business_with(), fence(1))))}
    assert kinds == set(KINDS)
    errors = [error for paper in papers for error in unlabelled_amounts(paper)]
    assert not errors, "\n".join(errors)
    assert sum("including tax" in paper for paper in papers) >= 3  # quote, acceptance record, order list


@pytest.mark.slow
@pytest.mark.django_db
def test_every_amount_in_a_mail_to_a_party_has_its_label() -> None:
    revision = agreed(quoted(business_with(), fence(1)))
    letters = [receipt_letter(answer, b"").body for answer in PartyResponse.objects.of(revision.business)]
    letters += [quote_letter(link).body for link in SignedLink.objects.of(revision.business)]
    amounts = [part for body in letters for part in body.split("\n\n") if MONEY.search(part)]
    assert amounts
    assert [part for part in amounts if not LABEL.search(part)] == []


@pytest.mark.parametrize(
    ("page", "count"),
    [
        ("<table><thead><tr><th>Item<th>NZD</thead><tbody><tr><td>Fence<td>4,135.00</table>", 1),
        ("<table><thead><tr><th>Item<th>NZD, before tax</thead><tbody><tr><td>Fence<td>4,135.00</table>", 0),
        ("<table><tbody><tr><th>Total including tax<td>$4,135.00</table>", 0),
        ("<table><tbody><tr><th>Total<td>$4,135.00</table>", 1),
        ("<dl><dt>Total<dd><b>$4,135.00</b></dl><p>Total including tax: $4,135.00</p>", 1),
    ],
)  # fmt: skip
def test_an_amount_without_a_label_is_found(page: str, count: int) -> None:
    assert len(unlabelled_amounts(f"<html><body>{page}</body></html>")) == count


SignIn = Callable[[Person], Client]
AMOUNT = re.compile(r"[+−-]?\D{0,2}[\d,]+\.\d\d")
SETUP: dict[str, Any] = {
    "parties": PARTIES,
    "options": [{"key": "mow", "label": "Mowing strip", "net": "200.00"}],
    "alternatives": [{"key": "low", "label": "1500 mm high", "height_mm": 1500}],
    "payments": [
        {"key": "1", "label": "Deposit", "percent": "30", "milestone": "acceptance"},
        {"key": "2", "label": "Rest", "percent": "70", "milestone": "completion"},
    ],
}


@pytest.fixture
def sent_quote(business: Business) -> Revision:
    stock_up(business)
    return sent(business, SETUP, measure(12000, shares=BOTH))


def words(cell: Any) -> str:
    return " ".join("".join(cell.itertext()).split())


def columns(page: str) -> list[tuple[str, set[str]]]:
    """Heading of every column or, without column headings, of every row that holds money, with the headings of its table."""
    found = []
    for table in html.fromstring(page).iterfind(".//table"):
        heads = [words(cell) for cell in table.iterfind(".//thead//th")]
        for row in table.iterfind(".//tr"):
            cells = list(row)
            for place, cell in enumerate(cells):
                if cell.tag == "td" and AMOUNT.fullmatch(words(cell)):
                    head = heads[place] if heads else words(cells[0])
                    found.append((head, set(heads)))
    return found


def check(page: str, *expected: str) -> None:
    """Check that each column of money names its kind, and that the expected ones are there."""
    heads = columns(page)
    assert heads
    for head, _ in heads:
        is_tax = head == "Tax" or re.fullmatch(r"\S+ [\d.]+ % on [\d,.]+", head)
        assert is_tax or re.search("[Bb]efore tax|[Ii]ncluding tax", head), head
    for _, table in heads:  # what is not broken down into net, tax and gross holds one kind
        kinds = {kind for kind in ("before tax", "including tax") if any(kind in head.lower() for head in table)}
        assert len(kinds) < 2 or "Tax" in table, table
    assert set(expected) <= {head for head, _ in heads}


@pytest.mark.django_db
def test_a_draft_and_a_sent_quote(business: Business, sent_quote: Revision, signed_in: SignIn, cast: Cast) -> None:
    client = signed_in(cast.owner)
    draft = revise(quote=sent_quote.quote, actor=actor_of(business))
    for row in (draft, sent_quote):
        page = client.get(f"/revisions/{row.ref}").content.decode()
        check(page, "Price before tax", "Change, including tax", "NZD, including tax")
        assert "Total including tax" in page.split("</header>")[0]
    check(client.get("/quotes").content.decode(), "Total including tax, NZD")


@pytest.mark.django_db
def test_what_an_option_adds_is_the_same_on_the_desk_and_for_the_customer(
    business: Business, signed_in: SignIn, cast: Cast
) -> None:
    stock_up(business)
    draft = drafted(business, {**SETUP, "parties": PARTIES[:1]}, measure(12000))
    page = signed_in(cast.owner).get(f"/revisions/{draft.ref}").content.decode()
    assert ">+220.00<" in page  # 200.00 and 10 % of it


@pytest.mark.django_db
@pytest.mark.parametrize("party", ["owner", "neighbour"])
def test_the_customers_page(sent_quote: Revision, party: str) -> None:
    page = Customer(token(sent_quote, party)).page.content.decode()
    check(page, "NZD, before tax", "Total before tax", "Total including tax", "NZD, including tax")
    if party == "owner":
        assert "(prices in NZD, including tax)" in page
        assert "(price change in NZD, including tax)" in page
    else:
        assert "Price change, NZD, including tax" in page


@pytest.mark.django_db
def test_the_quote_on_paper(sent_quote: Revision) -> None:
    pdf = quote_pdf(read_content(sent_quote.content), "neighbour")
    text = " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())
    for expected in (
        "Quantity NZD, before tax",
        "Price change, NZD, including tax",
        "When NZD, including tax",
        "Total including tax",
    ):
        assert expected in text, text


@pytest.mark.django_db
def test_the_measure_page_says_that_tax_is_in_its_price(business: Business, signed_in: SignIn, cast: Cast) -> None:
    stock_up(business)
    draft = drafted(business, None, measure(9000))
    ref = draft.measure_version.measure.ref
    page = squeeze(signed_in(cast.estimator).get(f"/measures/{ref}").content.decode())
    assert re.search(r'id="answer"[^>]*><b>[^<]+</b><span[^>]*>including tax</span>', page)
    ways = signed_in(cast.estimator).get(f"/measures/{ref}/options/0").content.decode()
    check(ways, "Cost before tax")
