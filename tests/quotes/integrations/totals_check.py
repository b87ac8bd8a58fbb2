"""Exact amounts of an order: no tolerance, halves up.

Rules from EN 16931-1 (BR-CO-10, -13, -14, -15, -16, -17) and the order transaction's line arithmetic:
price over base quantity times quantity is rounded once for a line, tax once for each category and rate.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction

from quotes.integrations.ubl.documents import OrderDocument, UblOrderLine, UblTaxSubtotal
from shared.common.money import rounded

ZERO = Decimal(0)

TAX_CATEGORIES = frozenset({"S", "Z", "E", "AE", "K", "G", "O", "L", "M", "B"})


def line_net(price: Decimal, quantity: Decimal, base_quantity: Decimal = Decimal(1), digits: int = 2) -> Decimal:
    """Return the net amount of a line, rounded half up.

    >>> line_net(Decimal("10.025"), Decimal("4"))
    Decimal('40.10')
    >>> line_net(Decimal("1.005"), Decimal(1))
    Decimal('1.01')
    """
    return rounded(Fraction(price) * Fraction(quantity) / Fraction(base_quantity), digits)


def tax_rows(taxed: Iterable[tuple[str, Decimal, Decimal]], digits: int = 2) -> tuple[UblTaxSubtotal, ...]:
    """Return the tax for each category and rate on the taxable sum, rounded half up (BR-CO-17).

    Args:
        taxed: (category, percent, amount) of every line and charge; 25 and 25.00 are the same rate.
        digits: minor units of the currency.

    >>> [str(row.tax) for row in tax_rows([("S", Decimal(20), Decimal("0.33"))] * 3)]
    ['0.20']
    """
    sums: dict[tuple[str, Fraction], Decimal] = {}
    shown: dict[tuple[str, Fraction], Decimal] = {}
    for category, percent, amount in taxed:
        key = category, Fraction(percent)
        sums[key] = sums.get(key, ZERO) + amount
        shown.setdefault(key, percent)
    return tuple(
        UblTaxSubtotal(key[0], shown[key], taxable, rounded(Fraction(taxable) * key[1] / 100, digits))
        for key, taxable in sorted(sums.items())
    )


def wrong_sums(order: OrderDocument, digits: int = 2) -> list[str]:
    """Return the rules that the sums of an order break, with the figures; empty if all sums are exact."""
    return [*_wrong_lines(order.lines, digits), *_wrong_taxes(order, digits), *_wrong_total(order)]


def _wrong_taxes(order: OrderDocument, digits: int) -> Iterable[str]:
    expected = sum((line.net for line in order.lines), ZERO)
    if order.lines_total != expected:
        yield f"BR-CO-10: lines add up to {expected}, {order.lines_total} is stated"
    taxed = [(line.tax_category, line.tax_percent, line.net) for line in order.lines]
    if order.charge:
        taxed.append((order.charge_tax_category, order.charge_tax_percent, order.charge))
    if list(map(_row, order.taxes)) != list(map(_row, tax_rows(taxed, digits))):
        yield "BR-CO-17: tax rows are not the tax on the sum of each category and rate"
    tax = sum((row.tax for row in order.taxes), ZERO)
    if order.tax != tax:
        yield f"BR-CO-14: tax rows add up to {tax}, {order.tax} is stated"


def _wrong_total(order: OrderDocument) -> Iterable[str]:
    total = order.lines_total + order.charge + order.tax
    if order.total != total or order.payable != total:
        yield f"BR-CO-15: net, charge and tax make {total}, {order.total} and {order.payable} are stated"


def _row(row: UblTaxSubtotal) -> tuple[str, Fraction, Decimal, Decimal]:
    return row.category, Fraction(row.percent), row.taxable, row.tax


def _wrong_lines(lines: Sequence[UblOrderLine], digits: int) -> Iterable[str]:
    for line in lines:
        if line.base_quantity <= 0:
            yield f"R130: line {line.id} has base quantity {line.base_quantity}, it must be above 0"
        elif line.net != line_net(line.price, line.quantity, line.base_quantity, digits):
            yield f"T01-R024: line {line.id} states {line.net}, its price and quantity give another amount"
