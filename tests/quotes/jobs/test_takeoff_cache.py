"""Take-offs kept by their inputs: computed once, and again only when one of those inputs changes."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from catalogue import services as catalogue
from catalogue.models import FenceSystemVersion, SupplierPrice
from quotes.jobs.document_text import canonical, digest, parsed
from quotes.jobs.models import StoredTakeOff
from quotes.jobs.takeoff_cache import engine_mark, take_off_of
from shared.business.actors import SYSTEM
from shared.business.models import Business
from tests.quotes.quoting.cast import measure, new_job, stock_up

pytestmark = pytest.mark.django_db


def _count(business: Business) -> int:
    return StoredTakeOff.objects.of(business).count()


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


def test_the_same_inputs_are_taken_off_once(business: Business) -> None:
    stock_up(business)
    _, version = new_job(business)
    first, again = take_off_of(version=version), take_off_of(version=version)
    assert first.pk == again.pk
    assert _count(business) == 1
    assert digest(first.document) == first.sha256


def test_new_prices_count_only_where_auto_looked_at_them(business: Business) -> None:
    stock_up(business)
    _, plain = new_job(business, measure(7200))
    _, auto = new_job(business, measure(7200, layout="auto"))
    before = take_off_of(version=plain), take_off_of(version=auto)
    assert (before[0].price_sha256, len(before[1].price_sha256)) == ("", 64)
    _dearer(business)
    assert take_off_of(version=plain).pk == before[0].pk
    assert take_off_of(version=auto).pk != before[1].pk


def test_a_new_version_of_the_system_is_a_new_input(business: Business) -> None:
    stock_up(business)
    _, version = new_job(business, measure(7200))
    before = take_off_of(version=version)
    stored = FenceSystemVersion.objects.of(business).get(system__code="corrugated-50")
    document: dict[str, Any] = dict(stored.document)
    document["ground_gap_mm"] += 10
    catalogue.store_system(business=business, actor=SYSTEM, document=document, system=stored.system)
    after = take_off_of(version=version)
    assert (before.system_version, after.system_version) == (1, 2)
    assert parsed(before.system_document)["ground_gap_mm"] + 10 == parsed(after.system_document)["ground_gap_mm"]


def test_the_engine_is_known_by_its_source() -> None:
    assert len(engine_mark()) == 64
    assert engine_mark() == engine_mark()


def test_canonical_text_does_not_depend_on_the_order_of_members() -> None:
    one, other = {"b": [Decimal("1.50"), 2], "a": "ü"}, {"a": "ü", "b": [Decimal("1.50"), 2]}
    assert canonical(one) == canonical(other) == '{"a":"ü","b":[1.50,2]}'
    assert canonical(parsed(canonical(one))) == canonical(one)


def test_what_has_no_place_in_a_document_is_refused() -> None:
    for value in (1.5, {1, 2}, object(), Decimal("NaN")):
        with pytest.raises(TypeError):
            canonical({"value": value})
