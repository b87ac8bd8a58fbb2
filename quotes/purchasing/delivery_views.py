"""Views of deliveries: ordered, despatched, arrived, damaged and missing quantities, without prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.html import format_html
from django.views.decorators.http import require_GET, require_http_methods

from fencing.model.faults import Fault, InvalidDocument
from quotes.purchasing import serializers
from quotes.purchasing.deliveries import MORE, ReceiptData, receive
from quotes.purchasing.delivery_queries import COMING, deliveries, delivery_document
from quotes.purchasing.models import SupplierOrder
from quotes.purchasing.queries import delivery_facts
from shared.api.serializers import validated_data
from shared.business.roles import Scope
from shared.common.dates import today, write_day
from shared.common.problems import Problem
from shared.common.typed_numbers import shown_number, typed_number
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.forms import PageDateField, PageField, PageForm, PageTextField
from shared.web.page_errors import PageError
from shared.web.seen_version import acting_on

A_PAGE = 100


@dataclass(frozen=True, slots=True)
class CountedLine:
    """One line of the form: the order line, the docketed quantity and the fields of its count."""

    line: Mapping[str, Any]
    docketed: str
    arrived: PageField
    damaged: PageField


class DeliveryForm(PageForm):
    """Form of a count, with two fields for each line of a delivery. A valid form has the ``count``."""

    docket = PageTextField("Delivery docket", "pick", longest=60, fills="off")
    received = PageDateField("Received on")
    more_than_docket = forms.BooleanField(label="Confirm the count: more arrived than expected", required=False)
    count: ReceiptData

    def __init__(self, document: Mapping[str, Any], **options: Any) -> None:
        super().__init__(**options)
        self.document, self.counted, self.is_more = document, list[int](), False
        for line in document["lines"]:
            for word in ("Arrived", "Damaged"):
                label = format_html('{}<span class="hidden-text">, {}</span>', word, line["name"])
                field = PageTextField(label, "number", read=typed_number, fills="off")
                self.fields[f"{word.lower()}-{line['line']}"] = field
        self.open_dockets = [item for item in document["despatches"] if not item["is_received"]]
        days = {item["number"]: item["arrives_on"] for item in self.open_dockets}
        self.set_choices(
            "docket", ((number, f"arrives {write_day(day)}" if day else "") for number, day in days.items())
        )

    def clean(self) -> dict[str, Any]:
        """Return the entries, and read the count."""
        values, lines = self.cleaned_data, []
        for line in self.document["lines"]:
            arrived, damaged = (values.get(f"{name}-{line['line']}", "") for name in ("arrived", "damaged"))
            if arrived or damaged:
                self.counted.append(line["line"])
                counted = {"line": line["line"], "arrived_quantity": arrived or "0"}
                lines.append({**counted, "damaged_quantity": damaged} if damaged else counted)
        body = {"docket_number": values.get("docket", ""), "received_on": values.get("received"), "lines": lines}
        try:
            self.count = serializers.read_receipt(validated_data(serializers.ReceiptIn, body))
        except InvalidDocument as refused:
            self.refuse(refused)
        return values

    def refuse(self, error: PageError) -> None:
        """Show errors beside their fields. An error of a counted line names it by its place in the count."""
        if isinstance(error, InvalidDocument):
            self.is_more = any(fault.code == MORE for fault in error.faults)
            error = InvalidDocument(
                Fault(self._pointer(fault.pointer), fault.code, fault.text) for fault in error.faults
            )
        super().refuse(error)

    def _pointer(self, pointer: str) -> str:
        """Return the pointer to the field for a pointer to a member of the count."""
        if pointer.startswith("/lines/"):
            _, _, place, member = pointer.split("/")
            return f"/{member.removesuffix('_quantity')}-{self.counted[int(place)]}"
        return {"/docket_number": "/docket", "/received_on": "/received"}.get(pointer, pointer)

    def counts(self, docket: str) -> list[CountedLine]:
        """Return the lines to count: those of the docket first stated, and whatever else is outstanding."""
        docketed = _docketed(self.document, docket)
        rows = [
            (line, docketed.get(line["line"], ""), self[f"arrived-{line['line']}"]) for line in self.document["lines"]
        ]
        return [
            CountedLine(line, expected, arrived, self[f"damaged-{line['line']}"])
            for line, expected, arrived in rows
            if expected or line["outstanding"] != "0" or arrived.value()
        ]


def _docketed(document: Mapping[str, Any], docket: str) -> dict[int, str]:
    """Return the quantities that a docket states, by line."""
    stated: list[dict[str, Any]] = next(
        (item["lines"] for item in document["despatches"] if item["number"] == docket), []
    )
    return {item["line"]: item["quantity"] for item in stated}


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
    order = find(rows, ref)
    document = delivery_document(order)
    if request.method == "POST" and not request.actor.may(Scope.DELIVERIES_WRITE):
        raise PermissionDenied
    if request.method != "POST" or request.POST.get("do") in ("docket", "fill"):
        return _page(request, order, _new_form(request, document))
    form = DeliveryForm(document, data=request.POST)
    if form.is_valid():
        try:
            with acting_on(request, rows, ref, delivery_facts) as order:
                _count(request, order, form)
        except (InvalidDocument, Problem) as refused:
            form.refuse(refused)
        else:
            return redirect("delivery", ref)
    return _page(request, find(rows, ref), form)


def _new_form(request: MemberRequest, document: Mapping[str, Any]) -> DeliveryForm:
    """Return the form to begin with. On request it has another docket, or all that is to come as arrived."""
    typed = request.POST.dict()
    form = DeliveryForm(document, initial={"received": today(request.business), **typed})
    docket = typed.get("docket") or next((item["number"] for item in form.open_dockets), "")
    form.initial["docket"] = docket
    if typed.get("do") == "fill":
        docketed = _docketed(document, docket)
        for line in document["lines"]:
            full = docketed.get(line["line"], "") or ("" if docketed else line["outstanding"])
            form.initial[f"arrived-{line['line']}"], form.initial[f"damaged-{line['line']}"] = shown_number(full), ""
    return form


def _count(request: MemberRequest, order: SupplierOrder, form: DeliveryForm) -> None:
    more = form.cleaned_data["more_than_docket"]
    _, receipt, is_new = receive(order=order, count=form.count, actor=request.actor, more_than_docket=more)
    if not is_new:
        messages.success(request, "This docket is already recorded. Nothing changed.")
        return
    words = {"damaged": "damaged", "short_delivered": "missing", "over_delivered": "more than ordered"}
    odd = [
        f"{row.line.label}: {shown_number(getattr(row, name))} {word}"
        for row in receipt.lines.select_related("line").order_by("line__position")
        for name, word in words.items()
        if getattr(row, name)
    ]
    messages.success(
        request, f"Delivery recorded. {'; '.join(odd)}." if odd else "Delivery recorded. All goods are in order."
    )


def _page(request: MemberRequest, order: SupplierOrder, form: DeliveryForm) -> HttpResponse:
    document = form.document
    names = {line["line"]: line["name"] for line in document["lines"]}
    for receipt in document["receipts"]:
        receipt["lines"] = [{**row, "name": names[row["line"]]} for row in receipt["lines"]]
    may_count = request.actor.may(Scope.DELIVERIES_WRITE) and order.state in COMING
    values = {
        "order": order,
        "delivery": document,
        "form": form,
        "counts": form.counts(form["docket"].value()),
        "may_count": may_count,
        "facts": delivery_facts(order) if may_count else {},
        "sees_order": request.actor.may(Scope.ORDERS_READ),
    }
    return render(request, "purchasing/delivery.html", values, status=form.status)
