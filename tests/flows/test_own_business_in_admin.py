"""A business set up from nothing in the admin alone, form by form as a browser sends them, until it prices its take-off."""

from __future__ import annotations

import io
import json
from decimal import Decimal
from typing import Any

import lxml.html
import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone

from shared.business.models import Member, Person
from tests.conftest import accept_by_link
from tests.flows import own_catalogue as own
from tests.flows.cast_of_quotes import Caller, send_quote

pytestmark = pytest.mark.django_db
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
