"""A fence system's page in Chromium: faults by their fields, a version kept by keyboard, the same without script."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from catalogue.models import FenceSystem
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def system(business: Business) -> FenceSystem:
    stock_up(business)
    return FenceSystem.objects.of(business).get(is_default=True)


def _open(page: Page, cast: Cast, signed_in: Any, live_server: Any, system: FenceSystem) -> None:
    sign_in(page, signed_in(cast.owner), live_server.url)
    page.goto(f"{live_server.url}/prices/systems/{system.ref}")


@pytest.mark.parametrize("width", [1280, 360])
def test_a_field_at_fault_is_led_to_mended_and_kept(
    browser: Browser, system: FenceSystem, cast: Cast, signed_in: Any, live_server: Any, width: int
) -> None:
    with new_page(browser, width) as page:
        _open(page, cast, signed_in, live_server, system)
        check_page(page)
        photograph(page, "fence-system")
        page.get_by_label("Pitch, mm").fill("2.3")
        page.get_by_role("button", name="Save as version 2").click()
        check_page(page)
        photograph(page, "fence-system-fault")
        page.get_by_role("link", name="Pitch and closing bay: Pitch, mm").click()
        expect(page.get_by_label("Pitch, mm")).to_have_value("2.3")
        expect(page.get_by_label("Pitch, mm")).to_be_in_viewport()
        expect(page.get_by_text("is it in m? 2.3 m is 2300 mm")).to_have_count(2)
        page.get_by_label("Pitch, mm").fill("2.3 m")
        page.get_by_role("button", name="Save as version 2").click()
        expect(page.get_by_text("Version 2 saved")).to_be_visible()
        expect(page.get_by_label("Pitch, mm")).to_have_value("2300")


@pytest.mark.parametrize("width", [1280, 360])
def test_what_it_would_lack_stands_beside_it_and_leads_to_a_form(
    browser: Browser, system: FenceSystem, cast: Cast, signed_in: Any, live_server: Any, width: int
) -> None:
    with new_page(browser, width) as page:
        _open(page, cast, signed_in, live_server, system)
        stock = page.locator("section", has=page.get_by_role("heading", name="Rails")).get_by_label("Stock lengths, mm")
        stock.fill(stock.input_value() + ", 5777")
        page.get_by_role("button", name="Check only").click()
        expect(page.get_by_text("No 5777 rail in").first).to_be_visible()
        expect(page.get_by_text("It is not saved")).to_be_visible()
        page.get_by_role("button", name="Save as version 2").click()
        check_page(page)
        photograph(page, "fence-system-lacks")
        page.get_by_role("link", name=re.compile("No 5777 rail in")).first.click()
        expect(page.get_by_label("Length, mm")).to_have_value("5777")
        expect(page.get_by_label("Role")).to_have_value("rail")
        check_page(page)


def test_it_is_kept_with_the_keyboard_alone_and_without_script(
    browser: Browser, system: FenceSystem, cast: Cast, signed_in: Any, live_server: Any
) -> None:
    with new_page(browser, 1280, script=False) as page:
        _open(page, cast, signed_in, live_server, system)
        page.get_by_label("Maximum step, mm").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type("180")
        for _ in range(200):
            page.keyboard.press("Tab")
            if page.get_by_role("button", name="Save as version 2").evaluate("it => it === document.activeElement"):
                break
        page.keyboard.press("Enter")
        expect(page.get_by_text("Version 2 saved")).to_be_visible()
        expect(page.get_by_label("Maximum step, mm")).to_have_value("180")
