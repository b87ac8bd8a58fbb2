"""From the sign-in to a sent quote by the keyboard alone: no pointer, every stop visible, the gate placed by keys too."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from quotes.jobs.document_text import parsed
from quotes.quoting.models import Revision
from shared.models import Business
from tests.browser.looking import new_page
from tests.conftest import PASSWORD, Cast
from tests.quotes.quoting.cast import stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MAX_TABS = 120
_STANDS_OUT = """() => {
  const one = document.activeElement, style = getComputedStyle(one), box = one.getBoundingClientRect();
  const marked = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  const middle = document.elementFromPoint(box.left + box.width / 2, box.top + Math.min(box.height / 2, 20));
  const covered = middle && !one.contains(middle) && !middle.contains(one) && !(one.labels && [...one.labels].includes(middle));
  return { marked, covered: Boolean(covered), what: one.outerHTML.slice(0, 120) };
}"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    with new_page(browser, 1280) as page:
        page.mouse.move(0, 0)
        yield page


def _tab_to(page: Page, wanted: str) -> None:
    """Tab until the focus is on what the selector names; each stop on the way is marked and not hidden."""
    for _ in range(MAX_TABS):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement === document.body"):
            continue  # past the last stop, before the first
        seen = page.evaluate(_STANDS_OUT)
        assert seen["marked"], f"the focus can't be seen on {seen['what']}"
        assert not seen["covered"], f"the focus is hidden on {seen['what']}"
        if page.evaluate("wanted => document.activeElement.matches(wanted)", wanted):
            return
    raise AssertionError(f"{wanted} can't be reached by Tab")


def _press(page: Page, wanted: str, key: str = "Enter") -> None:
    _tab_to(page, wanted)
    page.keyboard.press(key)


def _choose(page: Page, wanted: str, word: str) -> None:
    """Chooses from a list as keys do: by the first letters of the choice."""
    _tab_to(page, wanted)
    page.keyboard.type(word)


def test_a_fence_is_measured_quoted_and_sent_by_keys_alone(
    page: Page, business: Business, cast: Cast, live_server: Any
) -> None:
    stock_up(business)
    page.goto(live_server.url)
    for box, text in (("[name=username]", cast.owner.email), ("[name=password]", PASSWORD)):
        _tab_to(page, box)
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Measure a new fence")).to_be_visible()
    _press(page, "main a.button")
    expect(page.locator("#f-name")).to_be_visible()
    for box, text in (("#f-name", "Ada Quill"), ("#f-email", "ada@example.test"), ("#f-address", "4 Reed Lane")):
        _tab_to(page, box)
        page.keyboard.type(text)
    page.keyboard.press("Enter")
    _measure(page)
    _press(page, "button[value=keep]")
    expect(page.get_by_role("heading", name="Quantities")).to_be_visible()
    _press(page, "main button.main")
    expect(page.get_by_role("button", name="Send to Ada Quill")).to_be_visible()
    _press(page, "button[value=send]")
    expect(page.get_by_role("status")).to_contain_text("is being sent to Ada Quill")
    revision = Revision.objects.of(business).get()
    runs = parsed(revision.content)["builds"][0]["takeoff"]["runs"]
    assert [(run["id"], run["length_mm"], len(run["gates"])) for run in runs] == [
        ("A", 9000, 1), ("B", 7200, 1), ("C", 4800, 0),
    ]  # fmt: skip


def _measure(page: Page) -> None:
    """Three runs: a gate by its button in the first, one in a bay of the drawing in the second."""
    expect(page.locator("#f-runs-0-length_mm")).to_be_visible()
    _tab_to(page, "#f-runs-0-length_mm")
    page.keyboard.type("9")
    _choose(page, "#f-runs-0-ground", "e")  # one letter tells it; more would go on into the field its answer leads to
    expect(page.locator("#f-runs-0-levels-0-1")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#f-runs-0-levels-1-1")).to_be_focused()
    page.keyboard.press("Control+a")
    page.keyboard.type("-0.3")
    expect(page.locator("#f-runs-0-levels-1-1-note")).to_have_text("-0.300 m")
    _press(page, "button[value='add-gate:0']")
    expect(page.locator("#f-runs-0-gates-0-from_mm")).to_be_focused()
    page.keyboard.type("3.2")
    expect(page.locator("#f-runs-0-gates-0-from_mm-note")).to_have_text("3.200 m")
    for place, length in ((1, "7.2"), (2, "4.8")):
        _press(page, "button[value='add-run:corner']")
        expect(page.locator(f"#f-runs-{place}-length_mm")).to_be_focused()
        page.keyboard.type(length)
        expect(page.locator(f"#f-runs-{place}-length_mm-note")).to_have_text(f"{length}00 m")
    page.keyboard.press("Control+Home")
    page.evaluate("document.activeElement.blur()")
    _press(page, "#drawing")
    expect(page.locator("#drawing :focus")).to_have_count(1)
    while page.evaluate("document.activeElement.dataset.bay") != "B-2":
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#f-runs-1-gates-0-opening_mm")).to_be_focused()
