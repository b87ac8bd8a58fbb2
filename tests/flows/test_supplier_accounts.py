"""A supplier with one account: the quick start from the docs, and several businesses whose orders it sees apart."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from lxml import etree

from catalogue.models import Supplier
from quotes.integrations.sandbox import open_sandbox
from quotes.purchasing import services as order_services
from quotes.purchasing.draft_orders import start_order
from quotes.purchasing.models import SupplierOrder
from shared.business.actors import SYSTEM
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES, Scope
from shared.members import services
from shared.members.services import issue_key
from shared.models import Business, SupplierAccount
from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller
from tests.quotes.quoting.cast import actor_of, stock_up

Keys = Callable[..., Client]
Orders = dict[str, SupplierOrder]


@pytest.fixture
def orders(cast: Cast) -> Orders:
    """One order of each of two businesses to each of two suppliers: ``here ostrel``, ``there merrow`` …"""
    made: Orders = {}
    accounts = {"ostrel": cast.supplier, "merrow": cast.other_supplier}
    for name, business in (("here", cast.business), ("there", cast.strangers_business)):
        stock_up(business)
        for code, account in accounts.items():
            Supplier.objects.of(business).filter(code=code).update(account=account)
            made[f"{name} {code}"] = ordered(business, code)
    return made


def ordered(business: Business, code: str) -> SupplierOrder:
    """Place an order with this supplier."""
    lines = [{"component": "HG-1", "quantity": Decimal(10), "price": Decimal("2.50")}]
    supplier = Supplier.objects.of(business).get(code=code)
    order = start_order(supplier=supplier, actor=actor_of(business), lines=lines)
    return order_services.place(order=order, actor=actor_of(business), allow_below_minimum=True)


def refs(caller: Caller, path: str) -> set[str]:
    return {row["ref"] for row in caller.get(path)["items"]}


@pytest.mark.django_db
def test_a_suppliers_key_sees_its_own_orders_in_each_business_and_no_others(
    cast: Cast, orders: Orders, key_client: Keys
) -> None:
    assert {order.supplier.code for order in orders.values()} == {"ostrel", "merrow"}
    for code, account in (("ostrel", cast.supplier), ("merrow", cast.other_supplier)):
        theirs = Caller(key_client(supplier=account))
        own = {name: order.ref for name, order in orders.items() if name.endswith(code)}
        assert refs(theirs, "supply/orders") == set(own.values())
        assert refs(theirs, f"supply/orders?business={cast.business.ref}") == {own[f"here {code}"]}
        assert refs(theirs, f"supply/orders?business={cast.strangers_business.ref}") == {own[f"there {code}"]}
        assert refs(theirs, "supply/orders?business=nowhere") == set()
        for order in orders.values():
            theirs.get(f"supply/orders/{order.ref}", status=200 if order.ref in own.values() else 404)
        buyers = {theirs.get(f"supply/orders/{ref}")["buyer"]["name"] for ref in own.values()}
        assert buyers == {cast.business.name, cast.strangers_business.name}


@pytest.mark.django_db
def test_a_businesss_key_sees_its_own_orders_alone_whoever_they_went_to(
    cast: Cast, orders: Orders, key_client: Keys
) -> None:
    for name, business in (("here", cast.business), ("there", cast.strangers_business)):
        own = {order.ref for key, order in orders.items() if key.startswith(name)}
        desk = Caller(key_client(*BUSINESS_SCOPES, business=business))
        assert refs(desk, "orders") == own
        for order in orders.values():
            desk.get(f"orders/{order.ref}", status=200 if order.ref in own else 404)
        desk.get("supply/orders", status=403)


@pytest.mark.django_db
def test_the_same_number_in_two_businesses_is_two_orders_and_an_answer_reaches_one(
    cast: Cast, orders: Orders, key_client: Keys
) -> None:
    theirs = Caller(key_client(supplier=cast.supplier))
    here, there = orders["here ostrel"], orders["there ostrel"]
    assert here.number == there.number
    assert refs(theirs, f"supply/orders?number={here.number}") == {here.ref, there.ref}
    theirs.post(f"supply/orders/{here.ref}/responses", {"number": "R1", "code": "AP"})
    states = {ref: theirs.get(f"supply/orders/{ref}")["status"] for ref in (here.ref, there.ref)}
    assert states == {here.ref: "acknowledged", there.ref: "placed"}
    theirs.post(f"supply/orders/{there.ref}/responses", {"number": "R1", "code": "RE"})
    data = {row["order"]["ref"] for row in theirs.get("supply/events?page_size=100")["items"]}
    assert data == {here.ref, there.ref}
    for name, business, code in (("here", cast.business, "AP"), ("there", cast.strangers_business, "RE")):
        desk = Caller(key_client(*BUSINESS_SCOPES, business=business))
        replies = desk.get(f"orders/{orders[f'{name} ostrel'].ref}")["responses"]
        assert [reply["code"] for reply in replies] == [code]


@pytest.mark.django_db
def test_a_price_for_one_business_is_none_for_the_other(cast: Cast, orders: Orders, key_client: Keys) -> None:
    theirs = Caller(key_client(supplier=cast.supplier))
    day = (timezone.localdate() + timedelta(days=1)).isoformat()

    def prices(business: Business) -> list[str]:
        asked = f"supply/prices?business={business.ref}&component=HG-1&as_of={day}"
        return [row["price"] for row in theirs.get(asked)["items"]]

    assert prices(cast.business) == prices(cast.strangers_business) == ["16.40"]
    body = {"business": cast.business.ref, "component": "HG-1", "price": "15.00", "valid_from": day}
    theirs.post("supply/prices", body)
    assert (prices(cast.business), prices(cast.strangers_business)) == (["15.00"], ["16.40"])


@pytest.mark.django_db
def test_a_business_that_is_suspended_or_lets_the_supplier_go_is_out_of_its_sight_and_the_other_is_not(
    cast: Cast, orders: Orders, key_client: Keys
) -> None:
    theirs = Caller(key_client(supplier=cast.supplier))
    here, there = orders["here ostrel"].ref, orders["there ostrel"].ref
    Business.objects.filter(pk=cast.strangers_business.pk).update(suspended_at=timezone.now())
    assert refs(theirs, "supply/orders") == {here}
    theirs.get(f"supply/orders/{there}", status=404)
    Supplier.objects.of(cast.business).filter(code="ostrel").update(account=None)
    assert refs(theirs, "supply/orders") == set()


@pytest.mark.django_db
def test_a_key_of_one_account_that_is_revoked_ends_and_the_other_goes_on(cast: Cast, orders: Orders) -> None:
    keys = [
        services.issue_key(name=name, scopes={Scope.SUPPLY_READ}, supplier_account=cast.supplier, actor=SYSTEM)
        for name in ("old", "new")
    ]
    services.revoke_key(key=keys[0][0], actor=SYSTEM)
    old, new = (Caller(Client(headers={"Authorization": f"Bearer {text}"})) for _, text in keys)
    old.get("supply/orders", status=401)
    assert refs(new, "supply/orders") == {orders["here ostrel"].ref, orders["there ostrel"].ref}


@pytest.mark.django_db
def test_no_business_gives_out_a_key_to_a_system_that_serves_another_too(
    cast: Cast, orders: Orders, signed_in: Any
) -> None:
    supplier = Supplier.objects.of(cast.business).get(code="ostrel")
    before = cast.supplier.api_keys.count()
    Caller(signed_in(cast.owner)).post(f"suppliers/{supplier.ref}/keys", {"name": "till"}, status=409)
    assert cast.supplier.api_keys.count() == before


ROOT = Path(__file__).resolve().parents[2]
DOCS = (ROOT / "docs" / "supplier-api.md").read_text(encoding="utf-8")
VECTOR = {
    # Standard Webhooks 1.0.0, the specification's own example
    "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
    "headers": {
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    },
    "body": '{"test": 2432232314}',
}


def snippet(language: str) -> str:
    """Return the first snippet in a language (``python verify`` for one of its own)."""
    found = re.search(rf"^```{re.escape(language)}\n(.*?)^```", DOCS, re.DOTALL | re.MULTILINE)
    assert found, language
    return found[1]


def need(program: str) -> str:
    """Return the path of a program. Fail with its name if it is missing."""
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"not run: needs {program}")
    return found


@pytest.fixture
def account(cast: Cast, transactional_db: None) -> SupplierAccount:
    open_sandbox(cast.supplier)
    return cast.supplier


def run(account: SupplierAccount, live_server: Any, where: Path, *command: str) -> str:
    """Output of a command that has the address and a test key in its environment.

    By number, as the test server listens there and an older Node takes a name's first address only, which may be ::1.
    """
    _, key = issue_key(name="quick start", scopes=SUPPLIER_SCOPES, supplier_account=account, live=False, actor=SYSTEM)
    environment = {
        **os.environ,
        "BAYWRIGHT_URL": live_server.url.replace("localhost", "127.0.0.1"),
        "BAYWRIGHT_KEY": key,
        "no_proxy": "*",
    }
    done = subprocess.run(command, cwd=where, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_the_curl_snippet_accepts_an_order(account: SupplierAccount, live_server: Any, tmp_path: Path) -> None:
    need("curl")
    data = run(account, live_server, tmp_path, need("bash"), "-euc", snippet("bash"))
    assert data.strip() == '"status":"acknowledged"'
    assert etree.parse(str(tmp_path / "order.xml")).getroot().tag.endswith("}Order")
    assert json.loads((tmp_path / "accepted.json").read_text())["response_status"] == "accepted"


def test_the_python_snippet_back_orders_a_part_and_despatches_once(
    account: SupplierAccount, live_server: Any, tmp_path: Path
) -> None:
    assert (
        run(account, live_server, tmp_path, sys.executable, "-c", snippet("python"))
        == "partly_accepted\ndespatched 1\n"
    )


def test_the_javascript_snippet_polls_until_it_is_up_to_date(
    account: SupplierAccount, live_server: Any, tmp_path: Path
) -> None:
    script = tmp_path / "poll.mjs"
    script.write_text(snippet("javascript"))
    data = run(account, live_server, tmp_path, need("node"), str(script)).splitlines()
    assert data == ["O0001 placed", "O0002 placed", "up to date"]


@pytest.mark.parametrize("body", ["", " tampered"])
def test_both_verifiers_know_the_published_vector_and_what_was_tampered_with(body: str, tmp_path: Path) -> None:
    good = body == ""
    names: dict[str, Any] = {}
    exec(snippet("python verify"), names)  # noqa: S102 - the docs' own snippet
    sent = (str(VECTOR["body"]) + body).encode()
    assert names["verify"](VECTOR["secret"], VECTOR["headers"], sent, now=1614265330) is good
    assert names["verify"](VECTOR["secret"], VECTOR["headers"], sent, now=1614265330 + 361) is False
    (tmp_path / "verify.mjs").write_text(snippet("javascript verify"))
    data = json.dumps({**VECTOR, "body": sent.decode()})
    (tmp_path / "ask.mjs").write_text(
        f'import {{ verify }} from "./verify.mjs";\nconst call = {data};\n'
        "console.log(verify(call.secret, call.headers, call.body, 1614265330));\n"
    )
    answer = subprocess.run(
        [need("node"), "ask.mjs"], cwd=tmp_path, capture_output=True, text=True, timeout=30, check=True
    )
    assert answer.stdout.strip() == str(good).lower()


def test_no_snippet_for_checking_a_signature_is_longer_than_twenty_lines() -> None:
    for language in ("python verify", "javascript verify"):
        lines = [line for line in snippet(language).splitlines() if line.strip()]
        assert len(lines) <= 20
