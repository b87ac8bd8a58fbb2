"""The customer's page in Chromium: without script at both widths, and with script where the total follows a tick."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from quotes.quoting.models import Revision
from quotes.quoting.signed_links import reissue_link
from shared.business.actors import SYSTEM
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph
from tests.quotes.quoting.cast import PARTIES, measure, sent, stock_up, token

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
SETUP = {
    "parties": PARTIES[:1],
    "introduction": "Thank you for asking us.",
    "options": [
        {"key": "mow", "label": "Mowing strip along the whole fence", "detail": "Concrete, 150 mm", "net": "200.00"}
    ],
    "alternatives": [{"key": "low", "label": "1500 mm high", "height_mm": 1500}],
    "terms": "Work begins within four weeks.\n\nGround that needs breaking is charged by the hour.",
}


@pytest.fixture
def quoted(business: Business) -> Revision:
    stock_up(business)
    return sent(business, SETUP, measure(14200, 8400))


@pytest.fixture(params=[1280, 360])
def plain(browser: Browser, request: Any) -> Iterator[Page]:
    """Open a page with JavaScript off."""
    with new_page(browser, request.param, script=False) as page:
        yield page


def test_somebody_without_script_chooses_and_accepts(plain: Page, quoted: Revision, live_server: Any) -> None:
    plain.goto(f"{live_server.url}/q/{token(quoted, 'owner')}")
    assert token(quoted, "owner") not in plain.url
    check_page(plain)
    drawn = plain.locator("div.drawing").evaluate_all("all => all.map(one => [one.scrollWidth, one.clientWidth])")
    assert drawn
    assert [item for item in drawn if item[0] > item[1]] == []  # no drawing scrolls sideways
    photograph(plain, "customer")
    before = plain.locator("#answer b").inner_text()
    plain.get_by_label("Mowing strip along the whole fence").check()
    plain.get_by_role("button", name="Recalculate").click()
    expect(plain.locator("#answer b")).not_to_have_text(before)
    after = plain.locator("#answer b").inner_text()
    plain.get_by_role("button", name="Continue to acceptance").click()
    expect(plain.locator(".strip-answer b")).to_have_text(after)
    check_page(plain)
    photograph(plain, "customer-review")
    plain.get_by_label("Full name (counts as your signature)").fill("Ada Quill")
    plain.get_by_label("Full name (counts as your signature)").press("Enter")  # accepts nothing, loses nothing
    expect(plain.get_by_role("heading", name="Check and accept")).to_be_visible()
    expect(plain.get_by_label("Full name (counts as your signature)")).to_have_value("Ada Quill")
    plain.get_by_role("button", name="Accept this quote").click()
    expect(plain.get_by_role("heading", name="You accepted this quote")).to_be_visible()
    expect(plain.locator(".receipt")).to_contain_text(after)
    check_page(plain)
    photograph(plain, "customer-receipt")


def test_a_missing_name_is_said_beside_the_field(plain: Page, quoted: Revision, live_server: Any) -> None:
    plain.goto(f"{live_server.url}/q/{token(quoted, 'owner')}")
    plain.get_by_role("button", name="Continue to acceptance").click()
    plain.get_by_role("button", name="Accept this quote").click()
    expect(plain.locator("#name-fault")).to_be_visible()
    check_page(plain)


def test_somebody_without_script_declines_and_asks(plain: Page, quoted: Revision, live_server: Any) -> None:
    plain.goto(f"{live_server.url}/q/{token(quoted, 'owner')}")
    plain.get_by_label("Ask Tern Bay Fencing").fill("When can you start?")
    plain.get_by_role("button", name="Send question").click()
    expect(plain.get_by_text("When can you start?")).to_be_visible()
    plain.get_by_text("Decline this quote").first.click()
    plain.get_by_label("Your name", exact=True).fill("Ada Quill")
    plain.get_by_role("button", name="Decline this quote").click()
    expect(plain.get_by_role("heading", name="You declined this quote")).to_be_visible()
    check_page(plain)


def test_a_link_that_ended_says_what_to_do(plain: Page, quoted: Revision, live_server: Any) -> None:
    old = token(quoted, "owner")
    reissue_link(party=quoted.parties.get(key="owner"), actor=SYSTEM)
    plain.goto(f"{live_server.url}/q/{old}")
    expect(plain.get_by_role("heading", level=1)).to_have_text("This link is not valid")
    check_page(plain)


def test_the_total_follows_a_tick_where_there_is_script(browser: Browser, quoted: Revision, live_server: Any) -> None:
    with new_page(browser, 1280) as page:
        page.goto(f"{live_server.url}/q/{token(quoted, 'owner')}")
        before = page.locator("#answer b").inner_text()
        page.get_by_label("Mowing strip along the whole fence").focus()
        page.keyboard.press("Space")
        expect(page.locator("#answer b")).not_to_have_text(before)
        expect(page.get_by_label("Mowing strip along the whole fence")).to_be_focused()
        after = page.locator("#answer b").inner_text()
        page.get_by_role("button", name="Continue to acceptance").click()
        expect(page.locator(".strip-answer b")).to_have_text(after)
        page.get_by_label("Full name (counts as your signature)").fill("Ada Quill")
        page.get_by_role("button", name="Accept this quote").click()
        expect(page.get_by_role("heading", name="You accepted this quote")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_prints_black_on_white_and_loses_nothing(
    browser: Browser, quoted: Revision, live_server: Any, scheme: Any
) -> None:
    with new_page(browser, 794) as page:  # A4 at 96 px an inch
        page.emulate_media(media="print", color_scheme=scheme)
        page.goto(f"{live_server.url}/q/{token(quoted, 'owner')}")
        total = page.locator("#answer b").inner_text()
        ink = page.evaluate(
            "(({ color, backgroundColor }) => [color, backgroundColor])(getComputedStyle(document.documentElement))"
        )
        assert ink == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        printed = page.pdf(format="A4", margin={"top": "12mm", "bottom": "12mm", "left": "12mm", "right": "12mm"})
    data = " ".join(_text(printed).split())
    for words in (total, "Mowing strip along the whole fence", "Work begins within four weeks", "charged by the hour"):
        assert words in data
    assert "Skip to main content" not in data


def _text(pdf: bytes) -> str:
    run = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True)
    return run.stdout.decode()
