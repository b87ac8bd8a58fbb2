"""Price pages: records are added, changed and rejected; a file is previewed before the import; a system gets a new version."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from catalogue.models import Component, FenceSystem, FenceSystemVersion, Finish, Supplier, SupplierPrice
from shared.models import Business
from tests.conftest import Cast
from tests.forms import press
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
    shown = dict(re.findall(r'<input id="f-\w+" name="(\w+)" type="\w+"[^>]*? value="([^"]*)"', page))
    shown |= dict(
        re.findall(r'name="(\w+)"[^>]*>(?:<option[^>]*>[^<]*</option>)*?<option value="([^"]*)" selected', page)
    )
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
    assert "<dt>Changed</dt><dd>1</dd>" in page
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
