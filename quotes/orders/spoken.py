"""What is spoken for already: on order for jobs, or kept for them in the yard. Ordering again buys only what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import ROUND_DOWN, Decimal

from catalogue.models import Component
from fencing.prices import PIECE_ROLES
from quotes.jobs.models import Job
from quotes.orders.models import Hold, HoldState, LineJob, State
from quotes.orders.planning import OnHand

ZERO = Decimal(0)
Key = tuple[str, int | None]


def spoken_for(jobs: Sequence[Job]) -> list[OnHand]:
    """What is these jobs' own: ordered and neither cancelled nor sent back, kept in the yard, or taken from there."""
    business = jobs[0].business
    lines = LineJob.objects.of(business).filter(job__in=jobs).exclude(line__order__state=State.CANCELLED)
    found: list[OnHand] = []
    for part in lines.select_related("line__component__finish").order_by("id"):
        line = part.line
        kept = part.quantity * (line.quantity - line.cancelled - line.credited) / line.quantity
        found += _lying(line.component, line.length_mm, kept)
    holds = Hold.objects.of(business).filter(job__in=jobs, state__in=[HoldState.HELD, HoldState.USED])
    for hold in holds.select_related("item__component__finish").order_by("id"):
        found += _lying(hold.item.component, hold.item.length_mm, hold.quantity)
    return merged(found)


def _lying(component: Component, length: int | None, quantity: Decimal) -> list[OnHand]:
    role, finish = component.role, component.finish.code if component.finish else None
    if role not in PIECE_ROLES:
        return [OnHand(component.sku, role, finish, None, quantity)] if quantity > 0 else []
    length = length or component.length_mm
    if length is None:
        return []
    # what is sold by the metre is counted in pieces once it is made to a length
    pieces = quantity if component.length_mm else quantity * 1000 / length
    whole = pieces.to_integral_value(ROUND_DOWN)
    return [OnHand(component.sku, role, finish, length, whole)] if whole > 0 else []


def merged(items: Iterable[OnHand]) -> list[OnHand]:
    """The same, one row for each component and length."""
    found: dict[Key, OnHand] = {}
    for one in items:
        before = found.get((one.sku, one.length))
        found[one.sku, one.length] = replace(one, have=before.have + one.have) if before else one
    return list(found.values())


def beyond(taken: Mapping[Key, Decimal], own: Iterable[OnHand]) -> dict[Key, Decimal]:
    """What of a plan's takings is not the jobs' own yet, and so has to be kept for them."""
    have = {(one.sku, one.length): one.have for one in own}
    left = {key: quantity - have.get(key, ZERO) for key, quantity in taken.items()}
    return {key: quantity for key, quantity in left.items() if quantity > 0}
