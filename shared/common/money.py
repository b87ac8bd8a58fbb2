"""Money: decimal amounts in minor units of a currency, rounding by named rules, and division without losing a cent.

Values are exact until they are rounded once. Amounts are ``Decimal`` and shares are ``Fraction``, never float.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, ROUND_HALF_DOWN, ROUND_HALF_UP, Decimal
from enum import StrEnum
from fractions import Fraction
from functools import cache

from babel.core import get_global
from babel.numbers import format_currency, get_currency_precision, get_decimal_symbol

ZERO = Decimal(0)

# Minor units other than 2 in ISO 4217 of 2026-01-01, without codes that have no minor unit. CLDR gives the digits of daily use,
# which differ for a dozen currencies: they are used to show amounts, not to calculate.
_DIGITS = {
    **dict.fromkeys(
        ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND", "VUV"), 0
    ),
    **dict.fromkeys(("XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
    **dict.fromkeys(("CLF", "UYW"), 4),
}


class Rounding(StrEnum):
    """Rule for rounding to whole minor units. Negative amounts are rounded like positive ones."""

    HALF_UP = "half_up"
    HALF_DOWN = "half_down"
    DOWN = "down"


_DECIMAL_RULE = {Rounding.HALF_UP: ROUND_HALF_UP, Rounding.HALF_DOWN: ROUND_HALF_DOWN, Rounding.DOWN: ROUND_DOWN}


class RoundingRemainder(StrEnum):
    """Party that gets the minor units left after division: the one with the lowest total so far, or a fixed one."""

    FAIREST = "fairest"
    FIRST = "first"
    LAST = "last"
    LARGEST = "largest"


class TaxRoundingLevel(StrEnum):
    """Level at which tax is rounded: on each line, or once on the total of each category and rate."""

    LINE = "line"
    TOTAL = "total"


@cache
def currencies() -> frozenset[str]:
    """Return the codes of the currencies in use, without precious metals and units of account."""
    dated = get_global("territory_currencies").values()
    current = {code for rows in dated for code, _start, end, _tender in rows if end is None}
    return frozenset(
        code for code in current if not code.startswith("X") or code in {"XAF", "XOF", "XPF", "XCD", "XCG"}
    )


def minor_digits(currency: str) -> int:
    """Return the decimal places of a currency (ISO 4217). Raise ValueError for a code that is not in use."""
    if currency not in currencies():
        raise ValueError(f"{currency!r} is not a currency in use: enter a three-letter ISO 4217 code, such as EUR")
    return _DIGITS.get(currency, 2)


def rounded(amount: Decimal | Fraction, digits: int, rule: Rounding = Rounding.HALF_UP) -> Decimal:
    """Round an exact amount to ``digits`` decimal places.

    >>> rounded(Decimal("2.675"), 2), rounded(Decimal("2.675"), 2, Rounding.HALF_DOWN), rounded(Fraction(2, 3), 2)
    (Decimal('2.68'), Decimal('2.67'), Decimal('0.67'))
    """
    if isinstance(amount, Decimal) and not amount.is_finite():
        raise ValueError("an amount of money is a finite number")
    exact = Fraction(amount) * 10**digits
    size, rest = divmod(abs(exact.numerator), exact.denominator)
    half = 2 * rest - exact.denominator
    if rule is not Rounding.DOWN and (half > 0 or (half == 0 and rule is Rounding.HALF_UP)):
        size += 1
    return Decimal((1 if exact < 0 and size else 0, tuple(int(digit) for digit in str(size)), -digits))


def rounded_to_step(
    amount: Decimal | Fraction, step: Decimal, digits: int, rule: Rounding = Rounding.HALF_UP
) -> Decimal:
    """Round to the nearest multiple of ``step``, such as 5; with a step of 0 to whole minor units."""
    if step <= 0:
        return rounded(amount, digits, rule)
    return rounded(rounded(Fraction(amount) / Fraction(step), 0, rule) * step, digits, rule)


def stated(amount: Decimal, currency: str) -> str:
    """Return an amount for programs, with the places of its currency, or more if the amount has more, like some prices.

    >>> stated(Decimal("12.5000"), "NZD"), stated(Decimal("12.0000"), "JPY"), stated(Decimal("0.0375"), "NZD")
    ('12.50', '12', '0.0375')
    """
    whole = rounded(amount, minor_digits(currency))
    return f"{whole if whole == amount else amount.normalize():f}"


def shown(amount: Decimal, currency: str, locale: str = "en") -> str:
    """Return an amount in the format of a locale, with the places of its currency."""
    digits = minor_digits(currency)
    standard = digits == get_currency_precision(currency)
    return str(
        format_currency(
            rounded(amount, digits), currency, locale=locale, currency_digits=standard, decimal_quantization=standard
        )
    )


def check_shares(shares: Mapping[str, Fraction]) -> None:
    """Raise ValueError if a share is negative or the shares do not add up to exactly 1."""
    if any(share < 0 for share in shares.values()) or sum(shares.values(), Fraction(0)) != 1:
        raise ValueError("shares are not negative and add up to exactly 1")


def _queue(exact: Mapping[str, Fraction], owed: Mapping[str, Fraction], odd: RoundingRemainder) -> list[str]:
    """Return the order in which parties get a remaining cent. A party whose exact share is whole cents gets none."""
    names = [name for name, part in exact.items() if part.denominator != 1]
    if odd is RoundingRemainder.LAST:
        return names[::-1]
    if odd is RoundingRemainder.LARGEST:
        return sorted(names, key=lambda name: -exact[name])
    return sorted(names, key=lambda name: -owed[name]) if odd is RoundingRemainder.FAIREST else names


class Apportionment:
    """Division of several amounts between the same parties, with a running total of fractions of a cent.

    The parts of each amount add up exactly. With ``RoundingRemainder.FAIREST`` the remaining cents of many lines are spread
    over the parties. If each line were divided separately, one party would get all of them.
    """

    def __init__(self, digits: int, odd: RoundingRemainder = RoundingRemainder.FAIREST) -> None:
        self._digits, self._odd = digits, odd
        self._owed: dict[str, Fraction] = {}

    def share(self, amount: Decimal, shares: Mapping[str, Fraction]) -> dict[str, Decimal]:
        """Divide an amount in whole minor units by exact shares that add up to 1. The parts add up to the amount."""
        check_shares(shares)
        units = Fraction(amount) * 10**self._digits
        if units.denominator != 1:
            raise ValueError(f"{amount} is not a whole number of minor units")
        sign = -1 if units < 0 else 1
        exact = {name: abs(units) * share for name, share in shares.items()}
        parts = {name: part.numerator // part.denominator for name, part in exact.items()}
        owed = {name: self._owed.get(name, Fraction(0)) * sign + exact[name] - parts[name] for name in shares}
        odd_units = int(abs(units)) - sum(parts.values())
        for name in _queue(exact, owed, self._odd)[:odd_units]:
            parts[name] += 1
            owed[name] -= 1
        self._owed.update({name: part * sign for name, part in owed.items()})
        return {name: Decimal(part * sign).scaleb(-self._digits) for name, part in parts.items()}


def allocate(
    amount: Decimal, shares: Mapping[str, Fraction], currency: str, odd: RoundingRemainder = RoundingRemainder.FAIREST
) -> dict[str, Decimal]:
    """Divide one amount by exact shares. The parts add up to it; the rule decides about the remaining cents.

    >>> thirds = {name: Fraction(1, 3) for name in ("owner", "left", "right")}
    >>> allocate(Decimal("100.00"), thirds, "EUR", RoundingRemainder.LAST)
    {'owner': Decimal('33.33'), 'left': Decimal('33.33'), 'right': Decimal('33.34')}
    """
    return Apportionment(minor_digits(currency), odd).share(amount, shares)


@dataclass(frozen=True, slots=True)
class TaxPolicy:
    """Rules for calculating tax. ``line_digits`` and ``line_rounding`` apply to tax on each line, if they differ.

    Laws differ: half up (AU GST Act 1999 s 9-90, EN 16931-1), half down (NZ GST Act 1985 s 19O), down (UK VAT Notice 700,
    17.5).
    """

    at: TaxRoundingLevel = TaxRoundingLevel.TOTAL
    rounding: Rounding = Rounding.HALF_UP
    line_digits: int | None = None
    line_rounding: Rounding | None = None


def tax_on(nets: Iterable[Decimal], rate: Decimal, rule: TaxPolicy, digits: int = 2) -> Decimal:
    """Return the tax on net amounts of one category at ``rate`` percent.

    >>> nets = [Decimal("0.33")] * 3
    >>> [str(tax_on(nets, Decimal(20), TaxPolicy(level))) for level in (TaxRoundingLevel.TOTAL, TaxRoundingLevel.LINE)]
    ['0.20', '0.21']
    """
    percent = Fraction(rate) / 100
    if rule.at is TaxRoundingLevel.TOTAL:
        return rounded(sum((Fraction(net) for net in nets), Fraction(0)) * percent, digits, rule.rounding)
    line_digits = digits if rule.line_digits is None else rule.line_digits
    line_rule = rule.line_rounding or rule.rounding
    return rounded(
        sum((rounded(Fraction(net) * percent, line_digits, line_rule) for net in nets), ZERO), digits, rule.rounding
    )


def tax_within(gross: Decimal, rate: Decimal, digits: int = 2, rule: Rounding = Rounding.HALF_UP) -> Decimal:
    """Return the tax contained in an amount that includes tax.

    >>> tax_within(Decimal("100.00"), Decimal(10))
    Decimal('9.09')
    """
    return rounded(Fraction(gross) * Fraction(rate) / (100 + Fraction(rate)), digits, rule)


def line_net(
    price: Decimal,
    quantity: Decimal,
    *,
    per: Decimal = Decimal(1),
    charges: Iterable[Decimal] = (),
    allowances: Iterable[Decimal] = (),
    digits: int = 2,
) -> Decimal:
    """Return the net amount of a line. The product, each charge and each allowance are rounded separately, half up.

    ``price`` is for ``per`` units. Source: Peppol BIS Order rules, Billing BIS calculations.

    >>> line_net(Decimal("1.005"), Decimal(1)), line_net(Decimal("10.00"), Decimal(25), per=Decimal(100))
    (Decimal('1.01'), Decimal('2.50'))
    """
    if per <= 0 or price < 0 or quantity < 0:
        raise ValueError("a price and a quantity are not negative, and a price is for more than 0 units")
    product = rounded(Fraction(price) * Fraction(quantity) / Fraction(per), digits)
    added = sum((rounded(charge, digits) for charge in charges), ZERO)
    return product + added - sum((rounded(allowance, digits) for allowance in allowances), ZERO)


@dataclass(frozen=True, slots=True)
class TaxableAmount:
    """Net amount with its tax category (UN/EDIFACT 5305: S, Z, E, AE, K, G, O ...) and rate in percent."""

    net: Decimal
    category: str
    rate: Decimal

    def __post_init__(self) -> None:
        if self.category in {"Z", "E", "AE", "K", "G", "O"} and self.rate != 0:
            raise ValueError(f"tax category {self.category} has a rate of 0")
        if self.category == "S" and self.rate <= 0:
            raise ValueError("tax category S has a rate above 0")


@dataclass(frozen=True, slots=True)
class TaxSubtotal:
    """Row of the tax breakdown: category, rate, taxable amount and tax."""

    category: str
    rate: Decimal
    taxable: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class DocumentTotals:
    """Totals of a document (EN 16931-1, BR-CO-10 to BR-CO-16)."""

    lines: Decimal
    allowances: Decimal
    charges: Decimal
    exclusive: Decimal
    breakdown: tuple[TaxSubtotal, ...]
    tax: Decimal
    inclusive: Decimal
    prepaid: Decimal
    rounding: Decimal
    payable: Decimal


def tax_breakdown(amounts: Sequence[TaxableAmount], rule: TaxPolicy, digits: int = 2) -> tuple[TaxSubtotal, ...]:
    """Return one row for each category and rate ("25" and "25.00" are equal), in the order of the amounts."""
    grouped: dict[tuple[str, Decimal], list[Decimal]] = {}
    for amount in amounts:
        grouped.setdefault((amount.category, amount.rate), []).append(amount.net)
    return tuple(
        TaxSubtotal(category, rate, sum(nets, ZERO), tax_on(nets, rate, rule, digits))
        for (category, rate), nets in grouped.items()
    )


def totals(
    lines: Sequence[TaxableAmount],
    *,
    allowances: Sequence[TaxableAmount] = (),
    charges: Sequence[TaxableAmount] = (),
    prepaid: Decimal = ZERO,
    rounding: Decimal = ZERO,
    rule: TaxPolicy = TaxPolicy(),
    digits: int = 2,
) -> DocumentTotals:
    """Return the totals of a document from its rounded lines, allowances and charges. Sums are not rounded again."""
    less = [TaxableAmount(-allowance.net, allowance.category, allowance.rate) for allowance in allowances]
    breakdown = tax_breakdown([*lines, *less, *charges], rule, digits)
    net, allowed, charged = (sum((item.net for item in group), ZERO) for group in (lines, allowances, charges))
    exclusive, tax = net - allowed + charged, sum((row.tax for row in breakdown), ZERO)
    payable = exclusive + tax - prepaid + rounding
    return DocumentTotals(net, allowed, charged, exclusive, breakdown, tax, exclusive + tax, prepaid, rounding, payable)


def decimal_sign(locale: str) -> str:
    """Return the decimal sign of a locale.

    >>> decimal_sign("en"), decimal_sign("de_DE")
    ('.', ',')
    """
    return get_decimal_symbol(locale.replace("-", "_"))
