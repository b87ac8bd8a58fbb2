"""A stocked business for the orders' tests."""

from __future__ import annotations

import pytest

from shared.models import Business
from tests.conftest import Cast
from tests.quotes.quoting.cast import stock_up


@pytest.fixture
def yard(cast: Cast) -> Business:
    """The business with the starter catalogue, its goods taxed at 10 percent."""
    stock_up(cast.business)
    return cast.business
