"""A business with the starter catalogue."""

from __future__ import annotations

from decimal import Decimal

import pytest

from catalogue.spreadsheets.sample_catalogue import load_starter
from shared.business.actors import Actor
from shared.business.models import Business
from shared.business.roles import BUSINESS_SCOPES


@pytest.fixture
def stocked(business: Business) -> Business:
    """The cast's business with the starter catalogue and 15 percent tax."""
    load_starter(business, tax_name="GST", tax_rate=Decimal(15))
    return business


@pytest.fixture
def olive(business: Business) -> Actor:
    """The owner at work."""
    return Actor("person", "olive", "Olive", BUSINESS_SCOPES, business)
