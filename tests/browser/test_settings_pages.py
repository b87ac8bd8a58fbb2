"""Settings in Chromium: every page at both widths, a key that is shown once, long names."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 360])
def test_settings_are_kept_and_a_key_is_shown_once(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any, width: int, settings: Any
) -> None:
    Business.objects.update(name="The Very Long Named Boundary, Gate and Retaining Company of Tern Bay and Districts")
    settings.WEBHOOKS_TO_LOOPBACK = True
    with new_page(browser, width) as page:
        sign_in(page, signed_in(cast.owner), live_server.url)
        page.goto(f"{live_server.url}/settings")
        check_page(page)
        page.get_by_label("Telephone").fill("021 000 000")
        page.get_by_role("button", name="Save settings").click()
        expect(page.get_by_role("status")).to_contain_text("Settings saved")
        photograph(page, "settings")
        page.get_by_role("link", name="Members").click()
        check_page(page)
        photograph(page, "members")
        page.get_by_role("link", name="Keys", exact=True).click()
        check_page(page)
        page.get_by_label("Key name").fill("Till")
        page.get_by_label("See jobs and customers").check()
        page.get_by_role("button", name="Create key").click()
        expect(page.get_by_label("The new key")).to_be_visible()
        check_page(page)
        page.get_by_role("link", name="Webhooks").click()
        page.get_by_label("Address").fill("http://127.0.0.1:9/hear")
        page.get_by_role("button", name="Add endpoint").click()
        check_page(page)
        page.get_by_role("main").get_by_role("link", name="http://127.0.0.1:9/hear").click()
        page.get_by_role("button", name="Send a test event").click()
        expect(page.get_by_role("status")).to_contain_text("A test event is being sent")
        check_page(page)
        photograph(page, "webhook")
