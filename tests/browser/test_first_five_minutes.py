"""From the sign-in or a measured job to a sent quote in Chromium, with a count of every step of a new user."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.test import Client
from playwright.sync_api import Browser, Page, expect

from quotes.documents.models import Document
from quotes.jobs.document_text import parsed
from quotes.quoting.models import Revision
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import PASSWORD, Cast
from tests.quotes.quoting.cast import measure, new_job, stock_up, token

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MAX_STEPS, MAX_INPUTS = 8, 10


@dataclass(slots=True)
class Newcomer:
    """Counts as it goes: a step is something pressed or followed, an input a field that is typed in or chosen from."""

    page: Page
    steps: list[str] = field(default_factory=list)
    inputs: list[str] = field(default_factory=list)

    def press(self, name: str, *, kind: Any = "button") -> None:
        self.page.get_by_role(kind, name=name).first.click()
        self.steps.append(name)

    def type(self, box: str, text: str) -> None:
        self.page.fill(box, text)
        self.inputs.append(box)

    def choose(self, box: str, value: str) -> None:
        self.page.select_option(box, value)
        self.inputs.append(box)


@pytest.mark.parametrize("width", [1280, 360])
def test_from_the_sign_in_to_a_sent_quote(
    browser: Browser, business: Business, cast: Cast, live_server: Any, width: int
) -> None:
    stock_up(business)
    began = time.monotonic()
    with new_page(browser, width) as page:
        new = Newcomer(page)
        page.goto(live_server.url)
        new.type("[name=username]", cast.owner.email)
        new.type("[name=password]", PASSWORD)
        new.press("Sign in")
        new.press("Measure a new fence", kind="link")
        new.type("#f-name", "Ada Quill")
        new.type("#f-email", "ada@example.test")
        new.type("#f-address", "4 Reed Lane")
        new.press("Create job and measure")
        _measure(new)
        new.press("Save and view take-off")
        new.press("Create quote")
        check_page(page)
        new.press("Send to Ada Quill")
        expect(page.get_by_role("status")).to_contain_text("is being sent to Ada Quill")
        photograph(page, "first-five-minutes")
    revision = Revision.objects.of(business).get()
    assert Document.objects.of(business).get(kind="quote").state == "ready"
    assert Client().get(f"/q/{token(revision, 'owner')}", follow=True).status_code == 200
    runs = parsed(revision.content)["builds"][0]["takeoff"]["runs"]
    assert revision.state == "sent"
    assert [(run["form"], len(run["gates"])) for run in runs] == [("stepped", 1), ("stepped", 0)]
    print(
        f"\nfrom sign-in to a sent quote: {len(new.steps)} steps, {len(new.inputs)} inputs, {time.monotonic() - began:.0f} s"
    )
    assert len(new.steps) <= MAX_STEPS
    assert len(new.inputs) <= MAX_INPUTS


def _measure(new: Newcomer) -> None:
    """Enter two stepped runs at a right angle down a slope, with a gate in the first."""
    page = new.page
    new.choose("#f-defaults-form", "stepped")
    new.type("#f-runs-0-length_mm", "18.24")
    expect(page.locator("#f-runs-0-length_mm-note")).to_have_text("18.240 m")  # the reading is looked at first
    new.choose("#f-runs-0-ground", "fall")
    new.type("#f-runs-0-levels-1-1", "-0.9")
    expect(page.locator("#f-runs-0-levels-1-1-note")).to_have_text("-0.900 m")
    new.press("Add run at corner")
    expect(page.locator("#f-runs-1-length_mm")).to_be_focused()
    new.type("#f-runs-1-length_mm", "11.76")
    expect(page.locator("#f-runs-1-length_mm-note")).to_have_text("11.760 m")
    page.locator("#drawing svg").last.locator("[data-bay='A-3']").first.dispatch_event("click")
    new.steps.append("a bay, for the gate")
    expect(page.locator("#f-runs-0-gates-0-opening_mm")).to_be_focused()


@pytest.mark.parametrize("width", [1280, 360])
def test_a_measured_job_is_priced_changed_and_sent(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any, width: int
) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(14200, 8400))
    with new_page(browser, width) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        page.goto(f"{live_server.url}/jobs/{job.ref}/price")
        check_page(page)
        page.get_by_role("button", name="Create quote from Back boundary").click()
        check_page(page)
        before = page.locator(".strip-answer b").inner_text()
        page.get_by_text("Extras priced by hand").click()
        page.get_by_label("Extra", exact=True).fill("Clearing the hedge")
        page.locator("#f-extra_items-0-net").fill("100,50")
        page.get_by_role("button", name="Save the draft").first.click()
        expect(page.get_by_role("status")).to_contain_text("Draft saved")
        expect(page.locator(".strip-answer b")).not_to_have_text(before)
        expect(page.get_by_role("row", name="Clearing the hedge")).to_be_visible()
        photograph(page, "price")
        page.get_by_role("button", name="Send to Ada Quill").click()
        expect(page.get_by_role("status")).to_contain_text("is being sent to Ada Quill")
        check_page(page)
        photograph(page, "sent")
        page.get_by_role("button", name="New link for Ada Quill").click()
        address = page.get_by_label("Link of Ada Quill").input_value()
        assert "/q/" in address
        page.goto(live_server.url + "/q/" + address.rpartition("/")[2])
        expect(page.get_by_role("heading", level=1)).to_contain_text("Quote Q0001, revision 1")
    assert Revision.objects.of(business).get().state == "sent"


def test_what_is_wrong_stands_beside_its_field_and_nothing_typed_is_lost(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any
) -> None:
    stock_up(business)
    job, _ = new_job(business, measure(14200))
    with new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.estimator), live_server.url)
        page.goto(f"{live_server.url}/jobs/{job.ref}/price")
        page.get_by_role("button", name="Create quote from Back boundary").click()
        page.get_by_text("Extras priced by hand").click()
        page.get_by_label("Extra", exact=True).fill("Clearing the hedge")
        page.locator("#f-extra_items-0-net").fill("a lot")
        page.get_by_role("button", name="Send to Ada Quill").click()
        expect(page.locator("#f-extra_items-0-net")).to_have_attribute("aria-invalid", "true")
        expect(page.locator("#f-extra_items-0-net")).to_have_value("a lot")
        check_page(page)
        photograph(page, "price-fault")
    assert Revision.objects.of(business).get().state == "draft"


def test_quotes_are_listed_and_an_empty_list_says_where_they_begin(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any
) -> None:
    with new_page(browser, 360) as page:
        sign_in(page, signed_in(cast.bookkeeper), live_server.url)
        page.goto(f"{live_server.url}/quotes")
        expect(page.locator(".empty")).to_contain_text("Create one on a job's Quote page")
        check_page(page)
