"""Deliveries for the crew: ordered, despatched and received quantities, without money."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Q

from quotes.jobs.api_fields import DATE, DOCUMENT, shape
from quotes.jobs.models import Job
from quotes.purchasing import models
from quotes.purchasing.api_fields import despatches_of, number, receipts_of
from shared.api.row_serializer import RowSerializer, same_names
from shared.business.business_owned import OwnedQuerySet
from shared.common.dates import write_day
from shared.models import Business

ZERO = Decimal(0)
COMING = (models.OrderState.PLACED, models.OrderState.ACKNOWLEDGED, models.OrderState.DESPATCHED)
COUNTED = (models.OrderState.RECEIVED, models.OrderState.CLOSED)
_ORDER = ("ref", "number", "deliver_by", "promised_on", "updated_at")
_LINE = ("sku", "supplier_sku", "role", "finish", "length_mm", "unit")
_QUANTITIES = {
    **{name: name for name in ("quantity", "received", "outstanding", "in_transit")},
    "quantity_damaged": "damaged",
}
DELIVERIES = RowSerializer(
    {**same_names(*_ORDER), "status": "state", "supplier": {"code": "supplier__code", "name": "supplier__name"}}
)


def deliveries(business: Business) -> OwnedQuerySet[models.SupplierOrder]:
    """Return the orders that deliveries come of: placed ones that were not cancelled."""
    return models.SupplierOrder.objects.of(business).filter(state__in=(*COMING, *COUNTED), placed_at__isnull=False)


def due(business: Business, today: date) -> OwnedQuerySet[models.SupplierOrder]:
    """Return orders with goods on the way, and orders whose promised day has come."""
    rows = deliveries(business).filter(state__in=COMING)
    return rows.filter(Q(promised_on__lte=today) | Q(lines__in_transit__gt=0)).distinct()


def delivery_document(order: models.SupplierOrder) -> dict[str, Any]:
    """Return an order for the person who unloads it: lines, dockets and receipts, without prices."""
    parts: dict[int, list[str]] = {}
    rows = models.LineJob.objects.of(order.business).filter(line__order=order).order_by("id")
    for line, job in rows.values_list("line_id", "job__number"):
        parts.setdefault(line, []).append(job)
    jobs = Job.objects.of(order.business).filter(order_parts__line__order=order).distinct().order_by("number")
    lines = models.OrderLine.objects.of(order.business).filter(order=order).order_by("position")
    return {
        **{name: getattr(order, name) for name in _ORDER},
        "status": order.state,
        "supplier": {"code": order.supplier.code, "name": order.supplier.name},
        "deliver_to": order.deliver_to,
        "jobs": [{"ref": job.ref, "number": job.number, "label": job.label} for job in jobs],
        "lines": [
            {
                "line": line.position,
                "name": line.label,
                **{name: getattr(line, name) for name in _LINE},
                **{name: number(getattr(line, column)) for name, column in _QUANTITIES.items()},
                "jobs": parts.get(line.pk, []),
            }
            for line in lines
        ],
        "despatches": _despatches(order),
        "receipts": receipts_of(order),
    }


def _despatches(order: models.SupplierOrder) -> list[dict[str, Any]]:
    counted = set(
        models.GoodsReceipt.objects.of(order.business).filter(order=order).values_list("docket_number", flat=True)
    )
    names = ("number", "despatched_on", "arrives_on", "lines")
    return [
        {**{name: docket[name] for name in names}, "is_received": docket["number"] in counted}
        for docket in despatches_of(order)
    ]


DELIVERY_SCHEMA = shape((*_ORDER, "status"), deliver_by=DATE, supplier=shape(("code", "name")))
_LIST = {"type": "array", "items": DOCUMENT}
DELIVERY_FULL_SCHEMA = shape(
    (*_ORDER, "status"),
    deliver_by=DATE,
    supplier=shape(("code", "name")),
    deliver_to=DOCUMENT,
    jobs=_LIST,
    lines=_LIST,
    despatches=_LIST,
    receipts=_LIST,
)


@dataclass(frozen=True, slots=True)
class Material:
    """Progress of a job's material: on site or in the yard."""

    lines: int = 0
    here: int = 0
    drafts: int = 0
    kept: int = 0
    day: date | None = None

    @property
    def is_here(self) -> bool:
        """Return whether all material is here."""
        return self.lines + self.kept > 0 and self.here == self.lines and not self.drafts

    def text(self) -> str:
        """Return the progress in a few words."""
        if self.is_here:
            return "all material is here"
        if not self.lines + self.kept + self.drafts:
            return "no material ordered yet"
        if not self.lines:
            return "material order not placed yet"
        day = "" if self.day is None else f", the rest is promised for {write_day(self.day)}"
        more = ", another order is not placed yet" if self.drafts else ""
        return f"{self.here} of {self.lines} lines of material are here{day}{more}"


def material_of(business: Business, jobs: Sequence[Job]) -> Mapping[int, Material]:
    """Return for each job, by row id, how much of its material is here."""
    parts = (
        models.LineJob.objects.of(business).filter(job__in=jobs).exclude(line__order__state=models.OrderState.CANCELLED)
    )
    lines: dict[int, list[models.OrderLine]] = {job.pk: [] for job in jobs}
    for part in parts.select_related("line__order").order_by("id"):
        lines[part.job_id].append(part.line)
    reservations = models.Reservation.objects.of(business).filter(
        job__in=jobs, state__in=[models.ReservationState.RESERVED, models.ReservationState.USED]
    )
    kept = list(reservations.values_list("job_id", flat=True))
    return {job.pk: _material(lines[job.pk], kept.count(job.pk)) for job in jobs}


def _material(lines: Iterable[models.OrderLine], kept: int) -> Material:
    open_lines = [line for line in lines if line.quantity > line.cancelled]
    placed = [line for line in open_lines if line.order.state != models.OrderState.DRAFT]
    waiting = [line for line in placed if line.outstanding]
    days = [day for line in waiting if (day := line.due_on or line.order.promised_on or line.order.deliver_by)]
    return Material(
        lines=len(placed),
        here=len(placed) - len(waiting),
        drafts=len(open_lines) - len(placed),
        kept=kept,
        day=max(days) if days and len(days) == len(waiting) else None,
    )
