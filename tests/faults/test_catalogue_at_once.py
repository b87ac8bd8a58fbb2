"""The same component added by several requests at once is stored once; the other requests get an error."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from catalogue.models import Component
from catalogue.services import store
from fencing.model.faults import InvalidDocument
from shared.business.actors import SYSTEM
from shared.business.models import Business

REQUESTS = 8


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_one_of_several_requests_with_the_same_sku_succeeds_and_the_others_are_refused() -> None:
    business = Business.objects.create(name="Skerry Fencing", country="NZ", currency="NZD")

    def add(number: int) -> str:
        try:
            store(
                Component(business=business),
                actor=SYSTEM,
                values={"sku": "R1", "name": f"Latch {number}", "role": "latch"},
            )
        except InvalidDocument as refused:
            return refused.faults[0].code
        finally:
            connection.close()
        return "added"

    with ThreadPoolExecutor(REQUESTS) as pool:
        answers = sorted(pool.map(add, range(REQUESTS)))
    assert answers == ["added", *["sku.taken"] * (REQUESTS - 1)]
    assert Component.objects.of(business).count() == 1
