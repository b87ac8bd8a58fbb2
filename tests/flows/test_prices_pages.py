"""Prices on their pages, and the prices of any day."""

from __future__ import annotations

import json
import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from catalogue.models import Component, FenceSystem, FenceSystemVersion, Finish, Supplier, SupplierPrice
from shared.models import Business
from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller, draft_quote, send_quote
from tests.forms import Values, press
from tests.quotes.quoting.cast import stock_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(owner_client: Client, business: Business) -> Client:
    stock_up(business)
    return owner_client


def test_a_finish_is_added_changed_and_removed(owner: Client, business: Business) -> None:
    owner.post("/prices/finishes/new", {"code": "duskfen", "name": "Duskfen", "active": "1"})
    finish = Finish.objects.of(business).get(code="duskfen")
    press(owner, f"/prices/finishes/{finish.ref}", {"code": "duskfen", "name": "Dusk fen", "active": "1"})
    finish.refresh_from_db()
    assert finish.name == "Dusk fen"
    press(owner, f"/prices/finishes/{finish.ref}", {"do": "remove"})
    assert not Finish.objects.of(business).filter(code="duskfen").exists()


def test_what_is_in_use_stays_and_says_so(owner: Client, business: Business) -> None:
    used = Component.objects.of(business).exclude(finish=None).select_related("finish").first()
    assert used is not None
    assert used.finish is not None
    page = press(owner, f"/prices/finishes/{used.finish.ref}", {"do": "remove"})
    assert (page.status_code, "It is in use" in page.content.decode()) == (422, True)


def test_a_new_price_begins_today_or_later_with_its_breaks(owner: Client, business: Business) -> None:
    component = Component.objects.of(business).order_by("id").first()
    supplier = Supplier.objects.of(business).order_by("id").first()
    assert component is not None
    assert supplier is not None
    data = {"component": component.sku, "supplier": supplier.code, "price": "12,50", "price_breaks": "10 11.50; 50 11"}
    yesterday, tomorrow = (timezone.localdate() + timedelta(days=days) for days in (-1, 1))
    page = owner.post("/prices/supplier-prices/new", {**data, "valid_from": str(yesterday)})
    assert page.status_code == 422
    assert 'value="12,50"' in page.content.decode()
    assert owner.post("/prices/supplier-prices/new", {**data, "valid_from": str(tomorrow)}).status_code == 302
    offer = SupplierPrice.objects.of(business).get(component=component, supplier=supplier, valid_from=tomorrow)
    assert (offer.price, offer.price_breaks) == (Decimal("12.5"), [["10", "11.50"], ["50", "11"]])


def test_every_list_and_every_form_of_a_stored_row_opens(owner: Client, business: Business) -> None:
    for name in ("components", "supplier-prices", "price-rules", "suppliers", "supplier-terms", "finishes"):
        page = owner.get(f"/prices/{name}").content.decode()
        found = re.search(rf'href="(/prices/{name}/[0-9A-Za-z]{{10,}})"', page)
        assert found, name
        assert owner.get(found.group(1)).status_code == 200


def test_a_form_kept_as_it_was_shown_changes_nothing(owner: Client, business: Business) -> None:
    component = Component.objects.of(business).exclude(length_mm=None).first()
    assert component is not None
    page = owner.get(f"/prices/components/{component.ref}").content.decode()
    shown = Values(page).shown
    before = component.version
    assert press(owner, f"/prices/components/{component.ref}", shown).status_code == 302
    component.refresh_from_db()
    assert component.version == before


def test_a_file_is_tried_out_then_taken_in_without_choosing_it_again(
    owner: Client, business: Business, django_capture_on_commit_callbacks: Any
) -> None:
    sheet = owner.get("/prices/sheets/components.csv").content
    label = Component.objects.of(business).order_by("id").first()
    assert label is not None
    changed = sheet.replace(label.name.encode(), b"Renamed part", 1)
    upload = SimpleUploadedFile("parts.csv", changed, content_type="text/csv")
    page = owner.post("/prices/import", {"kind": "components", "file": upload, "do": "try"}).content.decode()
    assert re.search(r"<dt>Changed</dt>\s*<dd>1</dd>", page)
    assert not Component.objects.of(business).filter(name="Renamed part").exists()
    carried = re.search(r'name="carried" value="([^"]+)"', page)
    assert carried
    with django_capture_on_commit_callbacks(execute=True):
        owner.post(
            "/prices/import",
            {"kind": "components", "carried": carried.group(1), "file_name": "parts.csv", "do": "take"},
        )
    assert Component.objects.of(business).filter(name="Renamed part").exists()


