"""Take-offs are computed once for each measure, system and prices; the schemas are served to anybody."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from jsonschema import Draft202012Validator

from catalogue import services as catalogue
from catalogue.models import FenceSystemVersion, SupplierPrice
from fencing.model.measure import Measure
from fencing.model.system import System
from fencing.quantities.comparison_prices import PriceList
from fencing.quantities.take_off import TakeOff, take_off
from quotes.jobs import takeoff_cache
from quotes.jobs.document_text import canonical, parsed
from quotes.jobs.takeoff_cache import take_off_measure
from quotes.quoting.models import RevisionState
from shared.business.actors import SYSTEM
from shared.business.models import Business
from tests.quotes.quoting.cast import measure, new_job, sent, stock_up

pytestmark = pytest.mark.django_db


def _dearer(business: Business) -> None:
    for offer in SupplierPrice.objects.of(business):
        offer.pk, offer.ref, offer.price, offer.valid_from = (
            None,
            offer.ref[::-1],
            offer.price * 2,
            timezone.localdate(),
        )
        offer._state.adding = True
        offer.save()


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the labels of the measures that the engine is asked to take off from now on."""
    labels = list[str]()

    def counted(measure: Measure, system: System, prices: PriceList | None = None) -> TakeOff:
        labels.append(measure.label)
        return take_off(measure, system, prices)

    takeoff_cache._remembered.cache_clear()
    monkeypatch.setattr(takeoff_cache, "take_off", counted)
    return labels


def test_saving_showing_pricing_and_sending_take_a_measure_off_once(
    business: Business, owner_client: Client, calls: list[str]
) -> None:
    stock_up(business)
    _, version = new_job(business, measure(7200))
    page = reverse("takeoff", args=[version.measure.ref])
    assert owner_client.get(page).status_code == 200
    revision = sent(business, document=measure(7200))
    assert revision.state == RevisionState.SENT
    assert owner_client.get(f"/revisions/{revision.ref}").status_code == 200
    assert len(calls) == 1


def test_new_prices_count_only_if_a_choice_depends_on_them(business: Business, calls: list[str]) -> None:
    stock_up(business)
    plain, auto = measure(7200), measure(7200, layout="auto")
    before = take_off_measure(business, plain).takeoff, take_off_measure(business, auto).takeoff
    _dearer(business)
    assert take_off_measure(business, plain).takeoff is before[0]
    assert take_off_measure(business, auto).takeoff is not before[1]
    assert len(calls) == 3


def test_a_new_version_of_the_system_is_a_new_input(business: Business, calls: list[str]) -> None:
    stock_up(business)
    before = take_off_measure(business, measure(7200))
    stored = FenceSystemVersion.objects.of(business).get(system__code="corrugated-50")
    document: dict[str, Any] = dict(stored.document)
    document["ground_gap_mm"] += 10
    catalogue.store_system(business=business, actor=SYSTEM, document=document, system=stored.system)
    after = take_off_measure(business, measure(7200))
    assert (before.found.version, after.found.version, len(calls)) == (1, 2, 2)
    assert after.takeoff.system.ground_gap == before.takeoff.system.ground_gap + 10


def test_a_long_measure_is_taken_off_but_not_remembered(business: Business, calls: list[str]) -> None:
    stock_up(business)
    document = measure(takeoff_cache.MAX_REMEMBERED_LENGTH + 1)
    first, second = take_off_measure(business, document).takeoff, take_off_measure(business, document).takeoff
    assert first == second
    assert len(calls) == 2


def test_existing_fence_counts_as_length_too(business: Business, calls: list[str]) -> None:
    stock_up(business)
    bays = [2000] * (takeoff_cache.MAX_REMEMBERED_LENGTH // 2000)
    document = {**measure(9000), "retrofits": [{"id": "R1", "bays_mm": bays, "lattice_mm": 340}]}
    first, second = take_off_measure(business, document).takeoff, take_off_measure(business, document).takeoff
    assert first == second
    assert len(calls) == 2


def test_canonical_text_does_not_depend_on_the_order_of_members() -> None:
    one, other = {"b": [Decimal("1.50"), 2], "a": "ü"}, {"a": "ü", "b": [Decimal("1.50"), 2]}
    assert canonical(one) == canonical(other) == '{"a":"ü","b":[1.50,2]}'
    assert canonical(parsed(canonical(one))) == canonical(one)


def test_what_has_no_place_in_a_document_is_refused() -> None:
    for value in (1.5, {1, 2}, object(), Decimal("NaN")):
        with pytest.raises(TypeError):
            canonical({"value": value})


ROOT = Path(__file__).resolve().parents[3]
FILES = {
    path.stem: path for folder in ("fencing", "quotes/quoting") for path in (ROOT / folder / "schema").glob("*.json")
}
NAMES = sorted(FILES)


def test_the_list_leads_to_every_schema() -> None:
    listed = Client().get("/api/v1/schemas").json()["items"]
    assert [row["name"] for row in listed] == NAMES
    for row in listed:
        assert Client().get(row["href"]).json()["title"] == row["title"]


@pytest.mark.parametrize("name", NAMES)
def test_a_schema_is_served_without_a_key_as_it_is_in_the_repository(name: str) -> None:
    answer = Client().get(f"/api/v1/schemas/{name}.json")
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("application/schema+json")
    assert answer.json() == json.loads(FILES[name].read_text())
    Draft202012Validator.check_schema(answer.json())


@pytest.mark.parametrize("name", ["measure-1", "..", "measure-2.json.json", "%2e%2e%2fmeasure-1"])
def test_what_is_no_schema_is_not_found(name: str) -> None:
    answer = Client().get(f"/api/v1/schemas/{name}")
    assert answer.status_code == 404
