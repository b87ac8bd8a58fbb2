"""Every changing address: one audit entry, the version it was made for or a reason, and what null does in a PATCH."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver
from django.utils import timezone

from catalogue.models import (
    Component,
    FenceSystem,
    FenceSystemVersion,
    Finish,
    PriceRule,
    Supplier,
    SupplierPrice,
    SupplierTerms,
)
from quotes.integrations.models import WebhookEndpoint
from quotes.jobs.services import add_customer, add_site, open_job
from quotes.purchasing.draft_orders import start_order
from quotes.purchasing.models import Reservation, StockItem
from shared.api.row_serializer import short
from shared.business.actors import SYSTEM
from shared.business.roles import MemberRole
from shared.models import Business, SupplierAccount
from tests.conftest import Cast
from tests.matrix.addresses import Case, cases
from tests.matrix.calls import (
    CHANGING,
    FORMS,
    STEPS,
    SceneOf,
    call,
    entries_after,
    entry_count,
    open_form,
    stale,
    tasks_run,
)
from tests.matrix.changes import API, NOTHING_OF_A_BUSINESS
from tests.matrix.forms import BY_TASK, DRAFTS, OTHER_PAGES, PAGES, READ_ONLY
from tests.quotes.quoting.cast import actor_of

_SYSTEM = ["fencesystem.added", "fencesystem.version"]
# calls and forms that change several things, and the entries of those
SEVERAL = {
    "POST fence-systems": _SYSTEM,
    "POST imports": ["import.changed_rows", "import.applied"],
    "POST jobs": ["job.opened", "site.added"],
    "POST jobs/<str:ref>/copy": ["job.opened", "measure.saved"],
    "import-file": ["import.changed_rows", "import.applied"],
    "new-job": ["customer.added", "job.opened", "measure.started", "site.added"],
    "job-details": ["customer.changed", "site.changed"],
    "job-copy": ["job.opened", "measure.saved"],
    "revision": ["quote.changed", "quote.sent"],
    "prices": [
        "finish.added",
        "import.added_rows",
        "import.applied",
        "supplier.added",
        "supplierterms.added",
        *_SYSTEM,
    ],
    "new-fence-system": _SYSTEM,
}


def test_each_address_that_changes_something_is_called_or_has_a_reason() -> None:
    assert {(case.method, case.address) for case in CHANGING} == API.keys() | NOTHING_OF_A_BUSINESS.keys()
    assert not API.keys() & NOTHING_OF_A_BUSINESS.keys()


@pytest.mark.parametrize("case", STEPS, ids=str)
def test_a_change_by_the_api_leaves_an_entry(new_scene: SceneOf, case: Case) -> None:
    scene, name = new_scene(case.address), str(case)
    body = STEPS[case](scene, scene.client)
    before = entry_count(scene.business)
    with tasks_run(name in BY_TASK):
        answer = call(case, body, scene, **{"If-Match": "*"})
    assert answer.status_code < 300, answer.content.decode()[:300]
    check_entries(name, entries_after(scene.business, before))


@pytest.mark.parametrize("name", FORMS)
def test_a_change_by_a_page_leaves_an_entry(new_scene: SceneOf, name: str) -> None:
    scene = new_scene()
    path, entered, hidden = open_form(FORMS[name], scene)
    before = entry_count(scene.business)
    with tasks_run(name in BY_TASK):
        answer = scene.client.post(path, {**hidden, **entered})
    assert answer.status_code < 400, answer.content.decode()[:2000]
    if name not in DRAFTS:
        check_entries(name, entries_after(scene.business, before))


def check_entries(name: str, entries: list[tuple[str, str, str]]) -> None:
    """Check that there is one entry for each change: one, or those of ``SEVERAL``."""
    actions = sorted({action for action, _, _ in entries})
    assert actions == sorted(SEVERAL.get(name, actions[:1])), entries
    assert len(entries) == len(set(entries)), "an entry is there twice"
    assert name in SEVERAL or len(entries) == 1, entries


def test_each_page_is_called_or_has_a_reason() -> None:
    names = {name for name in get_resolver().reverse_dict if isinstance(name, str)}
    assert names == PAGES.keys() | OTHER_PAGES.keys() | READ_ONLY
    assert not PAGES.keys() & OTHER_PAGES.keys()


def test_only_services_write_audit_entries() -> None:
    interfaces = re.compile(r"(views|_api|/api/.*|tasks|admin|commands/.*|middleware)\.py$")
    writers = [
        str(path)
        for package in ("shared", "catalogue", "quotes")
        for path in Path(package).rglob("*.py")
        if interfaces.search(path.as_posix()) and re.search(r"\baudit_log\.record|\bAuditEntry\(", path.read_text())
    ]
    assert writers == []


CREATES, FACT = "creates a record", "states a fact, whatever was seen before"
REVOKES = "ends at once what may be in wrong hands; it never changes before"
SENDS = "sends something again and changes no record"

# changing calls that need no If-Match
CALLS_WITHOUT_VERSION: dict[str, str] = {
    "POST members": CREATES,
    "POST invitations": CREATES,
    "POST keys": CREATES,
    "DELETE keys/<str:ref>": REVOKES,
    **{
        f"POST {address}": CREATES
        for address in (
            "finishes", "components", "suppliers", "supplier-terms", "supplier-prices", "price-rules",
            "fence-systems", "customers",
            "customers/<str:ref>/sites", "jobs", "jobs/<str:ref>/copy", "jobs/<str:ref>/measures", "quotes", "webhooks",
            "quotes/<str:ref>/revisions", "orders", "orders/for-jobs", "stock", "suppliers/<str:ref>/keys", "supply/prices",
        )
    },
    "POST imports": "writes the values of the file; dry_run gives a preview",
    "POST cutting-plans/<str:ref>/cancel": "ends a calculation",
    "POST jobs/<str:ref>/events": CREATES,
    "POST jobs/<str:ref>/as-built": FACT,
    "POST jobs/<str:ref>/returned-materials": "adds each return to stock once",
    "POST deliveries/<str:ref>/receipts": FACT,
    "POST accounting/period-locks": "names the day itself; a lock only moves forward",
    "POST quote-links/<str:token>/accept": "names the digest of the document",
    "POST quote-links/<str:token>/decline": "declines the whole quote",
    "POST quote-links/<str:token>/questions": CREATES,
    "POST questions/<str:ref>/reply": "answers a question, which never changes, once",
    "POST revisions/<str:ref>/parties/<str:key>/link": "gives the party another link to the same document",
    "DELETE revisions/<str:ref>/parties/<str:key>/link": REVOKES,
    "DELETE suppliers/<str:ref>/keys/<str:api_key>": REVOKES,
    "POST webhooks/<str:ref>/send-challenge": SENDS,
    "POST webhooks/<str:ref>/send-test": SENDS,
    "POST webhooks/<str:ref>/replay": SENDS,
    "POST supply/orders/<str:ref>/responses": "states the supplier's response; the buyer decides about it",
    "POST supply/orders/<str:ref>/despatches": FACT,
    "POST supply/prices/bulk": "sets prices by day; each row is created or unchanged",
}  # fmt: skip

# changing forms without a version
FORMS_WITHOUT_VERSION: dict[str, str] = {
    **dict.fromkeys(
        (
            "members", "keys", "webhooks", "supplier-keys", "prices-new", "new-fence-system", "new-job", "job-copy",
            "job-note", "job-measure", "job-price", "job-orders", "stock",
        ),
        CREATES,
    ),
    "key": REVOKES,
    "supplier's key ended": REVOKES,
    "build-record": FACT,
    "accounting": "names the day itself; a lock only moves forward",
    "test-mail": SENDS,
    **dict.fromkeys(("build-ticks",), FACT),
    "letter-again": SENDS,
    "measure": "compares the draft itself: a conflict shows both versions and overwrites nothing",
    "prices": "loads the sample catalogue only where there is none",
    "import-file": "writes the values of the file, after a preview",
    "party-quote": "names the digest of the document",
    "party declined": "declines the whole quote",
    "party asked": CREATES,
}  # fmt: skip


def test_every_exception_names_a_call_or_form_that_exists() -> None:
    calls = {f"{method} {address}" for method, address in API}
    assert CALLS_WITHOUT_VERSION.keys() <= calls, CALLS_WITHOUT_VERSION.keys() - calls
    forms = FORMS.keys()
    assert FORMS_WITHOUT_VERSION.keys() <= forms, FORMS_WITHOUT_VERSION.keys() - forms


def test_the_contract_declares_if_match_for_the_same_calls() -> None:
    paths = json.loads(Path("docs/openapi.json").read_text())["paths"]
    for case in CHANGING:
        if (case.method, case.address) in NOTHING_OF_A_BUSINESS:
            continue
        address = "/api/v1/" + "".join(
            f"{{{part.partition('>')[0].rpartition(':')[2]}}}{part.partition('>')[2]}" if index else part
            for index, part in enumerate(case.address.split("<"))
        )
        operation = paths[address][case.method.lower()]
        names = {parameter["name"] for parameter in operation.get("parameters", ()) if parameter["in"] == "header"}
        needed = f"{case.method} {case.address}" not in CALLS_WITHOUT_VERSION
        assert ("If-Match" in names, {"412", "428"} <= operation["responses"].keys()) == (needed, needed), address


@pytest.mark.parametrize("case", [case for case in STEPS if str(case) not in CALLS_WITHOUT_VERSION], ids=str)
def test_a_call_on_an_old_version_changes_nothing(new_scene: SceneOf, case: Case) -> None:
    scene = new_scene(case.address)
    body = STEPS[case](scene, scene.client)
    before = entry_count(scene.business)
    for headers, status in (({}, 428), ({"If-Match": '"0.0"'}, 412)):
        assert call(case, body, scene, **headers).status_code == status
        assert entries_after(scene.business, before) == []


@pytest.mark.parametrize("name", [name for name in FORMS if name not in FORMS_WITHOUT_VERSION])
def test_a_form_on_an_old_version_changes_nothing(new_scene: SceneOf, name: str) -> None:
    scene = new_scene()
    path, entered, hidden = open_form(FORMS[name], scene)
    assert "version" in hidden
    before = entry_count(scene.business)
    for fields, text in (
        ({}, "does not state which version"),
        (stale(hidden), "has changed since you opened the page"),
    ):
        assert text in scene.client.post(path, {**fields, **entered}, follow=True).content.decode()
        assert entries_after(scene.business, before) == []


ROOT = Path(__file__).resolve().parents[2]
JSON = "application/json"
# a number that a row of this kind must have gets the default of a new row
DEFAULTS = {"pack_size": "1", "minimum_quantity": "0", "minimum_order": "0", "lead_time_days": "0", "sale_unit": "C62"}
# clearing these would leave an invalid row of its kind: it is an error, although another kind may do without
BY_THE_ROW = {("price-rules", "applies_to"), ("price-rules", "value")}


def members(schemas: Mapping[str, Any], operation: Mapping[str, Any]) -> Iterator[tuple[str, bool]]:
    """Each member that a PATCH may send, and whether it may be null."""
    named = operation["requestBody"]["content"][JSON]["schema"]["$ref"].rsplit("/", 1)[-1]
    for name, data in schemas[named]["properties"].items():
        if not data.get("readOnly"):
            yield name, any("null" in str(item.get("type", "")) for item in (data, *data.get("oneOf", ())))


@pytest.fixture
def refs(cast: Cast) -> dict[str, str]:
    """Create a record of every kind that has a PATCH. Return their refs by the kind of ``addresses.HOLDERS``."""
    business, account = cast.business, cast.supplier
    rows: dict[str, Any] = {"member": business.members.order_by("id").last(), **_sold(business, account)}
    customer = add_customer(business=business, actor=SYSTEM, name="Ada Quill")
    site = add_site(customer=customer, actor=SYSTEM, address="4 Reed Lane", city="Tern Bay")
    job = open_job(customer=customer, site=site, label="Back fence", actor=actor_of(business))
    line = {"component": "cap", "quantity": Decimal(1), "price": Decimal(2)}
    place = {"address": "4 Reed Lane", "city": "Tern Bay"}
    order = start_order(supplier=rows["supplier"], actor=actor_of(business), lines=[line], deliver_to=place)
    item = StockItem.objects.of(business).create(component=rows["component"], quantity=Decimal(8))
    reservation = Reservation.objects.of(business).create(item=item, job=job, quantity=Decimal(2))
    hook = {"url": "https://hooks.example.test/a", "event_types": ["order.placed"]}
    rows["hook"] = WebhookEndpoint.objects.create(business=business, **hook)
    rows["suppliers hook"] = WebhookEndpoint.objects.create(account=account, **hook)
    rows |= {"customer": customer, "site": site, "job": job, "order": order, "reservation": reservation}
    return {kind: row.ref for kind, row in rows.items()}


def _sold(business: Business, account: SupplierAccount) -> dict[str, Any]:
    begins = timezone.localdate() + timedelta(days=1)
    finish = Finish.objects.of(business).create(code="inkstone", name="Inkstone", drawing_colour="#445566")
    supplier = Supplier.objects.of(business).create(code="north", name="Northmill", account=account, phone="555 0100")
    component = Component.objects.of(business).create(
        sku="cap",
        name="Cap",
        role="cap.square",
        finish=finish,
        length_mm=60,
        pack_size=10,
        sale_unit="KGM",
        gtin="95060002",
    )
    system = FenceSystem.objects.of(business).create(code="plain", label="Plain", latest_version=1)
    FenceSystemVersion.objects.of(business).create(system=system, number=1, document={}, sha256="0" * 64)
    since = date(2024, 1, 1)
    PriceRule.objects.of(business).create(kind="tax", applies_to="standard", value=0, option="Z", valid_from=since)
    PriceRule.objects.of(business).create(kind="tax_code_for", option="standard", valid_from=since)
    return {
        "finish": finish,
        "supplier": supplier,
        "component": component,
        "fence system": system,
        "terms": SupplierTerms.objects.of(business).create(
            supplier=supplier, valid_from=begins, delivery_fees=[["0", "9"]], minimum_order=5, lead_time_days=3
        ),
        "offer": SupplierPrice.objects.of(business).create(
            supplier=supplier,
            component=component,
            valid_from=begins,
            price=2,
            price_breaks=[["10", "1"]],
            pack_size=10,
            minimum_quantity=10,
        ),
        "price rule": PriceRule.objects.of(business).create(
            kind="hire", applies_to="auger", value=90, valid_from=begins
        ),
    }


def test_null_clears_what_may_be_cleared_and_all_else_says_so(
    cast: Cast, refs: dict[str, str], signed_in: Any, key_client: Any, settings: Any
) -> None:
    settings.RATE_QUOTA = 1_000_000
    clients = {False: signed_in(cast.person(MemberRole.OWNER)), True: key_client(supplier=cast.supplier)}
    made, wrong = json.loads((ROOT / "docs/openapi.json").read_text()), list[object]()
    for case in [case for case in cases() if case.method == "PATCH"]:
        path = case.path(refs.get(case.holder, ""), refs)
        operation = made["paths"]["/api/v1/" + case.address.replace("<str:", "{").replace(">", "}")]["patch"]
        client = clients[case.address.startswith("supply/")]
        for name, nullable in members(made["components"]["schemas"], operation):
            wrong += [(case.address, name, nullable, *found) for found in faults(client, case, path, name, nullable)]
    assert not wrong, "\n".join(map(str, wrong))


def faults(client: Client, case: Case, path: str, name: str, nullable: bool) -> Iterator[tuple[Any, ...]]:
    """Yield what is wrong with the answer to a null. The row does not stay changed."""
    with transaction.atomic():
        answer: Any = client.patch(path, {name: None}, JSON, headers={"If-Match": "*"})
        data = answer.json()
        transaction.set_rollback(True)
    if nullable and answer.status_code == 200:
        if data[name] and short(str(data[name])) != DEFAULTS.get(name):
            yield answer.status_code, data[name]
        return
    pointers = [(error["pointer"], error["code"]) for error in data.get("errors", ())]
    refused = "invalid" if (case.address.partition("/")[0], name) in BY_THE_ROW else "" if nullable else "null"
    if answer.status_code != 422 or pointers != [(f"#/{name}", refused)]:
        yield answer.status_code, data


def test_an_object_within_is_merged_and_a_list_within_is_not(cast: Cast, refs: dict[str, str], signed_in: Any) -> None:
    client = signed_in(cast.person(MemberRole.OWNER))

    def patch(path: str, body: Any) -> Any:
        return client.patch(f"/api/v1/{path}", body, JSON, headers={"If-Match": "*"}).json()

    order = f"orders/{refs['order']}"
    assert patch(order, {"deliver_to": {"city": None, "postcode": "0123"}})["deliver_to"] == {
        "address": "4 Reed Lane",
        "city": "",
        "postcode": "0123",
    }
    assert patch(order, {"deliver_to": None})["deliver_to"] == {}
    # a list is always replaced as a whole
    refused = patch(order, {"lines": [{"quantity": None}]})["errors"]
    assert [(item["pointer"], item["code"]) for item in refused] == [
        ("#/lines/0/component", "required"),
        ("#/lines/0/quantity", "null"),
    ]
    patch("business", {"custom_texts": {"care_sheet": "Wash it down.", "how_to_accept": "Sign here."}})
    assert patch("business", {"custom_texts": {"care_sheet": None}})["custom_texts"] == {"how_to_accept": "Sign here."}
    assert patch("business", {"custom_texts": None})["custom_texts"] == {}
