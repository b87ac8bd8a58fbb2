"""Stock services: add, remove, reserve and release. Every change is a movement with its reason."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from django.db import transaction
from django.db.models import F

from catalogue.models import Component
from catalogue.queries import components
from catalogue.rules.codes import PIECE, whole_fault
from fencing.buying.stock_options import OnHand
from fencing.model.faults import Fault, InvalidDocument
from fencing.model.roles import CUT_ROLES
from quotes.jobs.models import AsBuilt, BuiltKind, Job
from quotes.purchasing.models import (
    ItemKind,
    MovementKind,
    OrderLine,
    Reservation,
    ReservationState,
    StockItem,
    StockMovement,
    SupplierOrder,
)
from shared.business.actors import Actor
from shared.common.problems import Problem
from shared.database import audit_log
from shared.models import Business

ZERO = Decimal(0)
RETURN_REASON = "left over, as-built "
Key = tuple[str, int | None]


def on_hand(business: Business) -> list[OnHand]:
    """Return the available stock by component and length."""
    found: dict[Key, OnHand] = {}
    for item in _free(business):
        key = key_of(item)
        have = item.quantity - item.reserved + (found[key].have if key in found else ZERO)
        component = item.component
        finish = component.finish.code if component.finish else None
        found[key] = OnHand(component.sku, component.role, finish, key[1], have)
    return list(found.values())


def key_of(item: StockItem) -> Key:
    """Return the component, and the length if it comes in lengths."""
    if item.component.role not in CUT_ROLES:
        return item.component.sku, None
    return item.component.sku, item.length_mm or item.component.length_mm


def unit_of(component: Component, length_mm: int | None) -> str:
    """Return the unit the yard counts in: pieces of what has a length, else the component's sale unit."""
    return PIECE if component.role in CUT_ROLES and length_mm else component.sale_unit


def _refuse_part(component: Component, length_mm: int | None, quantity: Decimal) -> None:
    if fault := whole_fault(unit_of(component, length_mm or component.length_mm), quantity, "/quantity"):
        raise InvalidDocument([fault])


def _free(business: Business) -> Iterable[StockItem]:
    rows = StockItem.objects.of(business).filter(quantity__gt=F("reserved"))
    rows = rows.select_related("component__finish").order_by("kind", "id")
    return [row for row in rows if row.component.role not in CUT_ROLES or key_of(row)[1] is not None]


@transaction.atomic
def add_stock(
    *,
    component: Component,
    quantity: Decimal,
    actor: Actor,
    reason: str,
    length_mm: int | None = None,
    location: str = "",
    job: Job | None = None,
) -> StockItem:
    """Add something to the yard by hand, and record that."""
    item = _add(
        component=component,
        quantity=quantity,
        actor=actor,
        reason=reason,
        length_mm=length_mm,
        location=location,
        job=job,
    )
    _record(item, actor, "stock.added", {"quantity": quantity, "reason": reason})
    return item


def _add(
    *,
    component: Component,
    quantity: Decimal,
    actor: Actor,
    reason: str,
    length_mm: int | None = None,
    location: str = "",
    job: Job | None = None,
) -> StockItem:
    """Add stock to the item with the same properties, or create one. A shorter length than bought is an offcut."""
    if quantity <= 0:
        raise InvalidDocument([Fault("/quantity", "range", "Enter a quantity above 0.")])
    if length_mm is not None:
        _refuse_length(component, length_mm)
    _refuse_part(component, length_mm, quantity)
    shorter = None if length_mm == component.length_mm else length_mm
    data = {
        "component": component,
        "kind": ItemKind.FULL_LENGTH if shorter is None else ItemKind.OFFCUT,
        "length_mm": shorter,
        "location": location,
        "from_job": job,
    }
    existing = StockItem.objects.of(component.business).filter(**data).select_for_update(no_key=True).first()
    item = existing or StockItem(business=component.business, **data)
    item.quantity += quantity
    item.save()
    _move(item, MovementKind.ADDED, quantity, actor, reason, job)
    return item


def _refuse_length(component: Component, length_mm: int) -> None:
    if component.role not in CUT_ROLES:
        raise InvalidDocument([Fault("/length_mm", "length.none", "This component has no lengths.")])
    if component.length_mm is not None and length_mm > component.length_mm:
        raise InvalidDocument(
            [Fault("/length_mm", "range", f"Enter at most {component.length_mm} mm, the length it is bought in.")]
        )


