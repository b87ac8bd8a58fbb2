"""The same thing added by many at once is there once, and everybody else is told so."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from catalogue.models import Component
from catalogue.services import store
from fencing.model.faults import InvalidDocument
from shared.business.actors import SYSTEM
from shared.business.models import Business

CROWD = 8


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_of_many_adding_one_sku_one_succeeds_and_the_rest_are_refused() -> None:
    business = Business.objects.create(name="Skerry Fencing", country="NZ", currency="NZD")

    def add(number: int) -> str:
        try:
            store(
                Component(business=business),
                actor=SYSTEM,
                values={"sku": "R1", "label": f"Latch {number}", "role": "latch"},
            )
        except InvalidDocument as refused:
            return refused.faults[0].code
        finally:
            connection.close()
        return "added"

    with ThreadPoolExecutor(CROWD) as crowd:
        answers = sorted(crowd.map(add, range(CROWD)))
    assert answers == ["added", *["sku.taken"] * (CROWD - 1)]
    assert Component.objects.of(business).count() == 1
