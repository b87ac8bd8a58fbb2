"""Orders and deliveries."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from fencing.model.faults import InvalidDocument
from quotes.jobs.models import Job, JobState
from quotes.jobs.queries import jobs
from quotes.purchasing import queries, serializers, services
from quotes.purchasing.deliveries import return_goods
from quotes.purchasing.draft_orders import order_for
from quotes.purchasing.models import Despatch, OrderLine, OrderResponseLine, OrderState, SupplierOrder
from quotes.purchasing.queries import order_facts
from quotes.quoting.queries import agreed
from shared.api.serializers import StrictSerializer, validated_data
from shared.business.actors import Actor
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.common.typed_numbers import typed_number
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.forms import PageField, PageForm, PageTextField
from shared.web.page_errors import error_text
from shared.web.seen_version import acting_on

A_PAGE = 100


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


class BodyForm(PageForm):
    """Form whose entries are validated by the body of an API call. Empty fields are left out."""

    body: type[StrictSerializer]

    def clean(self) -> dict[str, Any]:
        """Return the values of the body."""
        try:
            return validated_data(self.body, {name: value for name, value in self.cleaned_data.items() if value != ""})
        except InvalidDocument as refused:
            self.refuse(refused)
        return self.cleaned_data


class OrderForm(PageForm):
    """Form of an action on an order. ``act`` does it and returns the text to show."""

    def __init__(self, order: SupplierOrder, lines: list[OrderLine], **options: Any) -> None:
        super().__init__(**options)
        self.order, self.lines = order, lines

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Do the action with the entries."""
        raise NotImplementedError


def reason_field() -> PageTextField:
    """Return the field of a reason."""
    return PageTextField("Reason", max_length=500, required=True, error_messages={"required": "Enter a reason."})


class PlaceForm(OrderForm):
    """Form that places an order. An order below the minimum needs the word of the supplier."""

    allow_below_minimum = forms.BooleanField(required=False)

    def __init__(self, order: SupplierOrder, lines: list[OrderLine], **options: Any) -> None:
        super().__init__(order, lines, **options)
        field = self.fields["allow_below_minimum"]
        field.label = f"{order.supplier.name} accepted an order below its minimum"
        self.is_below = order.state == OrderState.DRAFT and order.goods < services.least_order_of(order)

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Place the order."""
        services.place(order=order, actor=actor, **self.cleaned_data)
        return f"{order.number} is placed with {order.supplier.name}."


class CancelForm(OrderForm):
    """Form that cancels an order."""

    reason = reason_field()

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Cancel the order."""
        services.cancel(order=order, actor=actor, **self.cleaned_data)
        return f"{order.number} is cancelled."


class CancelLinesForm(OrderForm):
    """Form that cancels the outstanding quantities of some lines."""

    rest = forms.TypedMultipleChoiceField(
        coerce=int,
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Select the lines to cancel."),
    )
    reason = reason_field()

    def __init__(self, order: SupplierOrder, lines: list[OrderLine], **options: Any) -> None:
        super().__init__(order, lines, **options)
        self.open_lines = [line for line in lines if line.outstanding > line.in_transit]
        self.set_choices("rest", ((str(line.position), line.label) for line in self.open_lines))

    @property
    def rows(self) -> list[tuple[OrderLine, bool]]:
        """Return the lines, each with whether it is selected."""
        return [(line, str(line.position) in self["rest"].value()) for line in self.open_lines]

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Cancel what is outstanding of the lines."""
        positions, reason = self.cleaned_data["rest"], self.cleaned_data["reason"]
        services.cancel_outstanding(order=order, actor=actor, positions=positions, reason=reason)
        return "The outstanding quantities of these lines are cancelled."


class CloseForm(OrderForm):
    """Form that closes an order."""

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Close the order."""
        services.close(order=order, actor=actor)
        return f"{order.number} is closed."


