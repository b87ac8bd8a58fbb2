"""Two suppliers' systems, each a client generated from our OpenAPI document, through one fence's orders.

Nothing runs in the test's own process but the suppliers: web, worker, beat and Redis are real ones, and so are the receivers of
webhooks, which only the settings of this test let us call on loopback.
"""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from types import ModuleType
from typing import Any
from uuid import uuid4

import httpx
import pytest
import standardwebhooks

from shared.api.docs_views import document
from tests.faults.service import ROOT, Service, free_port, started_service, wait_until
from tests.quotes.integrations.receiver import Receiver, receiving
from tests.template_database import sqlite_template

pytestmark = [pytest.mark.redis, pytest.mark.slow]
PACKAGE = "generated_supply"
BEGIN = """
import django, json
django.setup()
from catalogue.queries import suppliers
from shared.members import services
from shared.business.actors import SYSTEM
from shared.business.models import Person
from shared.business.roles import BUSINESS_SCOPES, SUPPLIER_SCOPES
from shared.models import SupplierAccount, OutboxTask
from tests.quotes.quoting.cast import stock_up
from tests.quotes.purchasing.cast import agreed_job
owner = Person.objects.create_user("o@example.test")
business = services.start_business(owner=owner, name="Tern Bay Fencing", country="NZ", currency="NZD")
stock_up(business)
job, keys = agreed_job(business, 12000, 7200), {}
for supplier in suppliers(business).filter(active=True).order_by("code")[:2]:
    supplier.account = SupplierAccount.objects.create(name=supplier.name)
    supplier.save()
    issued = services.issue_key(name="till", scopes=SUPPLIER_SCOPES, supplier_account=supplier.account, actor=SYSTEM)
    keys[supplier.code] = issued[1]
OutboxTask.objects.all().delete()  # the quote's documents and mails are not what is tried here
key = services.issue_key(name="desk", scopes=BUSINESS_SCOPES, business=business, actor=SYSTEM)[1]
print(json.dumps({"key": key, "job": job.ref, "suppliers": keys}))
"""


class Live(Service):
    """A whole service: gunicorn, Celery's worker and beat, Redis, rows in a SQLite file."""

    @property
    def env(self) -> dict[str, str]:
        usual = {"BAYWRIGHT_JOB_LEASE_S": "60", "BAYWRIGHT_VISIBILITY_S": "600"}
        return {**super().env, **usual, "DJANGO_SETTINGS_MODULE": "tests.flows.loopback_settings"}

    def begin(self) -> dict[str, Any]:
        """Create a business, its suppliers' keys, and a job with an accepted quote."""
        done = subprocess.run(
            [sys.executable, "-c", BEGIN], cwd=ROOT, env=self.env, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr[-3000:]
        data: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
        return data

    def start(self) -> str:
        """Web, worker and beat; the web's address."""
        port = free_port()
        self._run("gunicorn", "--config=docker/gunicorn.conf.py", "shared.wsgi:application", f"--bind=127.0.0.1:{port}")
        self._run(
            "celery",
            "--app=shared.background.celery_app",
            "worker",
            "--beat",
            f"--schedule={self.folder / 'beat'}",
            "--concurrency=1",
        )
        url = f"http://127.0.0.1:{port}"
        wait_until(lambda: _answers(url), "the web service does not answer")
        return url

    def _run(self, program: str, *options: str) -> None:
        with (self.folder / f"{program}.log").open("ab") as log:
            command = [sys.executable, "-m", program, *options]
            self.processes.append(subprocess.Popen(command, cwd=ROOT, env=self.env, stdout=log, stderr=log))


def _answers(url: str) -> bool:
    try:
        return httpx.get(f"{url}/healthz", trust_env=False).status_code == 200
    except httpx.TransportError:
        return False


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], ModuleType]]:
    """Modules of a client that a stranger's tool makes of the supplier's part of our document."""
    where = tmp_path_factory.mktemp("client")
    data = document()
    data["paths"] = {path: item for path, item in data["paths"].items() if path.startswith("/api/v1/supply/")}
    (where / "openapi.json").write_text(json.dumps(data, default=str))
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
        data = self.call("post_supply_webhooks", body=("EndpointIn", {"url": self.receiver.url}))
        self.secret = data["secret"]

    def order(self) -> dict[str, Any]:
        """Return the one order of the supplier, found by polling."""
        [found] = self.call("get_supply_orders", after_sequence="0")["items"]
        whole: dict[str, Any] = self.call("get_supply_orders_ref", found["ref"])
        return whole

    def is_active(self) -> bool:
        """Return whether its receiver has consented."""
        return [item["status"] for item in self.call("get_supply_webhooks")["items"]] == ["active"]

    def waits_for(self, kind: str) -> None:
        """Until an event of a type came by webhook."""
        wait_until(lambda: kind in self.receiver.kinds(), f"{kind} has not come")

    def heard(self) -> list[str]:
        """Every event that came by webhook."""
        return sorted(json.loads(body)["data"]["event"] for _, body in self.receiver.got)

    def logged(self) -> list[str]:
        """Every event of the log."""
        return sorted(event["ref"] for event in self.call("get_supply_events")["items"])

    def checks_signatures(self) -> None:
        """Every message bears a signature by this system's secret."""
        judge = standardwebhooks.Webhook(self.secret)
        for headers, body in self.receiver.got:
            judge.verify(body, headers)


