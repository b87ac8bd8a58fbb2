"""Settings, prices, fence systems, orders and stock in Chromium: every page at both widths."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from catalogue.models import Component, FenceSystem
from quotes.jobs.models import Job
from quotes.purchasing.stock_services import add_stock
from quotes.quoting.customer_responses import accept
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import PARTIES, actor_of, measure, sent, stock_up, token

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.mark.parametrize("width", [1280, 360])
def test_prices_are_looked_at_and_a_file_is_tried_out(
    browser: Browser, business: Business, cast: Cast, signed_in: Any, live_server: Any, width: int
) -> None:
    stock_up(business)
    system = FenceSystem.objects.of(business).get(is_default=True)
    with new_page(browser, width) as page:
        sign_in(page, signed_in(cast.owner), live_server.url)
        for address in (
            "prices",
            "prices/components",
            "prices/supplier-prices/new",
            "prices/price-rules",
            f"prices/systems/{system.ref}",
        ):
            page.goto(f"{live_server.url}/{address}")
            check_page(page)
            photograph(page, address.replace("/", "-").removesuffix(f"-{system.ref}"))
        page.goto(f"{live_server.url}/prices/import")
        check_page(page)
        sheet = b"sku,name,role,sale_unit\nX-1,Washer,screw,C62\nX-2,,nonsense,C62\n"
        page.get_by_label("Data type").select_option("components")
        page.get_by_label("CSV or XLSX").set_input_files({"name": "parts.csv", "mimeType": "text/csv", "buffer": sheet})
        page.get_by_role("button", name="Preview import").click()
        expect(page.get_by_text("Correct the rejected rows before you import")).to_be_visible()
        check_page(page)
        photograph(page, "prices-import")


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
