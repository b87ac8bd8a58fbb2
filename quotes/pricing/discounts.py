"""Discount of a quote: entered by the estimator, picked from the price rules, or the largest that applies."""

from __future__ import annotations

from dataclasses import dataclass

from catalogue.rules.discounts import DiscountRule, GivenTo
from catalogue.rules.price_rules import PriceRules
from fencing.model.faults import Fault, InvalidDocument
from quotes.pricing.price_lines import Discount

NO_DISCOUNT = "none"
"""Value that a quote names instead of a rule to give no discount."""


@dataclass(frozen=True, slots=True)
class Buyer:
    """Facts that decide about a discount: whether the customer is a returning one, and how many parties pay."""

    returning: bool = False
    parties: int = 1


def choose_discount(asked: Discount | str | None, rules: PriceRules, buyer: Buyer) -> Discount | None:
    """Return the discount of a quote; at most one is given.

    Rule: what the quote asks for counts: a discount of its own, a rule by its key, or no discount. If it asks for nothing,
    the automatic rule with the largest percentage is given.

    Raises:
        InvalidDocument: the price rules do not have the named rule on the day of the quote.
    """
    if isinstance(asked, Discount):
        return asked
    if asked is not None:
        return _picked(asked, rules)
    fitting = [rule for rule in rules.discounts.values() if _applies(rule, buyer)]
    best = min(fitting, key=lambda rule: (-rule.percent, rule.key), default=None)
    return None if best is None else Discount(best.label, best.percent, why=_reason(best, buyer))


def _picked(key: str, rules: PriceRules) -> Discount | None:
    if key == NO_DISCOUNT:
        return None
    if key not in rules.discounts:
        known = ", ".join([*rules.discounts, NO_DISCOUNT])
        text = f"The price rules have no discount {key!r} today. Choose from: {known}."
        raise InvalidDocument([Fault("/discount/rule", "discount.unknown", text)])
    rule = rules.discounts[key]
    return Discount(rule.label, rule.percent, why=f"Price rule {rule.key}, picked on the quote")


def _applies(rule: DiscountRule, buyer: Buyer) -> bool:
    if rule.given_to is GivenTo.RETURNING:
        return buyer.returning
    return rule.given_to is GivenTo.SHARED and buyer.parties > 1


def _reason(rule: DiscountRule, buyer: Buyer) -> str:
    if rule.given_to is GivenTo.RETURNING:
        return f"Price rule {rule.key}: the customer accepted another job before"
    return f"Price rule {rule.key}: {buyer.parties} parties share the cost"
