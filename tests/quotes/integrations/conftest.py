"""A business whose first supplier has a system of its own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from catalogue.models import SupplierPrice
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up


@pytest.fixture
def yard(cast: Cast) -> Business:
    """The business with the starter catalogue."""
    stock_up(cast.business)
    return cast.business


@pytest.fixture
def theirs(cast: Cast, key_client: Callable[..., Client]) -> Client:
    """The supplier's machine."""
    return key_client(supplier=cast.supplier)


def offers(yard: Business, *prices: object, sku: str = "") -> list[dict[str, Any]]:
    """Prices from today as a supplier sends them: of one component, or of one rail after the other."""
    rails = SupplierPrice.objects.of(yard).filter(component__role="rail", supplier__account__isnull=False)
    skus = [sku] * len(prices) if sku else list(rails.values_list("component__sku", flat=True).order_by("id"))
    day = timezone.localdate().isoformat()
    return [
        {"business": yard.ref, "component": skus[place], "price": price, "valid_from": day}
        for place, price in enumerate(prices)
    ]


def post(client: Client, path: str, body: Any = None, status: int = 201, **headers: str) -> Any:
    """Post JSON, check the status and return the answer."""
    response = client.post(f"/api/v1/{path}", body if body is not None else {}, "application/json", headers=headers)
    assert response.status_code == status, response.content[:1500]
    return response.json()


def post_xml(client: Client, path: str, body: bytes, status: int = 201) -> Any:
    """The same for XML."""
    response = client.generic("POST", f"/api/v1/{path}", body, "application/xml")
    assert response.status_code == status, response.content[:1500]
    return response.json()
