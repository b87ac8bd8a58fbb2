"""Discounts of the price rules: how much, and who gets them."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class GivenTo(StrEnum):
    """Recipients of a discount: quotes for which it is chosen, or every quote that fits."""

    PICKED = "picked"
    RETURNING = "returning"  # the customer accepted another job before
    SHARED = "shared"  # two parties or more pay


def given_to(choice: str) -> GivenTo:
    """Return the recipients by a rule's choice; by default the quotes for which the discount is chosen."""
    return GivenTo(choice) if choice else GivenTo.PICKED


@dataclass(frozen=True, slots=True)
class DiscountRule:
    """A discount of the price rules: percent off, and who gets it."""

    key: str
    label: str
    percent: Decimal
    given_to: GivenTo = GivenTo.PICKED
