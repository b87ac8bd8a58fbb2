"""Two suppliers' systems, each a client generated from our OpenAPI document, through one fence's orders over a live server."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from django.test import Client

from catalogue.queries import suppliers
from quotes.orders.models import OrderLine
from shared.business.roles import SUPPLIER_SCOPES
from shared.business.services import issue_key
from shared.models import Business
from shared.reference import document
from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller
from tests.quotes.exchange.receiver import Receiver, receiving
from tests.quotes.offers.cast import stock_up
from tests.quotes.orders.cast import agreed_job

pytestmark = pytest.mark.slow
PACKAGE = "generated_supply"
WAIT_S = 10


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], ModuleType]]:
    """Modules of a client that a stranger's tool makes of the supplier's part of our document."""
    where = tmp_path_factory.mktemp("client")
    told = document()
    told["paths"] = {path: one for path, one in told["paths"].items() if path.startswith("/api/v1/supply/")}
    (where / "openapi.json").write_text(json.dumps(told, default=str))
    (where / "tool.yml").write_text("post_hooks: []\n")
    tool = Path(sys.executable).with_name("openapi-python-client")
    subprocess.run(
        [
            tool, "generate", "--path", "openapi.json", "--config", "tool.yml", "--meta", "none",
            "--output-path", PACKAGE,
        ],
        cwd=where, check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    sys.path.insert(0, str(where))
    try:
        yield lambda name: importlib.import_module(f"{PACKAGE}.{name}")
    finally:
        sys.path.remove(str(where))


class System:
    """A supplier's system: it knows the generated client, its key, and its receiver of webhooks."""

    def __init__(self, generated: Callable[[str], ModuleType], url: str, key: str, receiver: Receiver) -> None:
        self.module, self.receiver = generated, receiver
        # a connection kept open would keep a thread of the live server, and its database, beyond the test
        closing = {"Connection": "close"}
        self.client = generated("client").AuthenticatedClient(base_url=url, token=key, headers=closing)
        self.secret = ""

    def call(self, name: str, *refs: str, body: tuple[str, dict[str, Any]] | None = None, **asked: Any) -> Any:
        """One call of the generated client; ``body`` is the model's module and class, and its members."""
        function = self.module(f"api.supply.{name}").sync
        if body is not None:
            kind, members = body
            module = "".join(f"_{char.lower()}" if char.isupper() else char for char in kind).lstrip("_")
            asked["body"] = getattr(self.module(f"models.{module}"), kind).from_dict(members)
        answer = function(*refs, client=self.client, **asked)
        assert type(answer).__name__ != "Problem", answer
        return answer.to_dict()

    def subscribe(self) -> None:
        """Asks for events at its receiver."""
        told = self.call("post_supply_webhooks", body=("EndpointIn", {"url": self.receiver.url}))
        self.secret = told["secret"]

    def order(self) -> dict[str, Any]:
        """The one order it was sent, found by polling."""
        [found] = self.call("get_supply_orders", changed_after="0")["items"]
        whole: dict[str, Any] = self.call("get_supply_orders_ref", found["ref"])
        return whole

    def waits_for(self, kind: str) -> None:
        """Until an event of a type came by webhook."""
        until = time.monotonic() + WAIT_S
        while kind not in self.receiver.kinds():
            assert time.monotonic() < until, (kind, self.receiver.kinds())
            time.sleep(0.05)


@pytest.fixture
def yard(cast: Cast, transactional_db: None) -> Business:
    """Two suppliers of the starter catalogue have systems of their own."""
    stock_up(cast.business)
    accounts = [cast.supplier, cast.other_supplier]
    for supplier, account in zip(suppliers(cast.business).filter(active=True).order_by("code"), accounts, strict=False):
        supplier.account = account
        supplier.save()
    return cast.business


