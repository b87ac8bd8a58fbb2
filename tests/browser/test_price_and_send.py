"""Pricing and sending in Chromium, from a measured job to a quote that is on its way."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from quotes.quoting.models import Revision
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import measure, new_job, stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


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
