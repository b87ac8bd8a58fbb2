"""The measure page and the quote of the measure state one price."""

from __future__ import annotations

from typing import Any

import pytest

from quotes.office.measure_preview import draw
from shared.common.money import TaxRoundingLevel, shown
from shared.models import Business
from tests.quotes.quoting.cast import drafted, measure, stock_up
from tests.quotes.quoting.cast import sent as send_quote

THIRDS = {"owner": "1/3", "left": "1/3", "right": "1/3"}
FENCES: dict[str, dict[str, Any]] = {
    "one run": measure(9_000),
    "three runs": measure(12_000, 7_200, 4_150),
    "shared by two": measure(12_000, 7_200, shares={"owner": "1/2", "neighbour": "1/2"}),
    "shared by three": measure(8_400, 5_300, 6_700, shares=THIRDS),
    "named late in the alphabet first": measure(9_100, 3_300, shares={"west": "1/3", "east": "2/3"}),
    "stepped": measure(11_000, 6_300, form="stepped", height_mm=1500),
}


@pytest.mark.parametrize("at", list(TaxRoundingLevel))
@pytest.mark.parametrize("fence", FENCES)
def test_the_measure_page_states_the_total_of_the_quote(business: Business, fence: str, at: TaxRoundingLevel) -> None:
    stock_up(business, "15.5")
    business.tax_rounding = at.value
    business.save()
    revision = send_quote(business, {"introduction": "Hello"}, FENCES[fence])
    assert revision.total is not None
    page = draw(business, FENCES[fence])
    assert page.total == shown(revision.total, business.currency, business.locale)


def test_parties_are_the_same_in_whatever_order_shares_were_typed(business: Business) -> None:
    stock_up(business)
    keys = [
        [
            party.key
            for party in drafted(business, {"introduction": "Hello"}, measure(9_000, shares=shares)).parties.all()
        ]
        for shares in ({"west": "1/3", "east": "2/3"}, {"east": "2/3", "west": "1/3"})
    ]
    assert keys == [["east", "west"]] * 2
