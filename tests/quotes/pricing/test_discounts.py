"""Which discount a quote gets: the one it asks for, otherwise the greatest of the price rules that applies by itself."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from catalogue.rules.discounts import DiscountRule, GivenTo
from fencing.model.faults import InvalidDocument
from quotes.pricing.discounts import Buyer, choose_discount
from tests.quotes.pricing.cast import rules

RULES = rules(
    discounts={
        "neighbours": DiscountRule("neighbours", "Shared", Decimal(2), GivenTo.SHARED),
        "prompt": DiscountRule("prompt", "Paid at once", Decimal(9)),
        "regular": DiscountRule("regular", "Regular", Decimal(3), GivenTo.RETURNING),
    }
)


@pytest.mark.parametrize(
    ("asked", "buyer", "label", "why"),
    [
        (None, Buyer(), None, ""),
        (None, Buyer(parties=2), "Shared", "Price rule neighbours: 2 parties share the cost"),
        (None, Buyer(returning=True), "Regular", "Price rule regular: the customer accepted another job before"),
        # of two that apply only the greater
        (None, Buyer(True, 3), "Regular", "Price rule regular: the customer accepted another job before"),
        ({"rule": "prompt"}, Buyer(True, 3), "Paid at once", "Price rule prompt, picked on the quote"),
        ({"rule": "none"}, Buyer(True, 3), None, ""),
        ({"label": "Own", "percent": "1"}, Buyer(True, 3), "Own", ""),
    ],
)
def test_one_discount_is_given(asked: dict[str, Any] | None, buyer: Buyer, label: str | None, why: str) -> None:
    found = choose_discount(asked, RULES, buyer)
    assert (found and found.label, found.why if found else "") == (label, why)


def test_a_discount_the_rules_do_not_have_is_refused_with_those_they_have() -> None:
    with pytest.raises(InvalidDocument, match="neighbours, prompt, regular, none"):
        choose_discount({"rule": "gold"}, RULES, Buyer())
