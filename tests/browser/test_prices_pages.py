"""Price pages in Chromium at both widths, and a file that is previewed before the import."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from catalogue.models import FenceSystem
from shared.models import Business
from tests.browser.looking import check_page, new_page, photograph, sign_in
from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up

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
