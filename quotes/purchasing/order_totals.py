"""Sums of an order, exact: a line is rounded once, tax once for each code and rate (EN 16931-1, BR-CO-10 to BR-CO-17)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction

from quotes.purchasing.models import LineJob, OrderLine, SupplierOrder
from shared.common.money import TaxableAmount, TaxPolicy, TaxSubtotal, allocate, line_net, minor_digits, tax_breakdown

ZERO = Decimal(0)
QUANTITY_DIGITS = 3


def net_of(order: SupplierOrder, price: Decimal, quantity: Decimal) -> Decimal:
    """Return the amount of a quantity at a price, in whole minor units."""
    return line_net(price, quantity, digits=minor_digits(order.currency))


def due(line: OrderLine) -> Decimal:
    """Return the quantity of a line to pay: everything that is not cancelled."""
    return line.quantity - line.cancelled


def price_line(order: SupplierOrder, line: OrderLine) -> None:
    """Return the line's net amount from its price and its quantity that is not cancelled."""
    line.net = net_of(order, line.price, due(line))


def kept_net(order: SupplierOrder, line: OrderLine) -> Decimal:
    """Return the line's net amount after returns for credit."""
    return net_of(order, line.price, due(line) - line.credited)


def taxes(order: SupplierOrder, lines: Iterable[OrderLine], *, kept: bool = False) -> tuple[TaxSubtotal, ...]:
    """Return the tax for each category and rate, with the delivery fee; ``kept`` leaves out goods returned for credit."""
    taxed = [
        TaxableAmount(kept_net(order, line) if kept else line.net, line.tax_category, line.tax_rate) for line in lines
    ]
    if order.delivery_fee:
        taxed.append(TaxableAmount(order.delivery_fee, order.fee_tax_category, order.fee_tax_rate))
    return tax_breakdown(taxed, TaxPolicy(), minor_digits(order.currency))


def add_up(order: SupplierOrder, lines: list[OrderLine]) -> None:
    """Set the order's totals from its lines: as ordered, and after credits."""
    order.goods = sum((line.net for line in lines), ZERO)
    order.tax = sum((row.tax for row in taxes(order, lines)), ZERO)
    order.total = order.goods + order.delivery_fee + order.tax
    order.goods_after_credits = sum((kept_net(order, line) for line in lines), ZERO)
    order.tax_after_credits = sum((row.tax for row in taxes(order, lines, kept=True)), ZERO)
    order.total_after_credits = order.goods_after_credits + order.delivery_fee + order.tax_after_credits


def shared(order: SupplierOrder, amount: Decimal, weights: Sequence[Decimal]) -> list[Decimal]:
    """Divide an amount by weights. The parts add up to it exactly. Without weights all parts are zero."""
    total = sum(weights, ZERO)
    if not total:
        return [ZERO] * len(weights)
    shares = {str(place): Fraction(weight) / Fraction(total) for place, weight in enumerate(weights)}
    return list(allocate(amount, shares, order.currency).values())


def share_out(order: SupplierOrder, line: OrderLine, parts: list[LineJob]) -> None:
    """Divide the line's net amount over its jobs by their quantities. The parts add up to it exactly."""
    for part, net in zip(parts, shared(order, line.net, [part.quantity for part in parts]), strict=True):
        part.net = net


def store(order: SupplierOrder, lines: list[OrderLine]) -> None:
    """Calculate and save the totals of an order with its lines and job shares."""
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