@transaction.atomic
def remove_stock(*, item: StockItem, quantity: Decimal, actor: Actor, reason: str) -> StockItem:
    """Remove available stock: lost, sold, scrapped. Raise 409 if the quantity is not available."""
    item = _locked(item)
    if quantity <= 0:
        raise InvalidDocument([Fault("/quantity", "range", "Enter a quantity above 0.")])
    _refuse_part(item.component, item.length_mm, quantity)
    if item.quantity - item.reserved < quantity:
        raise Problem("conflict", f"Only {item.quantity - item.reserved} are available.")
    item.quantity -= quantity
    item.save()
    _move(item, MovementKind.REMOVED, -quantity, actor, reason, None)
    _record(item, actor, "stock.removed", {"quantity": quantity, "reason": reason})
    return item


@transaction.atomic
def reserve_item(*, item: StockItem, job: Job, quantity: Decimal, actor: Actor) -> Reservation:
    """Reserve some of an item for a job by hand, and record that."""
    reservation = _reserve(item=item, job=job, quantity=quantity, actor=actor)
    _record(item, actor, "stock.reserved", {"quantity": quantity, "job": job.ref})
    return reservation


def _reserve(*, item: StockItem, job: Job, quantity: Decimal, actor: Actor) -> Reservation:
    """Reserve a quantity of an item for a job."""
    item = _locked(item)
    _refuse_part(item.component, item.length_mm, quantity)
    if quantity <= 0 or item.quantity - item.reserved < quantity:
        raise Problem("conflict", f"Only {item.quantity - item.reserved} are available.")
    item.reserved += quantity
    item.save()
    reservation = Reservation.objects.of(item.business).create(item=item, job=job, quantity=quantity)
    _move(item, MovementKind.RESERVED, ZERO, actor, f"{quantity} reserved for {job.number}", job)
    return reservation


@transaction.atomic
def reserve_for_jobs(*, business: Business, job: Job, taken: Mapping[Key, Decimal], actor: Actor) -> list[Reservation]:
    """Reserve the stock of a plan. Raise 409 if another request used it first."""
    reservations: list[Reservation] = []
    free = list(_free(business))
    for key, missing in sorted(taken.items(), key=str):
        for item in free:
            use = min(missing, item.quantity - item.reserved) if key_of(item) == key else ZERO
            if use > 0:
                reservations.append(_reserve(item=item, job=job, quantity=use, actor=actor))
                missing -= use
        if missing > 0:
            raise Problem("conflict", f"{key[0]} in stock was reserved for another job. Plan again.")
    return reservations


@transaction.atomic
def close_reservation(*, reservation: Reservation, state: str, actor: Actor) -> Reservation:
    """End a reservation by hand, and record that; see ``_end``."""
    before = reservation.state
    ended = _end(reservation=reservation, state=state, actor=actor)
    if before != ended.state:
        _record(ended.item, actor, f"stock.{state}", {"quantity": ended.quantity, "job": ended.job.ref})
    return ended


def _end(*, reservation: Reservation, state: str, actor: Actor) -> Reservation:
    """Mark a reservation as used (it leaves the stock) or released. The same state again changes nothing."""
    item = _locked(reservation.item)
    reservation = (
        Reservation.objects.of(item.business)
        .select_for_update(no_key=True)
        .select_related("job")
        .get(pk=reservation.pk)
    )
    if reservation.state == state:
        return reservation
    if reservation.state != ReservationState.RESERVED:
        raise Problem("conflict", f"This reservation is {reservation.state} already.")
    item.reserved -= reservation.quantity
    used = state == ReservationState.USED
    item.quantity -= reservation.quantity if used else ZERO
    item.save()
    reservation.state = ReservationState(state)
    reservation.save()
    word = "used for" if used else "no longer reserved for"
    moved = -reservation.quantity if used else ZERO
    _move(
        item,
        MovementKind(state),
        moved,
        actor,
        f"{reservation.quantity} {word} {reservation.job.number}",
        reservation.job,
    )
    return reservation


