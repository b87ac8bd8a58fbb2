"""Orders, stock and accounting in Chromium: every sheet at both widths, empty and full."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from catalogue.models import Component
from quotes.jobs.models import Job
from quotes.purchasing.stock_services import add_stock
from quotes.quoting.customer_responses import accept
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 360])
def test_a_job_is_ordered_and_its_delivery_counted_in(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any, width: int
) -> None:
    stock_up(business)
    revision = sent(business, {"parties": PARTIES[:1]}, measure(7200))
    accept(token=token(revision, "owner"), name="Ada Quill", content_sha256=revision.content_sha256)
    job = Job.objects.of(business).get()
    with new_page(browser, width) as page:
        sign_in(page, signed_in(cast.owner), live_server.url)
        for address in ("orders", "stock", "accounting", f"jobs/{job.ref}/orders"):
            page.goto(f"{live_server.url}/{address}")
            check_page(page)
        page.get_by_role("button", name="Create draft orders").click()
        expect(page.get_by_role("status")).to_contain_text("created")
        check_page(page)
        page.locator("table a").first.click()
        page.get_by_role("button", name="Place order with").click()
        expect(page.get_by_role("link", name="Receive delivery")).to_be_visible()
        check_page(page)
        photograph(page, "order")
        page.get_by_role("link", name="Receive delivery").click()
        page.get_by_label("Docket").fill("D-1")
        page.locator("[name^=arrived-]").first.fill("1")
        check_page(page)
        photograph(page, "delivery")
        page.get_by_role("button", name="Record delivery").click()
        expect(page.get_by_role("status")).to_contain_text("recorded")
        component = Component.objects.of(business).select_related("business").filter(role="rail").first()
        assert component is not None
        add_stock(component=component, quantity=component.pack_size, actor=actor_of(business), reason="Returned from")
        page.goto(f"{live_server.url}/stock")
        check_page(page)
        photograph(page, "stock")
        page.goto(f"{live_server.url}/accounting")
        photograph(page, "accounting")
