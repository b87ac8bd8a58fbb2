"""The catalogue in the admin: usable for all of it, and no way past the audit trail or into the past."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.contrib import admin
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from catalogue.models import Component, FenceSystem, FenceSystemVersion, Finish, PriceRule, Supplier, SupplierPrice
from shared.business.models import Business
from shared.database.audit_log import AuditEntry
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
MODELS = sorted(model._meta.model_name or "" for model in admin.site._registry if model._meta.app_label == "catalogue")


@pytest.fixture
def office(cast: Cast, owner_client: Client) -> Client:
    """The owner, who runs the service too."""
    cast.owner.is_staff = cast.owner.is_superuser = True
    cast.owner.save()
    return owner_client


def form_of(client: Client, address: str) -> dict[str, Any]:
    """Return what a browser sends for an unchanged form."""
    answer = client.get(address)
    assert answer.status_code == 200, address
    form = answer.context["adminform"].form
    values = {name: form[name].value() for name in form.fields}
    return {
        name: json.dumps(value) if isinstance(value, dict | list) else value
        for name, value in values.items()
        if value is not None and value is not False
    }


def shown_faults(answer: Any) -> str:
    return str(answer.context["adminform"].form.errors) if answer.status_code == 200 else ""


@pytest.mark.parametrize("model", MODELS)
def test_every_kind_of_row_can_be_listed_and_searched_and_opened(office: Client, stocked: Business, model: str) -> None:
    assert (
        office.get(reverse(f"admin:catalogue_{model}_changelist"), {"business__id__exact": stocked.pk}).status_code
        == 200
    )
    kind = next(
        item for item in admin.site._registry if item._meta.model_name == model and item._meta.app_label == "catalogue"
    )
    row = kind._default_manager.first()
    if row is not None:
        assert office.get(reverse(f"admin:catalogue_{model}_change", args=[row.pk])).status_code == 200


def test_a_changed_price_says_who_changed_it_and_from_what(office: Client, stocked: Business) -> None:
    old = SupplierPrice.objects.of(stocked).filter(component__sku="HG-1").first()
    assert old is not None
    day = timezone.localdate() + timedelta(days=5)
    coming = SupplierPrice.objects.of(stocked).create(
        component=old.component, supplier=old.supplier, price="20", valid_from=day
    )
    address = reverse("admin:catalogue_supplierprice_change", args=[coming.pk])
    assert office.post(address, {**form_of(office, address), "price": "21.5"}).status_code == 302
    entry = AuditEntry.objects.filter(business=stocked, action="supplierprice.changed").get()
    assert (entry.actor_name, json.loads(entry.detail)) == ("Olive", {"price": ["20.0000", "21.5"]})


def test_a_price_that_has_begun_can_only_be_ended(office: Client, stocked: Business) -> None:
    begun = SupplierPrice.objects.of(stocked).first()
    assert begun is not None
    address = reverse("admin:catalogue_supplierprice_change", args=[begun.pk])
    today = timezone.localdate().isoformat()
    assert office.post(address, {"price": "1", "valid_to": today}).status_code == 302
    before = begun.price
    begun.refresh_from_db()
    assert (begun.price, begun.valid_to) == (before, timezone.localdate())
    assert "in the past" in shown_faults(office.post(address, {"valid_to": "2024-02-01"}))
    assert (
        office.post(reverse("admin:catalogue_supplierprice_delete", args=[begun.pk]), {"post": "yes"}).status_code
        == 403
    )


def test_a_new_rule_begins_today_or_later_and_makes_sense(office: Client, stocked: Business) -> None:
    address = reverse("admin:catalogue_pricerule_add")
    rule = {"business": stocked.pk, "kind": "labour", "applies_to": "dig", "value": "44", "valid_from": "2024-05-05"}
    assert "in the past" in shown_faults(office.post(address, rule))
    rule["valid_from"] = timezone.localdate().isoformat()
    assert "Begin with one of" in shown_faults(office.post(address, {**rule, "applies_to": "dance"}))
    assert office.post(address, rule).status_code == 302
    assert PriceRule.objects.of(stocked).filter(value=44).exists()
    assert AuditEntry.objects.filter(business=stocked, action="pricerule.added", actor_name="Olive").count() == 1


def test_a_row_of_another_business_can_not_be_linked_to(office: Client, cast: Cast, stocked: Business) -> None:
    foreign = Finish.objects.of(cast.strangers_business).create(code="far", name="Far")
    address = reverse("admin:catalogue_component_add")
    component = {"business": stocked.pk, "sku": "Z", "name": "Z", "role": "latch", "sale_unit": "C62", "pack_size": "1"}
    assert "no such finish" in shown_faults(office.post(address, {**component, "finish": foreign.pk}))
    assert not Component.objects.of(stocked).filter(sku="Z").exists()


def test_a_fence_system_is_edited_as_its_document_and_gets_a_version(office: Client, stocked: Business) -> None:
    system = FenceSystem.objects.of(stocked).get()
    address = reverse("admin:catalogue_fencesystem_change", args=[system.pk])
    form = form_of(office, address)
    document = FenceSystemVersion.objects.of(stocked).get().document
    assert "pitch_mm" in shown_faults(
        office.post(address, {**form, "document": json.dumps({**document, "pitch_mm": 0})})
    )
    assert office.post(address, {**form, "document": json.dumps({**document, "pitch_mm": 2300})}).status_code == 302
    assert [item.number for item in FenceSystemVersion.objects.of(stocked).order_by("number")] == [1, 2]


def test_a_supplier_in_use_can_not_be_removed(office: Client, stocked: Business) -> None:
    used = Supplier.objects.of(stocked).get(code="ostrel")
    office.post(reverse("admin:catalogue_supplier_delete", args=[used.pk]), {"post": "yes"})
    assert Supplier.objects.of(stocked).filter(pk=used.pk).exists()


def test_another_fence_system_is_made_the_default_one_for_each_business(office: Client, stocked: Business) -> None:
    first = FenceSystem.objects.of(stocked).get()
    document = {**FenceSystemVersion.objects.of(stocked).get().document, "code": "second"}
    added = {"business": stocked.pk, "document": json.dumps(document), "active": "on"}
    office.post(reverse("admin:catalogue_fencesystem_add"), added)
    second = FenceSystem.objects.of(stocked).get(code="second")

    def choose(*systems: FenceSystem) -> Any:
        chosen = {"action": "make_default", "_selected_action": [system.pk for system in systems]}
        return office.post(reverse("admin:catalogue_fencesystem_changelist"), chosen, follow=True)

    assert "Choose one system of a business." in choose(first, second).content.decode()
    assert FenceSystem.objects.of(stocked).get(is_default=True) == first
    choose(second)
    assert FenceSystem.objects.of(stocked).get(is_default=True) == second
