"""Cutting plans that are asked for and made later: the row is what the job works from, and holds the best one so far."""

from __future__ import annotations

import time
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from catalogue.models import AskedPlan
from catalogue.rules.codes import PlanState
from fencing.cutting import Budget, CutPlan, plan_cuts, read_demand_document
from shared.background.events import publish_event
from shared.business.actors import Actor
from shared.business.models import Business
from shared.common.problems import Problem
from shared.database import audit_log

ASKED = "cutting_plan.requested"
INTERACTIVE = Budget(work=1_500_000, seconds=1.5)
"""Time limit of a search that the caller waits for: about two seconds with the start of its process."""
MAX_SECONDS = 60
IN_REQUEST_S = 15
"""Without a broker the search runs right after the commit, before the answer goes out: then it is this long at most."""
MAX_OPEN = 3
LOOKS_S = 0.5
"""Interval at which a running search checks for a cancellation and saves its best plan."""
KEPT = timedelta(days=30)
LOST = timedelta(hours=2)
"""A search takes a minute; one that is open after so long has lost its job."""
OPEN = (PlanState.WAITING, PlanState.RUNNING)


@transaction.atomic
def ask(*, business: Business, actor: Actor, document: object, seconds: int) -> AskedPlan:
    """Store a demand for planning. Raise if it is not valid, or if the business has too many plans running."""
    read_demand_document(document)
    if AskedPlan.objects.of(business).filter(state__in=OPEN).count() >= MAX_OPEN:
        raise Problem("conflict", f"{MAX_OPEN} plans are at work already: wait for one, or cancel it.")
    row = AskedPlan.objects.of(business).create(demand=document, seconds=seconds, requested_by=actor.name[:200])
    publish_event(ASKED, row.ref, business=business)
    return row


def open_plan(business: Business, ref: str) -> AskedPlan | None:
    """Return the plan, or None if it is finished or cancelled."""
    return AskedPlan.objects.of(business).filter(ref=ref, state__in=OPEN).first()


def search(row: AskedPlan) -> CutPlan:
    """Return the best plan within the time limit, or until it is cancelled."""
    started = {"state": PlanState.RUNNING, "started_at": timezone.now()}
    AskedPlan.objects.of(row.business).filter(pk=row.pk, state__in=OPEN).update(**started)
    seconds = row.seconds if settings.REDIS_URL else min(row.seconds, IN_REQUEST_S)
    budget = Budget(work=seconds * 1_000_000, seconds=float(seconds))
    return plan_cuts(read_demand_document(row.demand), budget, Watch(row))


class Watch:
    """Save the best plan on the record at intervals, and return whether to continue."""

    def __init__(self, row: AskedPlan) -> None:
        self.rows = AskedPlan.objects.of(row.business).filter(pk=row.pk)
        self.best: CutPlan | None = None
        self.looked_at = 0.0

    def __call__(self, plan: CutPlan | None) -> bool:
        if plan is not None and plan.bars and (self.best is None or plan.cost < self.best.cost):
            self.best = plan
            self.rows.update(plan=plan.document())
        elif time.monotonic() - self.looked_at < LOOKS_S:
            return True
        self.looked_at = time.monotonic()
        return not self.rows.values_list("is_cancelled", flat=True).get()


def finish(row: AskedPlan, plan: CutPlan) -> None:
    """Save the last plan, in the caller's transaction."""
    row = AskedPlan.objects.of(row.business).select_for_update(no_key=True, of=("self",)).get(pk=row.pk)
    row.state = PlanState.CANCELLED if row.is_cancelled else PlanState.DONE
    row.plan, row.finished_at = plan.document(), timezone.now()
    row.save()


@transaction.atomic
def cancel(row: AskedPlan, *, actor: Actor) -> AskedPlan:
    """Cancel a search; its best plan so far stays. A search that has not begun will not begin."""
    row = AskedPlan.objects.of(row.business).select_for_update(no_key=True, of=("self",)).get(pk=row.pk)
    if row.state not in OPEN:
        raise Problem("conflict", f"This plan is {row.state.replace('_', ' ')} already.")
    row.is_cancelled = True
    if row.state == PlanState.WAITING:
        row.state, row.finished_at = PlanState.CANCELLED, timezone.now()
    row.save()
    audit_log.record(row.business, actor, "cutting_plan.cancelled", f"cutting_plan:{row.ref}")
    return row


def clear() -> None:
    """Mark plans whose task was lost as failed, and delete plans older than a month."""
    now = timezone.now()
    # unscoped: a routine of the whole service
    rows = AskedPlan.unscoped
    rows.filter(state__in=OPEN, created_at__lt=now - LOST).update(state=PlanState.FAILED, finished_at=now)
    rows.filter(created_at__lt=now - KEPT).exclude(state__in=OPEN).delete()


def serialize_plan(row: AskedPlan) -> dict[str, Any]:
    """Return a plan as the API shows it."""
    members = ("ref", "seconds", "requested_by", "created_at", "started_at", "finished_at", "plan")
    return {**{name: getattr(row, name) for name in members}, "status": row.state}
