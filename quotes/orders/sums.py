"""Sums of an order, exact: a line is rounded once, tax once for each code and rate (EN 16931-1, BR-CO-10 to BR-CO-17)."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction

from quotes.orders.models import LineJob, OrderLine, SupplierOrder
from shared.money import Taxed, TaxRow, TaxRule, allocate, line_net, minor_digits, tax_breakdown

ZERO = Decimal(0)
QUANTITY_DIGITS = 3


def net_of(order: SupplierOrder, price: Decimal, quantity: Decimal) -> Decimal:
    """What so many at a price come to, in whole minor units."""
    return line_net(price, quantity, digits=minor_digits(order.currency))


def due(line: OrderLine) -> Decimal:
    """What of a line is still to be paid for: everything that was not cancelled."""
    return line.quantity - line.cancelled


def price_line(order: SupplierOrder, line: OrderLine) -> None:
    """The line's net from its price and what is not cancelled of it."""
    line.net = net_of(order, line.price, due(line))


def taxes(order: SupplierOrder, lines: Iterable[OrderLine]) -> tuple[TaxRow, ...]:
    """Tax for each category and rate, the delivery fee included."""
    taxed = [Taxed(line.net, line.tax_category, line.tax_rate) for line in lines]
    if order.delivery_fee:
        taxed.append(Taxed(order.delivery_fee, order.fee_tax_category, order.fee_tax_rate))
    return tax_breakdown(taxed, TaxRule(), minor_digits(order.currency))


def add_up(order: SupplierOrder, lines: list[OrderLine]) -> None:
    """The order's totals from its lines."""
    order.goods = sum((line.net for line in lines), ZERO)
    order.tax = sum((row.tax for row in taxes(order, lines)), ZERO)
    order.total = order.goods + order.delivery_fee + order.tax


def share_out(order: SupplierOrder, line: OrderLine, parts: list[LineJob]) -> None:
    """The line's net over its jobs by their quantities; the parts add up to it exactly."""
    total = sum((part.quantity for part in parts), ZERO)
    if not parts or not total:
        return
    shares = {str(part.pk or place): Fraction(part.quantity) / Fraction(total) for place, part in enumerate(parts)}
    nets = allocate(line.net, shares, order.currency)
    for place, part in enumerate(parts):
        part.net = nets[str(part.pk or place)]


def store(order: SupplierOrder, lines: list[OrderLine]) -> None:
    """Prices, adds up and saves an order with its lines and what each job takes of them."""
    parts: dict[int, list[LineJob]] = {}
    for part in LineJob.objects.of(order.business).filter(line__order=order).order_by("id"):
        parts.setdefault(part.line_id, []).append(part)
    for line in lines:
        price_line(order, line)
        line.save()
        share_out(order, line, parts.get(line.pk, []))
        for part in parts.get(line.pk, []):
            part.save(update_fields=["net"])
    if lines and not any(due(line) for line in lines):
        order.delivery_fee = ZERO  # what is cancelled whole is not delivered either
    add_up(order, lines)
    order.save()
