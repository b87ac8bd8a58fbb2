"""Lines of the price rules: their kinds, the codes they may use, and the errors of a line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from catalogue.rules.labour_rules import factor_faults, labour_faults, rate_faults
from shared.common.money import Rounding, RoundingRemainder


class RuleKind(StrEnum):
    """Kind of a price rule; it decides how key, amount and choice are read."""

    MARKUP = "markup"  # key: category or role; amount: percent; choice: markup on cost, or margin of price
    LABOUR = "labour"  # key: activity; amount: rate; choice: depth a dig rate includes [mm], or hazardous
    HIRE = "hire"  # key: what is hired; amount: rate a day
    DISPOSAL = "disposal"  # key: kind of waste; amount: rate a metre (old fence) or a cubic metre (spoil)
    DISCOUNT = "discount"  # key: name of the discount; amount: percent; choice: who gets it, one of GivenTo
    TAX = "tax"  # key: tax code; amount: rate in percent; choice: category
    TAX_OF = "tax_code_for"  # key: category of cost, or nothing for all others; choice: tax code
    ACCOUNT = "account"  # key: category, role, "sales", "discount"; choice: account code
    PAYMENT = "payment"  # key: order of the instalment; amount: percent; choice: when it is due
    SETTING = "setting"  # key: one of SETTINGS
    FACTOR = "factor"  # key: diameter.300, bulking, bulking.clay; amount: factor on digging, or on the volume of spoil


class Category(StrEnum):
    """Categories of costs."""

    MATERIALS = "materials"
    LABOUR = "labour"
    HIRE = "hire"
    DISPOSAL = "disposal"
    SUBCONTRACT = "subcontract"
    DELIVERY = "delivery"


class Due(StrEnum):
    """Milestones at which an instalment is due."""

    ACCEPTANCE = "acceptance"
    START = "start"
    POSTS_SET = "posts_set"
    COMPLETION = "completion"


TAX_CATEGORIES = ("S", "Z", "E", "AE", "K", "G", "O")
_AMOUNTS = {"minimum_job_charge", "rounding_step", "tax_line_digits", "travel_visits"}
_MONEY = {RuleKind.LABOUR, RuleKind.HIRE, RuleKind.DISPOSAL}
_CHOICES: dict[str, tuple[str, ...]] = {
    "rounding": tuple(Rounding),
    "tax_rounding": tuple(Rounding),
    "rounding_difference": tuple(RoundingRemainder),
}
SETTINGS = tuple(sorted(_AMOUNTS | set(_CHOICES)))


def is_money(kind: str, key: str) -> bool:
    """Return whether a line's amount is money; otherwise it is a percentage or a count."""
    return kind in _MONEY or (kind == RuleKind.SETTING and key in {"minimum_job_charge", "rounding_step"})


@dataclass(frozen=True, slots=True)
class RuleLine:
    """One dated line of the price rules."""

    kind: str
    key: str
    amount: Decimal | None
    choice: str
    label: str
    valid_from: date
    valid_to: date | None = None


_Faults = list[tuple[str, str]]


def _percent_fault(amount: Decimal | None, *, below: int) -> _Faults:
    if amount is None or not 0 <= amount < below:
        return [("value", f"Enter a percentage from 0 to below {below}.")]
    return []


def _chosen_fault(choice: str, choices: Iterable[str]) -> _Faults:
    known = tuple(choices)
    return [] if choice in known else [("option", f"Choose from: {', '.join(known)}.")]


def _markup_faults(key: str, amount: Decimal | None, choice: str) -> _Faults:
    return _percent_fault(amount, below=100 if choice == "margin" else 1000) + _chosen_fault(
        choice, ("markup", "margin")
    )


def _discount_faults(key: str, amount: Decimal | None, choice: str) -> _Faults:
    taken = [("applies_to", "Choose another name: this one means no discount.")] if key == "none" else []
    return taken + _percent_fault(amount, below=100) + (_chosen_fault(choice, GivenTo) if choice else [])


def _tax_faults(key: str, amount: Decimal | None, choice: str) -> _Faults:
    faults = _percent_fault(amount, below=100) + _chosen_fault(choice, TAX_CATEGORIES)
    if not faults and amount is not None and (amount > 0) != (choice == "S"):
        faults.append(("value", "Category S has a rate above 0, every other category a rate of 0."))
    return faults


def _setting_faults(key: str, amount: Decimal | None, choice: str) -> _Faults:
    if key in _CHOICES:
        return _chosen_fault(choice, _CHOICES[key])
    return rate_faults(amount) if key in _AMOUNTS else [("applies_to", f"Choose from: {', '.join(SETTINGS)}.")]


def _named_faults(key: str, amount: Decimal | None, choice: str) -> _Faults:
    return [] if choice else [("option", "Enter a code.")]


_KIND_FAULTS = {
    RuleKind.MARKUP: _markup_faults,
    RuleKind.LABOUR: labour_faults,
    RuleKind.HIRE: lambda key, amount, choice: rate_faults(amount),
    RuleKind.DISPOSAL: lambda key, amount, choice: rate_faults(amount),
    RuleKind.DISCOUNT: _discount_faults,
    RuleKind.TAX: _tax_faults,
    RuleKind.TAX_OF: _named_faults,
    RuleKind.ACCOUNT: _named_faults,
    RuleKind.PAYMENT: lambda key, amount, choice: _percent_fault(amount, below=101) + _chosen_fault(choice, Due),
    RuleKind.SETTING: _setting_faults,
    RuleKind.FACTOR: factor_faults,
}


def rule_faults(kind: str, key: str, amount: Decimal | None, choice: str) -> _Faults:
    """Return the errors of one line as (field, accepted values). Every kind except ``tax_code_for`` needs a key."""
    if kind not in RuleKind.__members__.values():
        return [("kind", f"Choose from: {', '.join(RuleKind)}.")]
    faults = _KIND_FAULTS[RuleKind(kind)](key, amount, choice)
    return faults if key or kind == RuleKind.TAX_OF else [("applies_to", "Enter a key."), *faults]


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
