"""Views of deliveries: ordered, despatched, arrived, damaged and missing quantities, without prices."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from fencing.model.faults import InvalidDocument
from quotes.purchasing import serializers
from quotes.purchasing.deliveries import MORE, receive
from quotes.purchasing.delivery_queries import COMING, deliveries, delivery_document
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.version_view import delivery_facts
from shared.api.serializers import validated_data
from shared.business.roles import Scope
from shared.common.dates import today
from shared.common.form_fields import shown_number, typed_number
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import error_text
from shared.web.seen_version import acting_on

A_PAGE = 100


@dataclass(frozen=True, slots=True)
class CountedLine:
    """One line of the form: the order line, the docketed quantity and the entered values."""

    line: Mapping[str, Any]
    docketed: str
    arrived: str
    damaged: str


@dataclass(frozen=True, slots=True)
class Refusal:
    """Reason for rejecting a count. ``is_more`` asks to confirm more than the docket states."""

    text: str = ""
    status: int = 200
    is_more: bool = False


@require_GET
@require_scope(Scope.DELIVERIES_READ)
def delivery_list(request: MemberRequest) -> HttpResponse:
    """Show the orders to unload, those that are coming first."""
    rows = deliveries(request.business).select_related("supplier")
    coming = rows.filter(state__in=COMING).order_by("promised_on", "id")[:A_PAGE]
    done = Paginator(rows.exclude(state__in=COMING).order_by("-id"), A_PAGE).get_page(request.GET.get("page"))
    return render(request, "purchasing/deliveries.html", {"coming": coming, "page": done})


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.DELIVERIES_READ)
def delivery(request: MemberRequest, ref: str) -> HttpResponse:
    """Show one order to unload; POST counts a docket."""
    rows = deliveries(request.business).select_related("supplier", "business")
    if request.method != "POST":
        return _page(request, find(rows, ref))
    if not request.actor.may(Scope.DELIVERIES_WRITE):
        raise PermissionDenied
    if request.POST.get("do") in ("docket", "fill"):
        return _page(request, find(rows, ref))
    try:
        with acting_on(request, rows, ref, delivery_facts) as order:
            _count(request, order)
    except (InvalidDocument, Problem) as refused:
        is_more = isinstance(refused, InvalidDocument) and any(fault.code == MORE for fault in refused.faults)
        status = refused.status if isinstance(refused, Problem) else 422
        return _page(request, find(rows, ref), Refusal(error_text(refused), status, is_more))
    return redirect("delivery", ref)


def _count(request: MemberRequest, order: SupplierOrder) -> None:
    typed = request.POST
    lines = []
    for position in order.lines.order_by("position").values_list("position", flat=True):
        arrived, damaged = (typed.get(f"{name}-{position}", "").strip() for name in ("arrived", "damaged"))
        if arrived or damaged:
            line = {"line": position, "arrived_quantity": typed_number(arrived or "0")}
            lines.append({**line, "damaged_quantity": typed_number(damaged)} if damaged else line)
    body = validated_data(
        serializers.ReceiptIn,
        {
            "docket_number": typed.get("docket", "").strip(),
            "received_on": typed.get("received", ""),
            "lines": lines,
        },
    )
    more = bool(typed.get(MORE))
    _, receipt, is_new = receive(
        order=order, count=serializers.read_receipt(body), actor=request.actor, more_than_docket=more
    )
    if not is_new:
        messages.success(request, "This docket is already recorded. Nothing changed.")
        return
    odd = [
        f"{row.line.label}: {shown_number(getattr(row, name))} {word}"
        for row in receipt.lines.select_related("line").order_by("line__position")
        for name, word in (
            ("damaged", "damaged"),
            ("short_delivered", "missing"),
            ("over_delivered", "more than ordered"),
        )
        if getattr(row, name)
    ]
    messages.success(
        request, f"Delivery recorded. {'; '.join(odd)}." if odd else "Delivery recorded. All goods are in order."
    )


def _page(request: MemberRequest, order: SupplierOrder, refusal: Refusal | None = None) -> HttpResponse:
    document = delivery_document(order)
    names = {line["line"]: line["name"] for line in document["lines"]}
    for receipt in document["receipts"]:
        receipt["lines"] = [{**row, "name": names[row["line"]]} for row in receipt["lines"]]
    open_dockets = [item for item in document["despatches"] if not item["is_received"]]
    docket = request.POST.get("docket", "") or next((item["number"] for item in open_dockets), "")
    may_count = request.actor.may(Scope.DELIVERIES_WRITE) and order.state in COMING
    refusal = refusal or Refusal()
    values = {
        "order": order,
        "delivery": document,
        "open_dockets": open_dockets,
        "docket": docket,
        "counts": _counts(request, document, docket),
        "received": request.POST.get("received") or str(today(request.business)),
        "may_count": may_count,
        "refusal": refusal,
        "facts": delivery_facts(order) if may_count else {},
        "sees_order": request.actor.may(Scope.ORDERS_READ),
    }
    return render(request, "purchasing/delivery.html", values, status=refusal.status)


def _counts(request: MemberRequest, document: Mapping[str, Any], docket: str) -> Sequence[CountedLine]:
    """Return the lines to count: those of the docket first stated, and whatever else is outstanding."""
    typed, fills = request.POST, request.POST.get("do") == "fill"
    stated: list[dict[str, Any]] = next(
        (item["lines"] for item in document["despatches"] if item["number"] == docket), []
    )
    docketed = {item["line"]: item["quantity"] for item in stated}
    found = []
    for line in document["lines"]:
        position, expected = line["line"], docketed.get(line["line"], "")
        if not expected and line["outstanding"] == "0" and not typed.get(f"arrived-{position}"):
            continue
        full = expected or ("" if docketed else line["outstanding"])
        arrived = shown_number(full) if fills and full else "" if fills else typed.get(f"arrived-{position}", "")
        damaged = "" if fills else typed.get(f"damaged-{position}", "")
        found.append(CountedLine(line, expected, arrived, damaged))
    return found
