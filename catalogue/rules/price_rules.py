"""Price rules of a business as plain values, read from dated lines. No database records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from fractions import Fraction

from catalogue.rules.digging import NO_FACTORS, DigRate, HoleFactors, dig_depths, hole_factors
from catalogue.rules.price_rule_lines import DiscountRule, Due, RuleKind, RuleLine, given_to
from catalogue.rules.site_words import SiteWords, hazardous_kinds, plain_word, rule_key, site_words
from fencing.model.faults import Fault, InvalidDocument
from shared.common.money import Rounding, RoundingRemainder, TaxPolicy, TaxRoundingLevel, minor_digits

ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Markup:
    """Percent put on cost, or (``of_price``) the share of the price that is margin."""

    percent: Decimal
    of_price: bool = False

    def price(self, cost: Decimal | Fraction) -> Fraction:
        """Exact price of a cost.

        >>> Markup(Decimal(25)).price(Decimal(80)), Markup(Decimal(20), of_price=True).price(Decimal(80))
        (Fraction(100, 1), Fraction(100, 1))
        """
        part = Fraction(self.percent) / 100
        return Fraction(cost) / (1 - part) if self.of_price else Fraction(cost) * (1 + part)


@dataclass(frozen=True, slots=True)
class TaxCode:
    """A tax code with its rate in percent on the day of supply."""

    code: str
    category: str
    rate: Decimal
    label: str


@dataclass(frozen=True, slots=True)
class Instalment:
    """A part of the price by percent, and when it is due."""

    key: str
    label: str
    percent: Decimal
    due: Due


@dataclass(frozen=True, slots=True)
class PriceRules:
    """Price rules for ``quotes.pricing``, valid ``on`` a day; tax of the day of supply."""

    currency: str
    on: date
    markups: Mapping[str, Markup] = field(default_factory=dict)
    labour: Mapping[str, Decimal] = field(default_factory=dict)
    hire: Mapping[str, tuple[str, Decimal]] = field(default_factory=dict)
    disposal: Mapping[str, Decimal] = field(default_factory=dict)
    discounts: Mapping[str, DiscountRule] = field(default_factory=dict)
    taxes: Mapping[str, TaxCode] = field(default_factory=dict)
    tax_code_for: Mapping[str, str] = field(default_factory=dict)
    accounts: Mapping[str, str] = field(default_factory=dict)
    instalments: tuple[Instalment, ...] = ()
    minimum_job_charge: Decimal = ZERO
    rounding_step: Decimal = ZERO
    rounding: Rounding = Rounding.HALF_UP
    tax_rounding: TaxPolicy = field(default_factory=TaxPolicy)
    rounding_difference: RoundingRemainder = RoundingRemainder.FAIREST
    visits: Decimal = Decimal(1)
    depths: Mapping[str, int] = field(default_factory=dict)
    factors: HoleFactors = NO_FACTORS
    hazardous: frozenset[str] = frozenset()

    @property
    def words(self) -> SiteWords:
        """The soils and kinds of old fence a measure may name."""
        return site_words(self.labour, self.disposal, self.hazardous)

    @property
    def digits(self) -> int:
        return minor_digits(self.currency)

    def markup(self, category: str, role: str = "") -> Markup:
        """Return the markup of a role, else of its family (``cap`` of ``cap.pair``) or category, else None."""
        for key in (role, role.partition(".")[0], category):
            if key and key in self.markups:
                return self.markups[key]
        return Markup(ZERO)

    def account(self, category: str, role: str = "") -> str:
        """Account code for a role, its family, its category, or all sales."""
        keys = (role, role.partition(".")[0], category, "sales")
        return next((self.accounts[key] for key in keys if key and key in self.accounts), "")

    def tax(self, category: str = "") -> TaxCode:
        """Return the tax code of a cost category. Raise if the rules have none."""
        code = self.tax_code_for.get(category) or self.tax_code_for.get("")
        return self.tax_by_code(code or "")

    def tax_by_code(self, code: str) -> TaxCode:
        """Return a tax code on the day of supply. Raise if there is none on that day."""
        if code not in self.taxes:
            text = (
                f"There is no tax code {code!r} on the day of supply." if code else "The price rules name no tax code."
            )
            raise InvalidDocument([Fault("/price_rules/tax", "tax.missing", text)])
        return self.taxes[code]

    def labour_rate(self, activity: str, finer: str = "") -> Decimal | None:
        """Rate for an activity: for ``finer`` (a kind) itself, otherwise for the activity in general.

        Erecting goes by height in mm: the rate of the least height that is not below it, then the general one, then the
        rate of the greatest height.
        """
        if activity == "erect" and finer:
            heights = sorted(int(key[6:]) for key in self.labour if key.startswith("erect."))
            band = next((height for height in heights if height >= int(finer)), None)
            if band is None and "erect" not in self.labour and heights:
                band = heights[-1]
            return self.labour.get(f"erect.{band}", self.labour.get("erect"))
        return self.labour.get(f"{activity}.{finer}", self.labour.get(activity))

    def dig_rate(self, soil: str) -> DigRate | None:
        """Return what digging costs in a soil, or where none is named. A soil has its own rate or none: never the general one."""
        finer = f".{plain_word(soil)}" if soil else ""
        hole = self.labour.get(f"dig{finer}")
        if hole is None:
            return None
        return DigRate(hole, self.depths.get(f"dig{finer}"), self.labour.get(f"dig_deeper{finer}"))


def standing(lines: Iterable[RuleLine], on: date) -> dict[tuple[str, str], RuleLine]:
    """Of each kind and key, the line that began last on or before a day and has not ended, by kind and key."""
    found: dict[tuple[str, str], RuleLine] = {}
    for line in sorted(lines, key=lambda item: item.valid_from):
        if line.valid_from <= on and (line.valid_to is None or on <= line.valid_to):
            found[line.kind, rule_key(line.kind, line.key)] = line
    return dict(sorted(found.items()))


def _amounts(now: Mapping[tuple[str, str], RuleLine], kind: RuleKind) -> dict[str, Decimal]:
    return {key: line.amount for (of, key), line in now.items() if of == kind and line.amount is not None}


def _choices(now: Mapping[tuple[str, str], RuleLine], kind: RuleKind) -> dict[str, str]:
    return {key: line.choice for (of, key), line in now.items() if of == kind and line.choice}


def _labelled(now: Mapping[tuple[str, str], RuleLine], kind: RuleKind) -> dict[str, tuple[str, Decimal]]:
    return {key: (now[kind, key].label or key, amount) for key, amount in _amounts(now, kind).items()}


def _instalments(now: Mapping[tuple[str, str], RuleLine]) -> tuple[Instalment, ...]:
    amounts = {key: amount for key, amount in _amounts(now, RuleKind.PAYMENT).items() if amount > 0}
    if amounts and sum(amounts.values()) != 100:
        total = sum(amounts.values())
        raise InvalidDocument(
            [Fault("/price_rules/payment", "payment.sum", f"The instalments add up to {total:f} %, not to 100 %.")]
        )
    lines = {key: now[RuleKind.PAYMENT, key] for key in amounts}
    return tuple(Instalment(key, line.label or key, amounts[key], Due(line.choice)) for key, line in lines.items())


def _tax_rounding(amounts: Mapping[str, Decimal], choices: Mapping[str, str], at: TaxRoundingLevel) -> TaxPolicy:
    digits = amounts.get("tax_line_digits")
    return TaxPolicy(
        at, Rounding(choices.get("tax_rounding", Rounding.HALF_UP)), None if digits is None else int(digits)
    )


def read_rules(
    lines: Iterable[RuleLine],
    *,
    currency: str,
    on: date,
    supplied: date | None = None,
    tax_at: TaxRoundingLevel = TaxRoundingLevel.TOTAL,
) -> PriceRules:
    """Return the price rules of a day, with the tax rates of the day of supply. Raise if they contradict each other."""
    lines = list(lines)
    now, taxed = standing(lines, on), standing(lines, supplied or on)
    amounts, choices = _amounts(now, RuleKind.SETTING), _choices(now, RuleKind.SETTING)
    return PriceRules(
        currency=currency,
        on=on,
        markups={
            key: Markup(amount, of_price=now[RuleKind.MARKUP, key].choice == "margin")
            for key, amount in _amounts(now, RuleKind.MARKUP).items()
        },
        labour=_amounts(now, RuleKind.LABOUR),
        hire=_labelled(now, RuleKind.HIRE),
        disposal=_amounts(now, RuleKind.DISPOSAL),
        discounts={
            key: DiscountRule(key, *named, given_to(now[RuleKind.DISCOUNT, key].choice))
            for key, named in _labelled(now, RuleKind.DISCOUNT).items()
        },
        taxes={
            key: TaxCode(key, taxed[RuleKind.TAX, key].choice, rate, taxed[RuleKind.TAX, key].label or key)
            for key, rate in _amounts(taxed, RuleKind.TAX).items()
        },
        tax_code_for=_choices(now, RuleKind.TAX_OF),
        accounts=_choices(now, RuleKind.ACCOUNT),
        instalments=_instalments(now),
        minimum_job_charge=amounts.get("minimum_job_charge", ZERO),
        rounding_step=amounts.get("rounding_step", ZERO),
        rounding=Rounding(choices.get("rounding", Rounding.HALF_UP)),
        tax_rounding=_tax_rounding(amounts, choices, tax_at),
        rounding_difference=RoundingRemainder(choices.get("rounding_difference", RoundingRemainder.FAIREST)),
        visits=amounts.get("travel_visits", Decimal(1)),
        depths=dig_depths(_choices(now, RuleKind.LABOUR)),
        factors=hole_factors(_amounts(now, RuleKind.FACTOR)),
        hazardous=hazardous_kinds(_choices(now, RuleKind.LABOUR)),
    )