class DecisionForm(OrderForm):
    """Form that accepts or rejects the changes that the supplier proposes."""

    def __init__(self, order: SupplierOrder, lines: list[OrderLine], **options: Any) -> None:
        super().__init__(order, lines, **options)
        rows = OrderResponseLine.objects.of(order.business).filter(line__order=order, decision="waiting")
        self.proposals = list(rows.select_related("line"))
        for proposal in self.proposals:
            self.fields[f"line-{proposal.line.position}"] = forms.ChoiceField(choices=DECISIONS, required=False)

    @property
    def rows(self) -> list[tuple[OrderResponseLine, PageField]]:
        """Return the proposals, each with its field."""
        return [(proposal, self[f"line-{proposal.line.position}"]) for proposal in self.proposals]

    def clean(self) -> dict[str, Any]:
        """Return the decisions, at least one."""
        if not any(self.cleaned_data.values()):
            self.add_error(None, "Accept or reject the change of a line.")
        return self.cleaned_data

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Send the decisions to the supplier."""
        chosen = {int(name.removeprefix("line-")): value for name, value in self.cleaned_data.items() if value}
        decisions = {line: value == "accept" for line, value in chosen.items()}
        services.decide(order=order, actor=actor, decisions=decisions)
        return "Decision sent to the supplier."


class ReturnForm(OrderForm, BodyForm):
    """Form that records returned goods."""

    body = serializers.ReturnIn
    line = forms.ChoiceField(label="Item")
    quantity = PageTextField("Quantity", "number", read=typed_number)
    reason = reason_field()
    replacement_required = forms.BooleanField(label="Replacement required", required=False)

    def __init__(self, order: SupplierOrder, lines: list[OrderLine], **options: Any) -> None:
        super().__init__(order, lines, **options)
        here = [line for line in lines if line.received or line.over_delivered or line.damaged]
        self.set_choices("line", ((str(line.position), line.label) for line in here))

    def act(self, order: SupplierOrder, actor: Actor) -> str:
        """Record the return."""
        return_goods(order=order, actor=actor, **self.cleaned_data)
        return "Return recorded."


DECISIONS = (("accept", "Accept change"), ("keep", "Keep original order"))
FORMS: Mapping[str, type[OrderForm]] = {
    "place": PlaceForm, "cancel": CancelForm, "shorten": CancelLinesForm, "close": CloseForm, "decide": DecisionForm,
    "return": ReturnForm,
}  # fmt: skip


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.ORDERS_READ)
def order(request: MemberRequest, ref: str) -> HttpResponse:
    """Show one order: its lines, responses, deliveries and possible actions."""
    rows = queries.orders(request.business).select_related("supplier", "business")
    row = find(rows, ref)
    if request.method != "POST":
        return _sheet(request, row)
    _may_write(request)
    action = request.POST.get("do", "")
    if action in FORMS:
        form = FORMS[action](row, list(queries.lines(row)), data=request.POST, auto_id=f"{action}-%s")
        try:
            if not form.is_valid():
                return _sheet(request, row, {action: form})
            with acting_on(request, rows, ref, order_facts) as row:
                text = form.act(row, request.actor)
            messages.success(request, text)
        except (InvalidDocument, Problem) as refused:
            form.refuse(refused)
            return _sheet(request, row, {action: form})
    return redirect("order", ref)


def _sheet(request: MemberRequest, row: SupplierOrder, sent: Mapping[str, OrderForm] | None = None) -> HttpResponse:
    """Show an order. ``sent`` is the form that was rejected, by its action."""
    row.refresh_from_db()
    sent = sent or {}
    lines = list(queries.lines(row).order_by("position"))
    values = {
        "order": row,
        "lines": lines,
        "dockets": list(Despatch.objects.of(request.business).filter(order=row).order_by("-id")),
        "credit": sum((item.credit for item in row.returns.all()), Decimal(0)),
        "events": queries.events(row).order_by("-id")[:60],
        "faults": [text for form in sent.values() for text in form.non_field_errors()],
        "facts": order_facts(row),
        "forms": {**{name: kind(row, lines, auto_id=f"{name}-%s") for name, kind in FORMS.items()}, **sent},
        "locale": request.business.locale,
        **_may(row, lines, write=request.actor.may(Scope.ORDERS_WRITE)),
    }
    return render(
        request, "purchasing/order.html", values, status=max((form.status for form in sent.values()), default=200)
    )


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
