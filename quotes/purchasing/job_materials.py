"""Materials of accepted jobs: what they need, and what is already on order or reserved in the yard for them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_DOWN, Decimal
from typing import Any

from catalogue.models import Component
from fencing.buying.needs import Needs
from fencing.buying.stock_options import OnHand
from fencing.buying.suppliers import PurchaseOptions
from fencing.model.fence import BreakdownLine, Piece, Quantity
from fencing.model.roles import CUT_ROLES
from quotes.jobs.models import Job
from quotes.purchasing import models

CUBIC_METRE = "MTQ"


def read_needs(takeoff: Mapping[str, Any], market: PurchaseOptions, kerf: int, strips: int | None = None) -> Needs:
    """Return the needs of a frozen take-off. ``strips`` is the width of a sheet [mm] if its strips can be reused."""
    return Needs(tuple(read_pieces(takeoff)), tuple(read_quantities(takeoff, market)), kerf, strip_width=strips)


def read_pieces(takeoff: Mapping[str, Any]) -> list[Piece]:
    """Return the pieces of a frozen take-off."""
    return [
        Piece(
            row["role"],
            row["component"],
            row["finish"],
            row["length_mm"],
            row["width_mm"],
            row["count"],
            tuple(name for name, count in zip(row["used_at"], row["used_counts"], strict=True) for _ in range(count)),
        )
        for row in takeoff["pieces"]
    ]


def read_quantities(takeoff: Mapping[str, Any], market: PurchaseOptions) -> list[Quantity]:
    """Return the quantities of a frozen take-off in sale units. Concrete in bags is counted in the bags that are bought."""
    return [_in_bags(_quantity(row), market) for row in takeoff["quantities"]]


def _quantity(row: Mapping[str, Any]) -> Quantity:
    net, allowance, total = (Decimal(row[name]) for name in ("net", "allowance", "total"))
    breakdown = tuple(
        BreakdownLine(item["element_type"], item["count"], Decimal(str(item["per_element"])), Decimal(item["net"]))
        for item in row["breakdown"]
    )
    return Quantity(row["role"], row["component"], row["finish"], row["unit"], net, allowance, total, breakdown)


def _in_bags(row: Quantity, market: PurchaseOptions) -> Quantity:
    """Return the quantity in bags of the named component, or of the cheapest one, which is then named."""
    choices = [
        (item.sku != row.component, bags * best.price, item.sku, bags, item.bag_yield)
        for item in market.sold(row.role, row.finish)
        if item.bag_yield and (best := market.cheapest(item.sku))
        for bags in [(row.total / item.bag_yield).to_integral_value(ROUND_CEILING)]
    ]
    if not choices or row.unit != CUBIC_METRE:
        return row
    _, _, sku, bags, bag = min(choices)
    breakdown = (BreakdownLine(f"{row.total} m3 of concrete at {bag:f} m3 a bag", int(bags), Decimal(1), bags),)
    return replace(row, component=sku, unit="C62", net=bags, allowance=Decimal(0), total=bags, breakdown=breakdown)


def strip_width(systems: Iterable[Mapping[str, Any]]) -> int | None:
    """Return the width [mm] of sheets with reusable strips, or None if a system forbids it or the widths differ."""
    sheets = [system["sheets"] for system in systems]
    widths = {sheet["cover_mm"] + sheet["lap_mm"] if sheet.get("reuse_strips", True) else None for sheet in sheets}
    return widths.pop() if len(widths) == 1 else None


ZERO = Decimal(0)
Key = tuple[str, int | None]


def committed_quantities(jobs: Sequence[Job]) -> list[OnHand]:
    """Return the materials of these jobs: on order and not cancelled or returned, reserved in the yard, or used from stock.

    Materials they returned to the yard are no longer theirs: they are available, reserved again, or used elsewhere.
    """
    business = jobs[0].business
    lines = (
        models.LineJob.objects.of(business).filter(job__in=jobs).exclude(line__order__state=models.OrderState.CANCELLED)
    )
    found: list[OnHand] = []
    parts: dict[int, Decimal] = {}
    ordered: dict[int, models.OrderLine] = {}
    for part in lines.select_related("line__component__finish").order_by("id"):
        ordered[part.line_id] = part.line
        parts[part.line_id] = parts.get(part.line_id, ZERO) + part.quantity
    for line in ordered.values():
        # all jobs together: two halves of a sheet are one sheet
        kept = parts[line.pk] * (line.quantity - line.cancelled - line.credited) / line.quantity
        found += _lying(line.component, line.length_mm, kept)
    reservations = models.Reservation.objects.of(business).filter(
        job__in=jobs, state__in=[models.ReservationState.RESERVED, models.ReservationState.USED]
    )
    for reservation in reservations.select_related("item__component__finish").order_by("id"):
        found += _lying(reservation.item.component, reservation.item.length_mm, reservation.quantity)
    moves = models.StockMovement.objects.of(business).filter(job__in=jobs, kind=models.MovementKind.ADDED)
    back: list[OnHand] = []
    for move in moves.select_related("item__component__finish").order_by("id"):
        back += _lying(move.item.component, move.item.length_mm, move.quantity)
    return subtract_returns(merged(found), merged(back))


def subtract_returns(own: Iterable[OnHand], back: Iterable[OnHand]) -> list[OnHand]:
    """Return ``own`` less its returns: a whole one is removed, a bar with a returned offcut becomes shorter.

    The offcut is taken from the shortest bar that is long enough. The saw cut stays on the bar, so that its cut pieces still fit.

    >>> bars, remnant = (OnHand("R", "rail", None, long, Decimal(have)) for long, have in ((6000, 3), (1500, 1)))
    >>> [(one.length, str(one.have)) for item in subtract_returns([bars], [remnant])]
    [(4500, '1'), (6000, '2')]
    """
    left = {(item.sku, item.length): item for item in own}
    for item in sorted(back, key=_long, reverse=True):
        rest = item.have
        holding = [row for row in left.values() if row.sku == item.sku and _long(row) >= _long(item)]
        for row in sorted(holding, key=_long):
            take = min(rest, row.have)
            rest -= take
            left[row.sku, row.length] = replace(row, have=row.have - take)
            shorter = _long(row) - _long(item)
            if take and shorter:
                had = left.get((row.sku, shorter))
                left[row.sku, shorter] = replace(row, length=shorter, have=take + (had.have if had else ZERO))
    return sorted((row for row in left.values() if row.have > 0), key=lambda row: (row.sku, _long(row)))


def _long(one: OnHand) -> int:
    return one.length or 0


def _lying(component: Component, length: int | None, quantity: Decimal) -> list[OnHand]:
    role, finish = component.role, component.finish.code if component.finish else None
    if role not in CUT_ROLES:
        return [OnHand(component.sku, role, finish, None, quantity)] if quantity > 0 else []
    length = length or component.length_mm
    if length is None:
        return []
    # goods sold by the metre and made to a length are counted in pieces
    pieces = quantity if component.length_mm else quantity * 1000 / length
    whole = pieces.to_integral_value(ROUND_DOWN)
    return [OnHand(component.sku, role, finish, length, whole)] if whole > 0 else []


def merged(items: Iterable[OnHand]) -> list[OnHand]:
    """Return the same with one row for each component and length."""
    found: dict[Key, OnHand] = {}
    for item in items:
        before = found.get((item.sku, item.length))
        found[item.sku, item.length] = replace(item, have=before.have + item.have) if before else item
    return list(found.values())


def not_committed(taken: Mapping[Key, Decimal], own: Iterable[OnHand]) -> dict[Key, Decimal]:
    """Return the stock a plan uses that is not committed to the jobs yet and must be reserved."""
    have = {(item.sku, item.length): item.have for item in own}
    left = {key: quantity - have.get(key, ZERO) for key, quantity in taken.items()}
    return {key: quantity for key, quantity in left.items() if quantity > 0}
