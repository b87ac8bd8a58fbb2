"""Views of stock: items, movements and reservations."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from catalogue.queries import components
from fencing.model.faults import Fault, InvalidDocument
from quotes.jobs.models import JobState
from quotes.jobs.queries import jobs
from quotes.purchasing import queries, serializers
from quotes.purchasing.models import ReservationState, StockItem
from quotes.purchasing.order_views import A_PAGE, reason_of
from quotes.purchasing.stock_services import add_stock, close_reservation, remove_stock, reserve_item
from quotes.purchasing.version_view import item_facts, reservation_facts
from shared.api.serializers import validated_data
from shared.business.roles import Scope
from shared.common.form_fields import typed_number
from shared.common.typed_lengths import LEVEL, read_length
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, error_status, error_text
from shared.web.seen_version import acting_on

KEEPS = (JobState.OPEN, JobState.ACCEPTED, JobState.BUILT)
"""Jobs that are offered to keep something for; any other is typed by its number."""
MAX_HOLDS, MAX_JOBS, MAX_SKUS = 200, 500, 1_000
Action = Callable[[MemberRequest, StockItem], str]


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.STOCK_READ)
def stock(request: MemberRequest) -> HttpResponse:
    """Show the stock. POST adds stock."""
    fault = ""
    if request.method == "POST":
        _may_write(request)
        try:
            _put_in(request)
        except PAGE_ERRORS as refused:
            fault = error_text(refused)
        else:
            messages.success(request, "Stock added.")
            return redirect("stock")
    filters = {name: value for name in ("role", "kind") if (value := request.GET.get(name, ""))}
    rows = (
        queries.stock(request.business, filters)
        .select_related("component__finish", "from_job")
        .order_by("component__sku", "id")
    )
    reserved = (
        queries.reservations(request.business)
        .filter(state=ReservationState.RESERVED)
        .select_related("item__component", "job")
    )
    values = {
        "page": Paginator(rows, A_PAGE).get_page(request.GET.get("page")),
        "fault": fault,
        "typed": request.POST,
        "skus": components(request.business).order_by("sku").values_list("sku", "name")[:MAX_SKUS],
        "may_write": request.actor.may(Scope.STOCK_WRITE),
        "reservations": [(row, reservation_facts(row)) for row in reserved.order_by("-id")[:MAX_HOLDS]],
        "locale": request.business.locale,
    }
    return render(request, "purchasing/stock.html", values, status=422 if fault else 200)


def _put_in(request: MemberRequest) -> None:
    data: dict[str, Any] = {
        name: request.POST.get(name, "").strip() for name in ("component", "quantity", "location", "reason")
    }
    data["quantity"] = typed_number(data["quantity"])
    length = request.POST.get("length_mm", "").strip()
    if length:
        data["length_mm"] = read_length(length, LEVEL)
    body = validated_data(serializers.StockIn, data)
    component = components(request.business).select_related("business").filter(sku=body.pop("component")).first()
    if component is None:
        raise InvalidDocument([Fault("/component", "unknown", "There is no such component.")])
    add_stock(component=component, actor=request.actor, **body)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.STOCK_READ)
def stock_item(request: MemberRequest, ref: str) -> HttpResponse:
    """Show an item with its movements and reservations. POST reserves or removes a quantity."""
    rows = StockItem.objects.of(request.business).select_related("business", "component__finish", "from_job")
    item = find(rows, ref)
    if request.method != "POST":
        return _item_sheet(request, item)
    _may_write(request)
    actions: dict[str, Action] = {"keep": _keep, "take": _take}
    try:
        with acting_on(request, rows, ref, item_facts) as item:
            text = actions.get(request.POST.get("do", ""), _take)(request, item)
        messages.success(request, text)
    except PAGE_ERRORS as refused:
        return _item_sheet(request, find(rows, ref), error_text(refused), error_status(refused))
    return redirect("stock-item", ref)


def _take(request: MemberRequest, item: StockItem) -> str:
    data = {"quantity": typed_number(request.POST.get("quantity", "")), "reason": reason_of(request)}
    remove_stock(item=item, actor=request.actor, **validated_data(serializers.StockRemovalIn, data))
    return "Stock removed."


def _keep(request: MemberRequest, item: StockItem) -> str:
    data = {"quantity": typed_number(request.POST.get("quantity", "")), "job": request.POST.get("job", "").strip()}
    body = validated_data(serializers.ReservationIn, data)
    job = jobs(request.business).select_related("business").filter(number__iexact=body["job"]).first()
    if job is None:
        raise InvalidDocument([Fault("/job", "unknown", f"There is no job {body['job']}.")])
    reserve_item(item=item, job=job, quantity=body["quantity"], actor=request.actor)
    return f"Reserved for {job.number}."


def _item_sheet(request: MemberRequest, item: StockItem, fault: str = "", status: int = 200) -> HttpResponse:
    reserved = (
        queries.reservations(request.business).filter(item=item, state=ReservationState.RESERVED).select_related("job")
    )
    waiting = jobs(request.business).filter(state__in=KEEPS).order_by("-id")
    may_write = request.actor.may(Scope.STOCK_WRITE)
    values = {
        "item": item,
        "facts": item_facts(item),
        "free": item.quantity - item.reserved,
        "fault": fault,
        "typed": request.POST,
        "page": Paginator(queries.movements(item).select_related("job").order_by("-id"), A_PAGE).get_page(
            request.GET.get("page")
        ),
        "reservations": [(row, reservation_facts(row)) for row in reserved.order_by("-id")[:MAX_HOLDS]],
        "jobs": waiting.values_list("number", "label")[:MAX_JOBS] if may_write else [],
        "may_write": may_write,
        "locale": request.business.locale,
    }
    return render(request, "purchasing/stock_item.html", values, status=status)


@require_POST
@require_scope(Scope.STOCK_WRITE)
def reservation(request: MemberRequest, ref: str) -> HttpResponse:
    """Close a reservation as used or released, and return to the page of the form."""
    rows = queries.reservations(request.business).select_related("item", "job", "business")
    row = find(rows, ref)
    try:
        with acting_on(request, rows, ref, reservation_facts) as row:
            data = validated_data(serializers.ReservationChange, {"status": request.POST.get("status", "")})
            close_reservation(reservation=row, state=data["status"], actor=request.actor)
        messages.success(request, "Reservation closed.")
    except PAGE_ERRORS as refused:
        messages.error(request, error_text(refused), extra_tags="Failed")
    return redirect("stock-item", row.item.ref) if request.POST.get("at") == "item" else redirect("stock")


def _may_write(request: MemberRequest) -> None:
    if not request.actor.may(Scope.STOCK_WRITE):
        raise PermissionDenied