@pytest.fixture
def systems(
    yard: Business, cast: Cast, live_server: Any, settings: Any, generated: Callable[[str], ModuleType]
) -> Iterator[dict[str, System]]:
    """Both systems by the supplier's code."""
    settings.WEBHOOKS_TO_LOOPBACK = True
    with ExitStack() as stack:
        found: dict[str, System] = {}
        for supplier in suppliers(yard).filter(account__isnull=False):
            _, key = issue_key(name="till", scopes=SUPPLIER_SCOPES, supplier_account=supplier.account)
            found[supplier.code] = System(generated, live_server.url, key, stack.enter_context(receiving()))
        yield found
        for system in found.values():
            system.client.get_httpx_client().close()


def test_two_suppliers_take_a_fences_orders_to_the_end_one_with_a_back_order(
    yard: Business, cast: Cast, systems: dict[str, System], signed_in: Callable[..., Client]
) -> None:
    owner = Caller(signed_in(cast.owner))
    for system in systems.values():
        system.subscribe()
    drafts = owner.post("orders/for-jobs", {"jobs": [agreed_job(yard, 12000, 7200).ref]})["items"]
    assert {draft["supplier"]["code"] for draft in drafts} == set(systems)
    for draft in drafts:
        owner.post(f"orders/{draft['ref']}/placing", status=200)
    for system in systems.values():
        system.waits_for("order.placed")
    first, second = (systems[draft["supplier"]["code"]] for draft in drafts)
    _whole(owner, first)
    _with_back_order(owner, second)
    for line in OrderLine.objects.of(yard):
        assert line.received == line.quantity
        assert line.outstanding == line.cancelled == 0
    assert {row["state"] for row in owner.get("orders")["items"]} == {"received"}
    kinds = [event["type"] for event in second.call("get_supply_events")["items"]]
    assert kinds.count("order.despatched") == kinds.count("order.received") == 2


def _whole(owner: Caller, system: System) -> None:
    """Accepted whole, despatched at once."""
    order = system.order()
    system.call("post_supply_orders_ref_replies", order["ref"], body=("OrderReplyIn", {"number": "R1", "code": "AP"}))
    _despatch(system, order, "D1", {line["line"]: line["quantity"] for line in order["lines"]})
    _count_in(owner, order, "D1", {line["line"]: line["quantity"] for line in order["lines"]})


def _with_back_order(owner: Caller, system: System) -> None:
    """Of the first line one piece now, the rest a month later, each docket sent twice."""
    order = system.order()
    first, *others = order["lines"]
    said = {
        "line": first["line"],
        "said": "change",
        "quantity": "1",
        "promised": "2031-06-01",
        "reason": "rolled in May",
    }
    reply = {"number": "R1", "code": "CA", "lines": [said]}
    told = system.call("post_supply_orders_ref_replies", order["ref"], body=("OrderReplyIn", reply))
    assert told["answer"] == "part"
    now = {first["line"]: "1", **{line["line"]: line["quantity"] for line in others}}
    rest = {first["line"]: str(int(first["quantity"]) - 1)}
    for number, load in (("D1", now), ("D2", rest)):
        _despatch(system, order, number, load)
        _despatch(system, order, number, load)
        _count_in(owner, order, number, load)
    system.waits_for("order.received")


def _despatch(system: System, order: dict[str, Any], number: str, load: dict[int, str]) -> None:
    lines = [{"line": line, "quantity": quantity} for line, quantity in load.items()]
    docket = {"number": number, "lines": lines}
    system.call("post_supply_orders_ref_despatches", order["ref"], body=("DocketIn", docket))


def _count_in(owner: Caller, order: dict[str, Any], number: str, load: dict[int, str]) -> None:
    lines = [{"line": line, "quantity": quantity} for line, quantity in load.items()]
    body = {"docket": number, "received": "2031-05-06", "lines": lines}
    told = owner.post(f"orders/{order['ref']}/receipts", body)
    assert told["lines"][0]["on_the_way"] == "0"
