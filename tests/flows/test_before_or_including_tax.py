"""Every table with money, on page and paper, states in its column headings whether tax is in the amounts."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pypdf
import pytest
from django.test import Client
from lxml import html

from quotes.documents.kinds.quote import quote_pdf
from quotes.quoting.content import read_content
from quotes.quoting.models import Revision
from quotes.quoting.services import revise
from shared.business.models import Person
from shared.models import Business
from tests.conftest import Cast
from tests.flows.test_party_page import Customer
from tests.forms import squeeze
from tests.quotes.quoting.cast import BOTH, PARTIES, actor_of, drafted, measure, sent, stock_up, token

pytestmark = pytest.mark.django_db
SignIn = Callable[[Person], Client]
MONEY = re.compile(r"[+−-]?\D{0,2}[\d,]+\.\d\d")
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
def quoted(business: Business) -> Revision:
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
                if cell.tag == "td" and MONEY.fullmatch(words(cell)):
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


def test_a_draft_and_a_sent_quote(business: Business, quoted: Revision, signed_in: SignIn, cast: Cast) -> None:
    client = signed_in(cast.owner)
    draft = revise(quote=quoted.quote, actor=actor_of(business))
    for row in (draft, quoted):
        page = client.get(f"/revisions/{row.ref}").content.decode()
        check(page, "Price before tax", "Change, including tax", "NZD, including tax")
        assert "Total including tax" in page.split("</header>")[0]
    check(client.get("/quotes").content.decode(), "Total including tax, NZD")


def test_what_an_option_adds_is_the_same_on_the_desk_and_for_the_customer(
    business: Business, signed_in: SignIn, cast: Cast
) -> None:
    stock_up(business)
    draft = drafted(business, {**SETUP, "parties": PARTIES[:1]}, measure(12000))
    page = signed_in(cast.owner).get(f"/revisions/{draft.ref}").content.decode()
    assert ">+220.00<" in page  # 200.00 and 10 % of it


@pytest.mark.parametrize("party", ["owner", "neighbour"])
def test_the_customers_page(quoted: Revision, party: str) -> None:
    page = Customer(token(quoted, party)).page.content.decode()
    check(page, "NZD, before tax", "Total before tax", "Total including tax", "NZD, including tax")
    if party == "owner":
        assert "(prices in NZD, including tax)" in page
        assert "(price change in NZD, including tax)" in page
    else:
        assert "Price change, NZD, including tax" in page


def test_the_quote_on_paper(quoted: Revision) -> None:
    pdf = quote_pdf(read_content(quoted.content), "neighbour")
    text = " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages).split())
    for expected in (
        "Quantity NZD, before tax",
        "Price change, NZD, including tax",
        "When NZD, including tax",
        "Total including tax",
    ):
        assert expected in text, text


def test_the_measure_page_says_that_tax_is_in_its_price(business: Business, signed_in: SignIn, cast: Cast) -> None:
    stock_up(business)
    draft = drafted(business, None, measure(9000))
    ref = draft.measure_version.measure.ref
    page = squeeze(signed_in(cast.estimator).get(f"/measures/{ref}").content.decode())
    assert re.search(r'id="answer"[^>]*><b>[^<]+</b><span[^>]*>including tax</span>', page)
    ways = signed_in(cast.estimator).get(f"/measures/{ref}/options/0").content.decode()
    check(ways, "Cost before tax")