def test_a_file_that_is_no_sheet_is_refused_in_words(owner: Client) -> None:
    upload = SimpleUploadedFile("parts.csv", b"\x00\x01", content_type="text/csv")
    assert owner.post("/prices/import", {"kind": "components", "file": upload, "do": "try"}).status_code == 422
    assert owner.post("/prices/import", {"kind": "components", "do": "try"}).status_code == 422


def test_a_fence_system_gets_its_next_version_and_bad_json_is_kept_for_mending(
    owner: Client, business: Business
) -> None:
    system = FenceSystem.objects.of(business).get(is_default=True)
    version = FenceSystemVersion.objects.of(business).get(system=system, number=system.latest_version)
    press(
        owner,
        f"/prices/systems/{system.ref}",
        {"do": "json", "document": json.dumps({**version.document, "label": "Renamed"})},
    )
    system.refresh_from_db()
    assert (system.label, system.latest_version) == ("Renamed", version.number + 1)
    page = press(owner, f"/prices/systems/{system.ref}", {"do": "json", "document": "{oops"})
    assert (page.status_code, "{oops" in page.content.decode()) == (422, True)


def test_who_reads_the_catalogue_only_changes_nothing(cast: Cast, signed_in: Any, business: Business) -> None:
    stock_up(business)
    estimator = signed_in(cast.estimator)
    assert estimator.get("/prices/price-rules").status_code == 200
    assert estimator.post("/prices/price-rules/new", {"kind": "labour"}).status_code == 403
    for person, status in ((cast.crew, 403), (cast.bookkeeper, 403), (cast.stranger, 200)):
        assert signed_in(person).get("/prices").status_code == status
    component = Component.objects.of(business).first()
    assert component is not None
    assert signed_in(cast.stranger).get(f"/prices/components/{component.ref}").status_code == 404


# the starter's hinge costs 16.40 at ostrel since 2024-01-01; the owner then gives these, each on its first day
SPRING, SUMMER, AUTUMN = date(2031, 3, 1), date(2031, 6, 1), date(2031, 9, 1)
PRICES = {SPRING: "17.00", SUMMER: "15.50", AUTUMN: "18.25"}
RATES = {SPRING: "28", SUMMER: "30", AUTUMN: "26"}
DAYS = {
    "2023-12-31": None,
    "2024-01-01": "16.40",
    "2031-02-28": "16.40",
    "2031-03-01": "17.00",
    "2031-05-31": "17.00",
    "2031-06-01": "15.50",
    "2031-08-31": "15.50",
    "2031-09-01": "18.25",
    "2035-01-01": "18.25",
}


def at(day: date) -> Any:
    return time_machine.travel(datetime(day.year, day.month, day.day, 9, tzinfo=timezone.get_current_timezone()))


def caller(cast: Cast, signed_in: Any) -> Caller:
    """Sign the owner in on that day."""
    return Caller(signed_in(cast.owner))


@pytest.fixture
def priced(cast: Cast, signed_in: Any) -> Business:
    """Change prices through the API over a year, each on its day."""
    stock_up(cast.business)
    for day, price in PRICES.items():
        with at(day):
            owner = caller(cast, signed_in)
            data = {"supplier": "ostrel", "valid_from": day.isoformat()}
            owner.post("supplier-prices", {**data, "component": "HG-1", "price": price})
            owner.post("supplier-terms", {**data, "lead_time_days": day.month})
            rule = {"kind": "labour", "applies_to": "dig", "value": RATES[day], "valid_from": day.isoformat()}
            owner.post("price-rules", rule)
    return cast.business


