"""The office pages in Chromium: sign-in, Today, search, and a new job with its page."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from quotes.jobs.measure_services import save_draft, start_measure
from quotes.jobs.models import Job
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import PASSWORD, Cast
from tests.quotes.quoting.cast import actor_of, new_job, sent, stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDTHS = pytest.mark.parametrize("width", [1280, 360])


@WIDTHS
def test_a_newcomer_signs_in_and_opens_a_job(browser: Browser, cast: Cast, live_server: Any, width: int) -> None:
    stock_up(cast.business)
    with new_page(browser, width) as page:
        page.goto(live_server.url)
        check_page(page)
        page.get_by_label("E-mail").fill(cast.owner.email)
        page.get_by_label("Password").fill("not this one")
        page.keyboard.press("Enter")
        expect(page.get_by_role("alert")).to_contain_text("Wrong e-mail address or password")
        check_page(page)
        page.get_by_label("Password").fill(PASSWORD)
        page.keyboard.press("Enter")
        expect(page.get_by_text("No measures yet")).to_be_visible()
        check_page(page)
        photograph(page, "today-empty")
        page.get_by_role("link", name="Measure a new fence").click()
        page.get_by_role("button", name="Create job and measure").click()
        expect(page.get_by_role("alert")).to_contain_text("Customer")
        check_page(page)
        photograph(page, "new-job-fault")
        page.locator("#f-name").fill("Ada Quill")
        page.get_by_label("Site address").fill("4 Reed Lane")
        page.keyboard.press("Enter")
        expect(page.locator("#f-runs-0-length_mm")).to_be_visible()
    job = Job.objects.of(cast.business).get()
    assert (job.customer.name, job.site.address, job.label) == ("Ada Quill", "4 Reed Lane", "Fence at 4 Reed Lane")


@WIDTHS
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_today_shows_what_waits_and_each_row_leads_to_it(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any, width: int, scheme: Any
) -> None:
    stock_up(business)
    quoted = sent(business)
    job, _ = new_job(business)
    half = start_measure(job=job, actor=actor_of(business), label="An unmeasured boundary of uncommon length " * 4)
    save_draft(measure=half, text="{}")
    with new_page(browser, width) as page:
        page.emulate_media(color_scheme=scheme)
        sign_in(page, signed_in(cast.owner), live_server.url)
        page.goto(live_server.url)
        expect(page.get_by_role("heading", name="Quotes awaiting a response")).to_be_visible()
        expect(page.get_by_role("heading", name="Unfinished measures")).to_be_visible()
        check_page(page)
        photograph(page, f"today-{scheme}")
        page.get_by_role("link", name=quoted.quote.number).click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Back fence")
        check_page(page)
        photograph(page, f"job-{scheme}")
        page.get_by_label("Note").fill("The dog is friendly")
        page.get_by_role("button", name="Add note").click()
        expect(page.locator(".time-line")).to_contain_text("The dog is friendly")


@WIDTHS
def test_jobs_are_listed_and_found(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any, width: int
) -> None:
    job, _ = _job(business)
    with new_page(browser, width) as page:
        sign_in(page, signed_in(cast.crew), live_server.url)
        page.goto(f"{live_server.url}/jobs")
        check_page(page)
        photograph(page, "jobs")
        page.get_by_label("Search jobs, customers and quotes").fill("reed")
        page.keyboard.press("Enter")
        expect(page.get_by_role("link", name=job.number)).to_be_visible()
        check_page(page)
        page.goto(f"{live_server.url}/search?q=nothing+like+it")
        expect(page.locator(".empty")).to_contain_text("nothing like it")
        check_page(page)


def _job(business: Business) -> Any:
    stock_up(business)
    return new_job(business)
