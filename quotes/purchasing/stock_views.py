"""Views of stock: items, movements and reservations."""

from __future__ import annotations

from functools import partial
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
from quotes.purchasing.order_views import A_PAGE, BodyForm, reason_field
from quotes.purchasing.queries import item_facts, reservation_facts
from quotes.purchasing.stock_services import add_stock, close_reservation, remove_stock, reserve_item
from shared.api.serializers import validated_data
from shared.business.actors import Actor
from shared.business.models import Business
from shared.business.roles import Scope
from shared.common.typed_entries import LEVEL, read_length
from shared.common.typed_numbers import typed_number
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.forms import PageTextField, entries
from shared.web.page_errors import PAGE_ERRORS, error_text
from shared.web.seen_version import acting_on

KEEPS = (JobState.OPEN, JobState.ACCEPTED, JobState.BUILT)
"""Jobs that are offered to keep something for; any other is typed by its number."""
MAX_HOLDS, MAX_JOBS, MAX_SKUS = 200, 500, 1_000


class StockForm(BodyForm):
    """Form that adds stock."""

    body = serializers.StockIn
    component = PageTextField("Component", "pick", longest=64)
    quantity = PageTextField("Quantity", "number", read=typed_number)
    length_mm = PageTextField(
        "Length, mm", "number", hint="for offcuts only", read=partial(read_length, metres_below=LEVEL)
    )
    location = PageTextField("Location", longest=80)
    reason = reason_field()

    def __init__(self, business: Business, **options: Any) -> None:
        super().__init__(**options)
        self.components = components(business).select_related("business")
        self.set_choices("component", self.components.order_by("sku").values_list("sku", "name")[:MAX_SKUS])

    def add(self, actor: Actor) -> None:
        """Add the stock."""
        component = self.components.filter(sku=self.cleaned_data["component"]).first()
        if component is None:
            raise InvalidDocument([Fault("/component", "unknown", "There is no such component.")])
        add_stock(actor=actor, **{**self.cleaned_data, "component": component})


class ItemForm(BodyForm):
    """Form of an action on a stock item. ``act`` does it and returns the text to show."""

    quantity = PageTextField("Quantity", "number", read=typed_number)

    def act(self, item: StockItem, actor: Actor) -> str:
        """Do the action with the entries."""
        raise NotImplementedError


class RemovalForm(ItemForm):
    """Form that removes stock."""

    body = serializers.StockRemovalIn
    reason = reason_field()

    def act(self, item: StockItem, actor: Actor) -> str:
        """Remove the quantity."""
        remove_stock(item=item, actor=actor, **self.cleaned_data)
        return "Stock removed."


class ReservationForm(ItemForm):
    """Form that reserves a quantity for a job."""

    body = serializers.ReservationIn
    job = PageTextField("Job number", "pick", longest=32, fills="off")
    field_order = ("job", "quantity")

    def act(self, item: StockItem, actor: Actor) -> str:
        """Reserve the quantity."""
        number = self.cleaned_data["job"]
        job = jobs(item.business).select_related("business").filter(number__iexact=number).first()
        if job is None:
            raise InvalidDocument([Fault("/job", "unknown", f"There is no job {number}.")])
        reserve_item(item=item, job=job, quantity=self.cleaned_data["quantity"], actor=actor)
        return f"Reserved for {job.number}."


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.STOCK_READ)
def stock(request: MemberRequest) -> HttpResponse:
    """Show the stock. POST adds stock."""
    form = StockForm(request.business, **entries(request))
    if request.method == "POST":
        _may_write(request)
    if form.is_valid():
        try:
            form.add(request.actor)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
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
        "form": form,
        "may_write": request.actor.may(Scope.STOCK_WRITE),
        "reservations": [(row, reservation_facts(row)) for row in reserved.order_by("-id")[:MAX_HOLDS]],
        "locale": request.business.locale,
    }
    return render(request, "purchasing/stock.html", values, status=form.status)


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.STOCK_READ)
def stock_item(request: MemberRequest, ref: str) -> HttpResponse:
    """Show an item with its movements and reservations. POST reserves or removes a quantity."""
    rows = StockItem.objects.of(request.business).select_related("business", "component__finish", "from_job")
    item = find(rows, ref)
    if request.method != "POST":
        return _item_sheet(request, item)
    _may_write(request)
    is_reserved = request.POST.get("do") == "keep"
    form: ItemForm = (
        ReservationForm(**entries(request)) if is_reserved else RemovalForm(auto_id="take-%s", **entries(request))
    )
    if form.is_valid():
        try:
            with acting_on(request, rows, ref, item_facts) as item:
                text = form.act(item, request.actor)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
        else:
            messages.success(request, text)
            return redirect("stock-item", ref)
    return _item_sheet(request, find(rows, ref), form)


def _item_sheet(request: MemberRequest, item: StockItem, form: ItemForm | None = None) -> HttpResponse:
    """Show an item, with the form that was rejected if there is one."""
    reserved = (
        queries.reservations(request.business).filter(item=item, state=ReservationState.RESERVED).select_related("job")
    )
    may_write = request.actor.may(Scope.STOCK_WRITE)
    reserve = form if isinstance(form, ReservationForm) else ReservationForm()
    if may_write:
        waiting = jobs(request.business).filter(state__in=KEEPS).order_by("-id")
        reserve.set_choices("job", waiting.values_list("number", "label")[:MAX_JOBS])
    moves = queries.movements(item).select_related("job").order_by("-id")
    values = {
        "item": item,
        "facts": item_facts(item),
        "free": item.quantity - item.reserved,
        "faults": form.non_field_errors() if form else [],
        "reserve": reserve,
        "remove": form if isinstance(form, RemovalForm) else RemovalForm(auto_id="take-%s"),
        "page": Paginator(moves, A_PAGE).get_page(request.GET.get("page")),
        "reservations": [(row, reservation_facts(row)) for row in reserved.order_by("-id")[:MAX_HOLDS]],
        "may_write": may_write,
        "locale": request.business.locale,
    }
    return render(request, "purchasing/stock_item.html", values, status=form.status if form else 200)


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