def test_the_api_and_the_page_give_the_price_of_any_day(
    priced: Business, cast: Cast, signed_in: Any, key_client: Any
) -> None:
    with at(AUTUMN):
        client: Client = signed_in(cast.owner)
        supplier = priced_by(cast, priced, key_client)
        for day, price in DAYS.items():
            asked = f"component=HG-1&supplier=ostrel&as_of={day}"
            rows = client.get(f"/api/v1/supplier-prices?{asked}").json()["items"]
            assert [Decimal(row["price"]) for row in rows] == ([Decimal(price)] if price else []), day
            page = client.get(f"/prices/supplier-prices?{asked}").content.decode()
            shown = [item for item in {"16.40", *PRICES.values()} if f">{item}" in page]
            assert shown == ([price] if price else []), day
            own = supplier.get(f"/api/v1/supply/prices?component=HG-1&as_of={day}").json()["items"]
            assert [row["price"] for row in own] == [row["price"] for row in rows]


@pytest.mark.parametrize(
    ("day", "rate", "lead"),
    [("2031-02-28", "27", 5), ("2031-03-01", "28", 3), ("2031-08-31", "30", 6), ("2031-09-01", "26", 9)],
)
def test_rates_and_terms_of_any_day_are_those_that_counted_then(
    priced: Business, cast: Cast, signed_in: Any, day: str, rate: str, lead: int
) -> None:
    with at(AUTUMN):
        owner = caller(cast, signed_in)
        rules = owner.get(f"price-rules?kind=labour&applies_to=dig&as_of={day}")["items"]
        assert [Decimal(row["value"]) for row in rules] == [Decimal(rate)]
        terms = owner.get(f"supplier-terms?supplier=ostrel&as_of={day}")["items"]
        assert [row["lead_time_days"] for row in terms] == [lead]


def test_nothing_that_has_begun_can_be_written_over_by_any_door(priced: Business, cast: Cast, signed_in: Any) -> None:
    with at(AUTUMN):
        client = signed_in(cast.owner)
        owner = Caller(client)
        [spring] = owner.get("supplier-prices?component=HG-1&supplier=ostrel&as_of=2031-03-01")["items"]
        at_spring = f"supplier-prices/{spring['ref']}"
        for change in ({"price": "1.00"}, {"valid_from": "2031-09-02"}, {"valid_to": "2031-08-01"}):
            owner.patch(at_spring, change, status=422)
        late = {"component": "HG-1", "supplier": "ostrel", "price": "1.00", "valid_from": "2031-08-31"}
        owner.post("supplier-prices", late, status=422)
        tag = owner.etag(at_spring)
        assert client.delete(f"/api/v1/{at_spring}", headers={"If-Match": tag}).status_code == 422
        sheet = b"supplier,sku,price,valid_from\nostrel,HG-1,1.00,2031-03-01\n"
        data = client.post("/api/v1/imports?kind=supplier_prices&dry_run=true", sheet, content_type="text/csv").json()
        assert [(refusal["row"], refusal["column"]) for refusal in data["errors"]] == [(2, "price")]
        form = {"component": "HG-1", "supplier": "ostrel", "price": "1.00", "valid_from": "2031-03-01"}
        assert press(client, f"/prices/supplier-prices/{spring['ref']}", form).status_code == 422
        prices = (
            SupplierPrice.objects.of(priced)
            .filter(component__sku="HG-1", supplier__code="ostrel")
            .order_by("valid_from")
        )
        assert [str(row.price) for row in prices] == ["16.4000", "17.0000", "15.5000", "18.2500"]


def test_a_quote_that_was_sent_says_the_same_after_every_price_has_changed(
    cast: Cast, signed_in: Any, django_capture_on_commit_callbacks: Any
) -> None:
    stock_up(cast.business)
    with at(SPRING):
        owner = caller(cast, signed_in)
        _, draft = draft_quote(owner)
        send_quote(owner, draft, django_capture_on_commit_callbacks)
        before = owner.client.get(f"/api/v1/revisions/{draft['ref']}/content").content
        for row in owner.get("supplier-prices?page_size=200")["items"]:
            dearer = {name: row[name] for name in ("component", "supplier")}
            owner.post("supplier-prices", {**dearer, "price": "99.99", "valid_from": SPRING.isoformat()})
    with at(SUMMER):
        owner = caller(cast, signed_in)
        assert owner.client.get(f"/api/v1/revisions/{draft['ref']}/content").content == before


def priced_by(cast: Cast, business: Business, key_client: Any) -> Client:
    """Return the client of the supplier whose prices these are."""
    Supplier.objects.of(business).filter(code="ostrel").update(account=cast.supplier)
    client: Client = key_client(supplier=cast.supplier)
    return client
