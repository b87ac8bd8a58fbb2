"""Every ledger line has an account, and each button of the accounting page leads to a file or page that is there."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from catalogue.models import Component, PriceRule, SupplierTerms
from catalogue.queries import price_rules_on
from quotes.accounting.order_posting import post
from quotes.purchasing import services
from quotes.purchasing.models import SupplierOrder
from shared.business.models import Person
from shared.database.audit_log import AuditEntry
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press, squeeze
from tests.quotes.accounting.test_books import FOREVER, rows_of
from tests.quotes.purchasing.cast import placed
from tests.quotes.quoting.cast import actor_of, stock_up

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard(cast: Cast) -> Business:
    stock_up(cast.business)
    SupplierTerms.objects.of(cast.business).update(delivery_fees=[["0", "10.00"]])
    Component.objects.of(cast.business).filter(role="screw").update(account_code="")
    return cast.business


@pytest.fixture
def keeper(cast: Cast, signed_in: Callable[[Person], Client]) -> Client:
    return signed_in(cast.bookkeeper)


def change(client: Client, accounts: Any) -> Any:
    etag = client.get("/api/v1/business").headers["ETag"]
    return client.patch(
        "/api/v1/business", {"accounts": accounts}, content_type="application/json", headers={"If-Match": etag}
    )


def test_delivery_and_components_without_a_code_are_entered_on_the_accounts_of_the_business(
    yard: Business, keeper: Client, owner_client: Client
) -> None:
    [tax] = PriceRule.objects.of(yard).filter(kind="tax", option="S").values_list("applies_to", flat=True)
    accounts = {"goods": "5000", "delivery": "5300", "tax": {tax: "2200"}}
    assert change(owner_client, accounts).json()["accounts"] == accounts
    yard.refresh_from_db()
    order = placed(yard)  # a rail with a code of its own, and screws without one
    post(order)
    rows = rows_of(keeper, f"ledger.csv?{FOREVER}")
    assert [row["account"] for row in rows if row["description"] == "Delivery"] == ["5300"]
    assert {row["account"] for row in rows} == {"5100", "5000", "5300"}
    assert {row["tax_account"] for row in rows} == {"2200"}
    assert all(row["account"] for row in rows_of(keeper, f"order-totals.csv?{FOREVER}&group_by=account"))


def test_without_accounts_the_lines_are_exported_with_an_empty_one_and_the_page_counts_them(
    yard: Business, keeper: Client, owner_client: Client
) -> None:
    post(placed(yard))
    rows = rows_of(keeper, f"ledger.csv?{FOREVER}")
    assert sum(not row["account"] for row in rows) == 2
    page = squeeze(keeper.get(f"/accounting?{FOREVER}").content.decode())
    assert "2 ledger lines have no account code." in page
    assert "/settings/accounts" in owner_client.get(f"/accounting?{FOREVER}").content.decode()


def test_what_changes_later_is_entered_on_the_account_it_was_entered_on_first(
    yard: Business, keeper: Client, owner_client: Client
) -> None:
    change(owner_client, {"delivery": "5300"})
    yard.refresh_from_db()
    order = placed(yard)
    post(order)
    change(owner_client, {"delivery": "5400"})
    order = SupplierOrder.objects.of(yard).select_related("business", "supplier").get(pk=order.pk)
    services.cancel(order=order, actor=actor_of(yard), reason="withdrawn")
    post(order)
    rows = rows_of(keeper, f"order-totals.csv?{FOREVER}&group_by=account")
    assert {row["net"] for row in rows} == {"0.00"}
    assert "5400" not in {row["account"] for row in rows}


def test_quote_lines_use_the_accounts_for_labour_and_sales_where_no_price_rule_names_one(yard: Business) -> None:
    yard.accounts = {"labour": "4150", "sales": "4050"}
    rules = price_rules_on(yard)
    assert (rules.account("labour"), rules.account("materials")) == ("4100", "4000")
    PriceRule.objects.of(yard).filter(kind="account").delete()
    rules = price_rules_on(yard)
    assert (rules.account("labour"), rules.account("materials")) == ("4150", "4050")


def test_accounts_are_typed_on_a_page_of_the_settings(yard: Business, owner_client: Client) -> None:
    page = owner_client.get("/settings/accounts").content.decode()
    assert 'name="goods"' in page
    [tax] = PriceRule.objects.of(yard).filter(kind="tax", option="S").values_list("applies_to", flat=True)
    typed = {"goods": " 5000 ", "delivery": "5300", "labour": "", "sales": "4000", f"tax.{tax}": "2200"}
    assert press(owner_client, "/settings/accounts", typed).status_code == 302
    yard.refresh_from_db()
    assert yard.accounts == {"goods": "5000", "delivery": "5300", "sales": "4000", "tax": {tax: "2200"}}
    assert 'value="5300"' in owner_client.get("/settings/accounts").content.decode()
    assert AuditEntry.objects.filter(business=yard, action="business.changed").count() == 1
    assert press(owner_client, "/settings/accounts", {"delivery": ""}).status_code == 302
    yard.refresh_from_db()
    assert yard.accounts == {"tax": {}}


def test_an_account_that_is_too_long_is_refused_and_nothing_is_changed(yard: Business, owner_client: Client) -> None:
    response = press(owner_client, "/settings/accounts", {"goods": "9" * 41, "delivery": "5300"})
    assert response.status_code == 422
    assert "Enter at most 40 characters." in response.content.decode()
    assert 'value="5300"' in response.content.decode()
    yard.refresh_from_db()
    assert yard.accounts == {}


@pytest.mark.parametrize(
    "accounts", [{"rent": "1"}, {"goods": "9" * 41}, {"tax": {"": "1"}}, {"tax": {"a\u0000": "1"}}, {"tax": {"x": 1}}]
)
def test_the_api_refuses_accounts_that_are_none(yard: Business, owner_client: Client, accounts: Any) -> None:
    assert change(owner_client, accounts).status_code in {400, 422}


def test_the_api_changes_some_accounts_and_keeps_the_others(yard: Business, owner_client: Client) -> None:
    change(owner_client, {"goods": "5000", "tax": {"a": "1", "b": "2"}})
    kept = change(owner_client, {"goods": "", "sales": "4000", "tax": {"a": ""}}).json()["accounts"]
    assert kept == {"sales": "4000", "tax": {"b": "2"}}


def test_nobody_but_who_may_change_the_business_opens_the_accounts(
    cast: Cast, signed_in: Callable[[Person], Client]
) -> None:
    assert signed_in(cast.crew).get("/settings/accounts").status_code == 403


def test_every_button_of_the_accounting_page_gives_its_file(cast: Cast, signed_in: Callable[[Person], Client]) -> None:
    stock_up(cast.business)
    client = signed_in(cast.bookkeeper)
    page = client.get("/accounting").content.decode()
    buttons = re.findall(r'<button [^>]*?(?:name="group_by" value="(\w+)" )?formaction="([^"]+)"', page)
    assert len(buttons) >= 12
    for group, address in buttons:
        days = {"from": "2026-01-01", "to": "2026-12-31", **({"group_by": group} if group else {})}
        answer: Any = client.get(address, days)
        assert answer.status_code == 200, address
        assert b"".join(answer.streaming_content if answer.streaming else [answer.content])
