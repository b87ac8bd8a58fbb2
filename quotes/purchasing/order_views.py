"""Orders and deliveries."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import Job, JobState
from quotes.jobs.queries import jobs
from quotes.purchasing import queries, serializers, services
from quotes.purchasing.deliveries import return_goods
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import Despatch, OrderLine, OrderResponseLine, OrderState, SupplierOrder
from quotes.purchasing.version_view import order_facts
from quotes.quoting.queries import agreed
from shared.api.serializers import validated_data
from shared.business.roles import Scope
from shared.common.form_fields import typed_number
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import error_text
from shared.web.seen_version import acting_on

A_PAGE = 100
Action = Callable[[MemberRequest, SupplierOrder], str]


@require_GET
@require_scope(Scope.ORDERS_READ)
def order_list(request: MemberRequest) -> HttpResponse:
    """Show orders, newest first, by status."""
    state = request.GET.get("status", "")
    rows = queries.orders(request.business, {"status": state} if state in OrderState.values else {})
    page = Paginator(rows.select_related("supplier").order_by("-id"), A_PAGE).get_page(request.GET.get("page"))
    return render(request, "purchasing/orders.html", {"page": page, "states": OrderState.choices, "selected": state})


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.ORDERS_READ)
def job_orders(request: MemberRequest, ref: str) -> HttpResponse:
    """Show the orders of a job. POST creates draft orders for its needs."""
    job = find(jobs(request.business).select_related("business", "site", "customer"), ref)
    fault, status = "", 200
    if request.method == "POST":
        _may_write(request)
        try:
            made = order_for(jobs=[job], actor=request.actor, allow_reorder=bool(request.POST.get("allow_reorder")))
        except (InvalidDocument, Problem) as refused:
            fault, status = error_text(refused), 409 if isinstance(refused, Problem) else 422
        else:
            text = (
                f"{len(made)} draft orders created. Check and place each one."
                if made
                else "All materials are in stock."
            )
            messages.success(request, text)
            return redirect("job-orders", ref)
    rows = queries.orders(request.business, {"job": job.ref}).select_related("supplier").order_by("-id")
    return render(
        request, "purchasing/job_orders.html", {**_of_job(request, job), "orders": rows, "fault": fault}, status=status
    )


def _of_job(request: MemberRequest, job: Job) -> dict[str, Any]:
    reservations = (
        queries.reservations(request.business).filter(job=job, state="reserved").select_related("item__component")
    )
    may_write = request.actor.may(Scope.ORDERS_WRITE)
    may_draft = may_write and job.state in (JobState.ACCEPTED, JobState.BUILT)
    data = {"job": job, "reservations": reservations, "may_write": may_write, "may_draft": may_draft}
    return {**data, "agreed": agreed(job) is not None and request.actor.may(Scope.SET_OUT_READ)}


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.ORDERS_READ)
def order(request: MemberRequest, ref: str) -> HttpResponse:
    """Show one order: its lines, responses, deliveries and possible actions."""
    rows = queries.orders(request.business).select_related("supplier", "business")
    row = find(rows, ref)
    if request.method != "POST":
        return _sheet(request, row)
    _may_write(request)
    actions: dict[str, Action] = {
        "place": _place, "cancel": _cancel, "shorten": _shorten, "close": _close, "decide": _decide, "return": _return,
    }  # fmt: skip
    action = actions.get(request.POST.get("do", ""))
    try:
        if action is not None:
            with acting_on(request, rows, ref, order_facts) as row:
                done = action(request, row)
            messages.success(request, done)
    except (InvalidDocument, Problem) as refused:
        status = refused.status if isinstance(refused, Problem) else 422
        return _sheet(request, row, error_text(refused), status)
    return redirect("order", ref)


def _place(request: MemberRequest, row: SupplierOrder) -> str:
    services.place(order=row, actor=request.actor, allow_below_minimum=bool(request.POST.get("allow_below_minimum")))
    return f"{row.number} is placed with {row.supplier.name}."


def _cancel(request: MemberRequest, row: SupplierOrder) -> str:
    services.cancel(order=row, actor=request.actor, reason=reason_of(request))
    return f"{row.number} is cancelled."


def _shorten(request: MemberRequest, row: SupplierOrder) -> str:
    named = [int(text) for text in request.POST.getlist("rest") if text.isascii() and text.isdigit() and len(text) < 9]
    if not named:
        raise InvalidDocument([Fault("/lines", "required", "Select the lines to cancel.")])
    services.cancel_outstanding(order=row, actor=request.actor, positions=named, reason=reason_of(request))
    return "The outstanding quantities of these lines are cancelled."


def _close(request: MemberRequest, row: SupplierOrder) -> str:
    services.close(order=row, actor=request.actor)
    return f"{row.number} is closed."


def _decide(request: MemberRequest, row: SupplierOrder) -> str:
    posted = {key.removeprefix("line-"): value for key, value in request.POST.items() if key.startswith("line-")}
    decisions = {
        int(line): value == "accept" for line, value in posted.items() if line.isascii() and line.isdigit() and value
    }
    if not decisions:
        raise InvalidDocument([Fault("/lines", "required", "Accept or reject the change of a line.")])
    services.decide(order=row, actor=request.actor, decisions=decisions)
    return "Decision sent to the supplier."


def _return(request: MemberRequest, row: SupplierOrder) -> str:
    line = request.POST.get("line", "")
    body = {
        "line": int(line) if line.isascii() and line.isdigit() else 0,
        "quantity": typed_number(request.POST.get("quantity", "")),
        "replacement_required": bool(request.POST.get("replacement_required")),
        "reason": reason_of(request),
    }
    return_goods(order=row, actor=request.actor, **validated_data(serializers.ReturnIn, body))
    return "Return recorded."


def reason_of(request: MemberRequest) -> str:
    """Return the entered reason. Raise InvalidDocument if it is empty."""
    reason = request.POST.get("reason", "").strip()[:500]
    if not reason:
        raise InvalidDocument([Fault("/reason", "required", "Enter a reason.")])
    return reason


def _sheet(request: MemberRequest, row: SupplierOrder, fault: str = "", status: int = 200) -> HttpResponse:
    row.refresh_from_db()
    lines = list(queries.lines(row).order_by("position"))
    proposals = (
        OrderResponseLine.objects.of(request.business)
        .filter(line__order=row, decision="waiting")
        .select_related("line")
    )
    dockets = list(Despatch.objects.of(request.business).filter(order=row).order_by("-id"))
    values = {
        "order": row,
        "lines": lines,
        "proposals": proposals,
        "dockets": dockets,
        "credit": sum((item.credit for item in row.returns.all()), Decimal(0)),
        "events": queries.events(row).order_by("-id")[:60],
        "fault": fault,
        "facts": order_facts(row),
        "typed": request.POST,
        "locale": request.business.locale,
        "allow_below_minimum": row.state == OrderState.DRAFT and row.goods < services.least_order_of(row),
        "to_come": [line for line in lines if line.outstanding > line.in_transit],
        **_may(row, lines, write=request.actor.may(Scope.ORDERS_WRITE)),
    }
    return render(request, "purchasing/order.html", values, status=status)


_IN = {
    "may_place": {OrderState.DRAFT},
    "may_receive": {OrderState.PLACED, OrderState.ACKNOWLEDGED, OrderState.DESPATCHED},
    "may_cancel": {OrderState.DRAFT, OrderState.PLACED, OrderState.ACKNOWLEDGED},
    "may_shorten": {OrderState.PLACED, OrderState.ACKNOWLEDGED, OrderState.DESPATCHED},
    "may_close": {OrderState.RECEIVED},
}
"""The states of an order in which a user with write access may do an action."""


def _may(row: SupplierOrder, lines: list[OrderLine], *, write: bool) -> dict[str, bool]:
    by_state = {name: write and row.state in states for name, states in _IN.items()}
    return {
        "may_write": write,
        "may_return": write and any(line.received or line.over_delivered or line.damaged for line in lines),
        **by_state,
    }


def _may_write(request: MemberRequest) -> None:
    if not request.actor.may(Scope.ORDERS_WRITE):
        raise PermissionDenied