@transaction.atomic
def release_job(*, job: Job, actor: Actor) -> int:
    """Release all reservations of a job and return their number."""
    reservations = list(
        Reservation.objects.of(job.business).filter(job=job, state=ReservationState.RESERVED).order_by("id")
    )
    for item in reservations:
        _end(reservation=item, state=ReservationState.RELEASED, actor=actor)
    return len(reservations)


@transaction.atomic
def keep_with(*, reservations: Sequence[Reservation], orders: Sequence[SupplierOrder]) -> None:
    """Return the order for a reservation: the one that buys the same component, else the first."""
    if not reservations or not orders:
        return
    lines = OrderLine.objects.of(orders[0].business).filter(order__in=orders).order_by("-order_id")
    buying = dict(lines.values_list("role", "order_id"))
    for reservation in reservations:
        reservation.order_id = buying.get(reservation.item.component.role, orders[0].pk)
        reservation.save()


@transaction.atomic
def release_order(*, order: SupplierOrder, actor: Actor) -> None:
    """Release the reservations that were made with an order."""
    reservations = Reservation.objects.of(order.business).filter(order=order, state=ReservationState.RESERVED)
    for item in reservations.select_related("item").order_by("id"):
        _end(reservation=item, state=ReservationState.RELEASED, actor=actor)


@dataclass(frozen=True, slots=True)
class ReturnedMaterial:
    """A return recorded by the crew. ``component`` is None if the entry names no known component."""

    entry: AsBuilt
    component: Component | None
    lies: bool
    """In the yard already."""

    @property
    def reason(self) -> str:
        """Return the reason of its movement. It marks that the entry was added once."""
        return f"{RETURN_REASON}{self.entry.ref}"


def leftovers(job: Job) -> list[ReturnedMaterial]:
    """Return the recorded returns of a job, oldest first, without reversed entries."""
    brought = AsBuilt.objects.of(job.business).filter(job=job, kind=BuiltKind.RETURNED, quantity__gt=0)
    entries = list(brought.filter(reverses=None, taken_back=None).order_by("id"))
    named = components(job.business).filter(sku__in={entry.component for entry in entries})
    known = {row.sku: row for row in named.select_related("business")}
    moves = StockMovement.objects.of(job.business).filter(job=job, reason__startswith=RETURN_REASON)
    there = set(moves.values_list("reason", flat=True))
    return [
        ReturnedMaterial(item, known.get(item.component), f"{RETURN_REASON}{item.ref}" in there) for item in entries
    ]


@transaction.atomic
def add_returns_to_stock(
    *, job: Job, actor: Actor, named: Mapping[str, tuple[Component, int | None]] = MappingProxyType({})
) -> list[StockItem]:
    """Add the returns of a job to stock, each as-built entry only once.

    Entries without a known component are left out, unless ``named`` gives component and length [mm] by the entry's ref.
    """
    rows = Job.objects.of(job.business).select_related("business")
    job = rows.select_for_update(no_key=True, of=("self",)).get(pk=job.pk)
    items: list[StockItem] = []
    for entry in leftovers(job):
        component, length = (
            (entry.component, entry.entry.length_mm) if entry.component else named.get(entry.entry.ref, (None, None))
        )
        if component is None or entry.lies:
            continue
        items.append(
            _add(
                component=component,
                quantity=entry.entry.quantity,
                actor=actor,
                reason=entry.reason,
                length_mm=length if component.role in CUT_ROLES else None,
                job=job,
            )
        )
    if items:
        audit_log.record(
            job.business, actor, "stock.leftovers", f"job:{job.ref}", {"items": [item.ref for item in items]}
        )
    return items


def _record(item: StockItem, actor: Actor, action: str, detail: dict[str, object]) -> None:
    """Write the audit entry of what was done by hand, last in its transaction: an order's or job's own entry tells of its own."""
    audit_log.record(item.business, actor, action, f"stock:{item.ref}", detail)


def _locked(item: StockItem) -> StockItem:
    rows = StockItem.objects.of(item.business).select_related("component", "business")
    return rows.select_for_update(no_key=True, of=("self",)).get(pk=item.pk)


def _move(item: StockItem, kind: MovementKind, quantity: Decimal, actor: Actor, reason: str, job: Job | None) -> None:
    StockMovement.objects.of(item.business).create(
        item=item, kind=kind, quantity=quantity, job=job, reason=reason[:500], created_by=actor.name[:160]
    )