class Owner:
    """The business's own programs, by a key."""

    def __init__(self, url: str, key: str) -> None:
        self.client = httpx.Client(
            base_url=f"{url}/api/v1/", headers={"Authorization": f"Bearer {key}"}, trust_env=False
        )

    def get(self, path: str) -> Any:
        return self.client.get(path).raise_for_status().json()

    def post(self, path: str, body: Any = None) -> Any:
        answer = self.client.post(
            path, json=body or {}, headers={"Idempotency-Key": str(uuid4()), "If-Match": "*"}, timeout=30
        )
        assert answer.is_success, answer.text
        return answer.json()


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Live]:
    with started_service(Live(tmp_path), sqlite_template()) as made:
        yield made


def test_two_suppliers_take_a_fences_orders_to_the_end_one_with_a_back_order(
    live: Live, generated: Callable[[str], ModuleType]
) -> None:
    data, url = live.begin(), live.start()
    owner = Owner(url, data["key"])
    with ExitStack() as stack:
        stack.enter_context(owner.client)
        systems = {
            code: System(generated, url, key, stack.enter_context(receiving()))
            for code, key in data["suppliers"].items()
        }
        for system in systems.values():
            system.subscribe()
        wait_until(lambda: all(system.is_active() for system in systems.values()), "not both have consented")
        drafts = owner.post("orders/for-jobs", {"jobs": [data["job"]]})["items"]
        assert {draft["supplier"]["code"] for draft in drafts} == set(systems)
        for draft in drafts:
            owner.post(f"orders/{draft['ref']}/place")
        for system in systems.values():
            system.waits_for("order.placed")
        first, second = (systems[draft["supplier"]["code"]] for draft in drafts)
        _whole(owner, first)
        _with_back_order(owner, second)
        for draft in drafts:
            order = owner.get(f"orders/{draft['ref']}")
            assert order["status"] == "received"
            assert all(line["received"] == line["quantity"] for line in order["lines"])
            assert {(line["outstanding"], line["cancelled"]) for line in order["lines"]} == {("0", "0")}
        for system in systems.values():
            wait_until(lambda system=system: system.heard() == system.logged(), "not every event has come")  # type: ignore[misc]  # a value held fast
            system.checks_signatures()
        kinds = second.receiver.kinds()
        assert kinds.count("order.despatched") == kinds.count("order.goods_received") == 2


def _whole(owner: Owner, system: System) -> None:
    """Accept the whole order and despatch it at once."""
    order = system.order()
    system.call(
        "post_supply_orders_ref_responses", order["ref"], body=("OrderResponseIn", {"number": "R1", "code": "AP"})
    )
    _despatch(system, order, "D1", {line["line"]: line["quantity"] for line in order["lines"]})
    _count_in(owner, order, "D1", {line["line"]: line["quantity"] for line in order["lines"]})


def _with_back_order(owner: Owner, system: System) -> None:
    """Of the first line one piece now, the rest a month later, each docket sent twice."""
    order = system.order()
    first, *others = order["lines"]
    response = {
        "line": first["line"],
        "action": "change",
        "quantity": "1",
        "promised_on": "2031-06-01",
        "reason": "rolled in May",
    }
    reply = {"number": "R1", "code": "CA", "lines": [response]}
    data = system.call("post_supply_orders_ref_responses", order["ref"], body=("OrderResponseIn", reply))
    assert data["response_status"] == "partly_accepted"
    now = {first["line"]: "1", **{line["line"]: line["quantity"] for line in others}}
    rest = {first["line"]: str(int(first["quantity"]) - 1)}
    for number, load in (("D1", now), ("D2", rest)):
        _despatch(system, order, number, load)
        _despatch(system, order, number, load)
        _count_in(owner, order, number, load)
    system.waits_for("order.goods_received")


def _despatch(system: System, order: dict[str, Any], number: str, load: dict[int, str]) -> None:
    lines = [{"line": line, "quantity": quantity} for line, quantity in load.items()]
    docket = {"number": number, "lines": lines}
    system.call("post_supply_orders_ref_despatches", order["ref"], body=("DespatchIn", docket))


def _count_in(owner: Owner, order: dict[str, Any], number: str, load: dict[int, str]) -> None:
    lines = [{"line": line, "arrived_quantity": quantity} for line, quantity in load.items()]
    body = {"docket_number": number, "received_on": "2031-05-06", "lines": lines}
    data = owner.post(f"deliveries/{order['ref']}/receipts", body)
    assert data["lines"][0]["in_transit"] == "0"
