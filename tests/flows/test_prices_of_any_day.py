"""Prices of any day stay known: prices start and end, and past prices are never overwritten."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from catalogue.models import Supplier, SupplierPrice
from shared.models import Business
from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller, draft_quote, send_quote
from tests.forms import press
from tests.quotes.quoting.cast import stock_up

pytestmark = pytest.mark.django_db
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
