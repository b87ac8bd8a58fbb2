"""A new business sets itself up, by the API, by files or in the admin alone, and prices its take-off."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import lxml.html
import pytest
import xlsxwriter
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from catalogue.rules.codes import ImportKind
from shared.business.models import Member, Person
from shared.business.roles import BUSINESS_SCOPES
from tests.conftest import accept_by_link
from tests.flows import own_catalogue as own
from tests.flows.cast_of_quotes import Caller, send_quote

pytestmark = pytest.mark.django_db


def lacks(api: Caller) -> list[str]:
    return [item["text"] for item in api.get("fence-systems/completeness")["missing_items"]]


def test_a_business_is_set_up_and_prices_its_own_take_off_by_api_alone(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    assert "none yet" in own.begun_empty(monkeypatch)
    signed_in = Caller(own.sign_in(Client()))
    key = signed_in.post("keys", {"name": "set-up", "scopes": sorted(BUSINESS_SCOPES)})["secret"]
    api = Caller(Client(headers={"Authorization": f"Bearer {key}"}))

    nothing = api.get("fence-systems/completeness")
    assert (nothing["system"], nothing["is_complete"], lacks(api)) == (None, False, ["no fence system"])
    data = api.post("take-offs", {"measure": own.MEASURE}, status=422)
    assert data["errors"][0]["pointer"] == "#/measure/system"

    api.post("fence-systems", own.SYSTEM)
    assert {
        "no finish",
        "no drop bolts",
        "no concrete in bags",
        "no labour rate for dig",
        "no markup: everything would be sold at cost",
    } <= set(lacks(api))
    api.post("finishes", own.FINISH)
    assert "no 2480 post channel in bogmoss" in lacks(api)
    for sku in own.PARTS:
        api.post("components", own.component(sku))
    assert {"no price for 2480 post channel in bogmoss", "no price for 4190 rail in bogmoss"} <= set(lacks(api))
    api.post("suppliers", own.SUPPLIER)
    api.post("supplier-terms", {"supplier": "fenlane", "valid_from": own.today(), "lead_time_days": 4})
    for sku, (_, _, price) in own.PARTS.items():
        offer = {"component": sku, "supplier": "fenlane", "price": price, "valid_from": own.today()}
        api.post("supplier-prices", offer)
    assert lacks(api) == [
        *(f"no labour rate for {name}" for name in ("set_out", "dig", "erect", "rake", "gate", "remove")),
        "no markup: everything would be sold at cost",
    ]
    for rule in own.RULES:
        api.post("price-rules", {**rule, "valid_from": own.today()})
    assert api.get("fence-systems/completeness") == {"system": "flat-45", "is_complete": True, "missing_items": []}

    draft = own.priced(api)
    send_quote(api, draft, django_capture_on_commit_callbacks)
    sent = api.get(f"revisions/{draft['ref']}")
    assert (Decimal(sent["net"]), Decimal(sent["total"])) == (own.NET, own.TOTAL)


def test_a_business_begun_empty_has_its_tax_and_nothing_else_and_is_begun_once(monkeypatch: pytest.MonkeyPatch) -> None:
    own.begun_empty(monkeypatch)
    assert "there already" in own.begun_empty(monkeypatch)
    api = Caller(own.sign_in(Client()))
    found = {
        name: api.get(name)["items"]
        for name in ("components", "supplier-prices", "suppliers", "finishes", "fence-systems")
    }
    assert not any(found.values())
    rules = [(row["kind"], row["applies_to"], row["value"], row["option"]) for row in api.get("price-rules")["items"]]
    assert sorted(rules) == [("tax", "standard", "10", "S"), ("tax_code_for", "", None, "standard")]


Table = list[list[Any]]
Jobs = Any


def _members(document: Mapping[str, Any], at: str = "") -> Iterator[list[Any]]:
    for name, value in document.items():
        if isinstance(value, dict):
            yield from _members(value, f"{at}{name}/")
        elif name not in ("schema", "code"):
            cell = " ".join(str(item) for item in value) or "none" if isinstance(value, list) else value
            yield ["flat-45", at + name, {True: "yes", False: "no"}[cell] if isinstance(cell, bool) else cell]


def sheets() -> dict[str, Table]:
    """Return the whole catalogue as tables, in an order in which each may refer to those before."""
    day = own.today()
    parts = [own.component(sku) for sku in own.PARTS]
    columns = ["sku", "name", "role", "finish", "length_mm", "sale_unit", "bag_yield_m3"]
    rules = [[rule["kind"], rule["applies_to"], rule["value"], rule.get("option", ""), day] for rule in own.RULES]
    return {
        "finishes": [list(own.FINISH), list(own.FINISH.values())],
        "components": [columns, *([part.get(name) for name in columns] for part in parts)],
        "suppliers": [list(own.SUPPLIER), list(own.SUPPLIER.values())],
        "supplier_terms": [["supplier", "valid_from", "lead_time_days"], ["fenlane", day, 4]],
        "supplier_prices": [
            ["supplier", "sku", "price", "valid_from"],
            *(["fenlane", sku, price, day] for sku, (_, _, price) in own.PARTS.items()),
        ],
        "price_rules": [["kind", "applies_to", "value", "option", "valid_from"], *rules],
        "fence_systems": [["system", "member", "value"], *_members(own.SYSTEM)],
    }


def as_csv(table: Table) -> bytes:
    buffer = io.StringIO()
    csv.writer(buffer).writerows(table)
    return buffer.getvalue().encode()


def as_xlsx(table: Table) -> bytes:
    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer)
    page = book.add_worksheet()
    for number, row in enumerate(table):
        page.write_row(number, 0, row)
    book.close()
    return buffer.getvalue()


FORMS: dict[str, Callable[[Table], bytes]] = {"csv": as_csv, "xlsx": as_xlsx}


class Files:
    """A member who sends files and nothing else."""

    def __init__(self, client: Client, run_jobs: Jobs) -> None:
        self.client, self.run_jobs = client, run_jobs

    def tried(self, kind: str, content: bytes) -> dict[str, Any]:
        answer = self._post(f"kind={kind}&dry_run=true", content)
        assert answer.status_code == 200, answer.content
        data: dict[str, Any] = answer.json()
        return data

    def imported(self, kind: str, content: bytes) -> dict[str, Any]:
        with self.run_jobs(execute=True):
            asked = self._post(f"kind={kind}&file_name={kind}", content)
        assert asked.status_code == 202, asked.content
        data: dict[str, Any] = self.client.get(asked["Location"]).json()
        return data

    def out(self, kind: str, form: str) -> bytes:
        answer: Any = self.client.get(f"/api/v1/exports/{kind}.{form}")
        return b"".join(answer.streaming_content)

    def _post(self, query: str, content: bytes) -> Any:
        return self.client.post(f"/api/v1/imports?{query}", content, content_type="application/octet-stream")


@pytest.mark.parametrize("form", FORMS)
def test_a_business_is_set_up_by_files_alone_and_they_come_out_as_they_went_in(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Jobs, form: str
) -> None:
    own.begun_empty(monkeypatch)
    client = own.sign_in(Client())
    files, api = Files(client, django_capture_on_commit_callbacks), Caller(client)
    for kind, table in sheets().items():
        content, rows = FORMS[form](table), len(table) - 1
        tried = files.tried(kind, content)
        assert (tried["added"], tried["changed"], tried["rejected"]) == (rows, 0, 0), (kind, tried)
        assert files.tried(kind, content) == tried  # nothing was written by trying
        data = files.imported(kind, content)
        assert (data["status"], data["rows_done"], data["report"]["added"]) == ("done", rows, rows)
    assert api.get("fence-systems/completeness") == {"system": "flat-45", "is_complete": True, "missing_items": []}
    own.priced(api)

    before = {kind: files.out(kind, "csv") for kind in ImportKind}
    for kind in ImportKind:
        data = files.imported(kind, files.out(kind, form))
        assert (data["status"], data["report"]["added"], data["report"]["changed"]) == ("done", 0, 0)
    assert {kind: files.out(kind, "csv") for kind in ImportKind} == before

    # a second business that is set up from the export of the first exports the same bytes
    monkeypatch.setitem(own.ASKED, "name", "Sedgemoor Fences")
    monkeypatch.setitem(own.ASKED, "owner", "ash@sedgemoor.example")
    own.begun_empty(monkeypatch)
    second = Files(own.sign_in(Client(), "ash@sedgemoor.example"), django_capture_on_commit_callbacks)
    for kind in ImportKind:
        assert second.imported(kind, files.out(kind, form))["status"] == "done"
    assert {kind: second.out(kind, "csv") for kind in ImportKind} == before


def test_a_trial_tells_what_a_new_price_means_for_a_quote_that_is_out(
    monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Jobs
) -> None:
    own.begun_empty(monkeypatch)
    client = own.sign_in(Client())
    files, api = Files(client, django_capture_on_commit_callbacks), Caller(client)
    for kind, table in sheets().items():
        files.imported(kind, as_csv(table))
    draft = own.priced(api)
    send_quote(api, draft, django_capture_on_commit_callbacks)

    day = (date.fromisoformat(own.today()) + timedelta(days=1)).isoformat()
    columns = ["supplier", "sku", "price", "valid_from"]
    dearer = [columns, ["fenlane", "SH-1780", "23.50", day]]
    data = files.tried("supplier_prices", as_csv(dearer))
    [effect] = data["open_quotes"]
    # 9 sheets at 21.50 are 193.50, at 23.50 they are 211.50
    assert (effect["quote"], effect["cost_quoted"], effect["cost_then"], effect["difference"]) == (
        draft["quote"]["number"], "193.50", "211.50", "18.00",
    )  # fmt: skip

    wrong = [*dearer, ["fenlane", "NO-SUCH", "1.00", day], ["fenlane", "SCR", "-0.05", day]]
    data = files.tried("supplier_prices", as_csv(wrong))
    assert (data["added"], data["rejected"]) == (1, 2)
    assert [(refusal["row"], refusal["column"]) for refusal in data["errors"]] == [(3, "sku"), (4, "price")]
    assert files.imported("supplier_prices", as_csv(wrong))["status"] == "rejected"
    assert [row["price"] for row in api.get("supplier-prices?component=SH-1780")["items"]] == ["21.50"]

    assert files.imported("supplier_prices", as_csv(dearer))["status"] == "done"
    assert [row["price"] for row in api.get("supplier-prices?component=SH-1780")["items"]] == ["23.50", "21.50"]
    [line] = api.get(f"revisions/{draft['ref']}/content")["builds"][0]["lines"]
    assert line["cost"] == str(own.COST)  # what was sent stands


HEAD = "head@reedmoor.example"


def faults(answer: Any) -> list[str]:
    """Return the errors shown on an admin page."""
    page: Any = lxml.html.fromstring(answer.content.decode())
    return [item.text_content().strip() for item in page.xpath('//*[contains(@class, "errorlist")]')]


class Office:
    """Somebody at the admin, who sees pages and fills in forms."""

    def __init__(self, client: Client) -> None:
        self.client = client

    def page(self, path: str) -> Any:
        answer = self.client.get(f"/admin/{path}", follow=True)
        assert answer.status_code == 200, path
        return lxml.html.fromstring(answer.content.decode())

    def fill(self, path: str, **typed: Any) -> Any:
        """Send a form with these fields changed. An error ends the test."""
        answer = self.post(path, **typed)
        assert not faults(answer), (path, faults(answer))
        return answer

    def post(self, path: str, **typed: Any) -> Any:
        [form] = [
            item
            for item in self.page(path).forms
            if "post" in item.method.lower() and "logout" not in (item.action or "")
        ]
        shown = {name: value for name, value in form.form_values() if name not in ("_addanother", "_continue")}
        unknown = set(typed) - {item.get("name") for item in form.iter("input", "select", "textarea")}
        assert not unknown, unknown
        return self.client.post(f"/admin/{path}", {**shown, **typed}, follow=True)

    def picked(self, model: str, field: str, term: str) -> str:
        """Return the id that a field with suggestions gives for a term."""
        asked = {"app_label": "catalogue", "model_name": model, "field_name": field, "term": term}
        [one] = self.client.get("/admin/autocomplete/", asked).json()["results"]
        return str(one["id"])

    def chosen(self, path: str, field: str, text: str) -> str:
        """Return the value of an option of a list."""
        [box] = [item for item in self.page(path).iter("select") if item.get("name") == field]
        [value] = [item.get("value") for item in box.iter("option") if text in (item.text or "")]
        return str(value)


@pytest.fixture
def office(db: None, monkeypatch: pytest.MonkeyPatch) -> Office:
    """Sign in a superuser made by ``createsuperuser`` on the admin's own page."""
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", own.PASSWORD)
    call_command("createsuperuser", interactive=False, email=HEAD, stdout=io.StringIO())
    client = Client()
    answer = client.post("/admin/login/?next=/admin/", {"username": HEAD, "password": own.PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, "/admin/")
    return Office(client)


def _with_business(office: Office) -> str:
    """Create a person and a business that they own."""
    office.fill("shared/person/add/", email=own.OWNER, name="Wren")
    assert not Person.objects.get(email=own.OWNER).has_usable_password()
    place = {name: own.ASKED[name] for name in ("name", "city", "country", "currency", "tax_name")}
    office.fill("shared/business/add/", **place, email=own.OWNER, invite_email=own.OWNER, invite_role="owner")
    accept_by_link(Member.objects.get(person__email=own.OWNER), own.PASSWORD)
    return office.chosen("catalogue/finish/add/", "business", own.ASKED["name"])


def test_a_business_is_set_up_in_the_admin_alone_and_prices_its_take_off(
    office: Office, django_capture_on_commit_callbacks: Any
) -> None:
    business, day = _with_business(office), timezone.localdate().isoformat()
    owner = Caller(own.sign_in(Client()))
    assert [item["code"] for item in owner.get("fence-systems/completeness")["missing_items"]] == ["system.missing"]

    office.fill("catalogue/finish/add/", business=business, **own.FINISH)
    finish = office.picked("component", "finish", "bogmoss")
    for sku in own.PARTS:
        part = {name: value for name, value in own.component(sku).items() if value is not None}
        part |= {"finish": finish} if "finish" in part else {}
        office.fill("catalogue/component/add/", business=business, **part)
    office.fill("catalogue/supplier/add/", business=business, **own.SUPPLIER)
    supplier = office.picked("supplierprice", "supplier", "fenlane")
    terms = {"supplier": supplier, "valid_from": day, "lead_time_days": "4"}
    office.fill("catalogue/supplierterms/add/", business=business, **terms)
    for sku, (_, _, price) in own.PARTS.items():
        offer = {"component": office.picked("supplierprice", "component", sku), "supplier": supplier, "price": price}
        office.fill("catalogue/supplierprice/add/", business=business, valid_from=day, **offer)
    tax = [
        {"kind": "tax", "applies_to": "standard", "value": "10", "option": "S", "label": "GST"},
        {"kind": "tax_code_for", "option": "standard"},
    ]
    for rule in [*own.RULES, *tax]:
        office.fill("catalogue/pricerule/add/", business=business, valid_from=day, **rule)
    office.fill("catalogue/fencesystem/add/", business=business, document=json.dumps(own.SYSTEM))
    assert owner.get("fence-systems/completeness") == {"system": "flat-45", "is_complete": True, "missing_items": []}

    account = {"name": "Fen Lane Metals", "email": own.SUPPLIER["email"]}
    office.fill("shared/supplieraccount/add/", **account)
    assert office.picked("supplier", "account", "Fen Lane")

    draft = own.priced(owner)
    send_quote(owner, draft, django_capture_on_commit_callbacks)
    sent = owner.get(f"revisions/{draft['ref']}")
    assert (Decimal(sent["net"]), Decimal(sent["total"])) == (own.NET, own.TOTAL)
