"""Views of the business's webhooks: endpoints, secrets, deliveries with their attempts, and sending again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods

from catalogue.queries import suppliers
from quotes.integrations import webhooks
from quotes.integrations.models import DeliveryState, EndpointState, WebhookDelivery, WebhookEndpoint
from quotes.integrations.supplier_access import has_other_businesses, issue_supplier_key
from quotes.purchasing.models import OrderEvent
from shared.business.actors import Actor
from shared.business.models import ApiKey, Business
from shared.business.roles import Scope
from shared.members.access import MemberRequest, require_scope
from shared.members.services import revoke_key
from shared.web.etags import find
from shared.web.forms import PageForm, PageTextField, entries
from shared.web.page_errors import PAGE_ERRORS, error_status, error_text
from shared.web.seen_version import acting_on

A_PAGE = 50
Action = Callable[[MemberRequest, WebhookEndpoint], str]


class EventTypesForm(PageForm):
    """Form of the event types of an endpoint."""

    kind = forms.MultipleChoiceField(
        required=False, choices=[(kind, kind.removeprefix("order.").replace("_", " ")) for kind in webhooks.EVENT_TYPES]
    )


class EndpointForm(EventTypesForm):
    """Form that adds an endpoint."""

    url = PageTextField(
        "Address",
        "url",
        max_length=500,
        hint="https, on the open internet. It is asked first whether it wants our events.",
    )


class SupplierKeyForm(PageForm):
    """Form that creates a key for the system of a supplier."""

    supplier = forms.ChoiceField(
        label="Supplier",
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Choose one of your suppliers."),
    )
    name = PageTextField(
        "Key name", max_length=120, required=True, error_messages={"required": "Enter the purpose of the key."}
    )
    test = forms.BooleanField(label="Test key: it never sees a real order", required=False)

    def __init__(self, business: Business, **options: Any) -> None:
        super().__init__(**options)
        self.suppliers = suppliers(business).select_related("account").order_by("name")
        self.set_choices("supplier", ((row.ref, row.name) for row in self.suppliers))

    def issue(self, actor: Actor) -> dict[str, str]:
        """Create the key and return its name and text."""
        supplier, name = self.suppliers.get(ref=self.cleaned_data["supplier"]), self.cleaned_data["name"]
        _, text = issue_supplier_key(supplier=supplier, name=name, live=not self.cleaned_data["test"], actor=actor)
        return {"name": f"{name}, for {supplier.name}", "text": text}


@require_http_methods(["GET", "HEAD", "POST"])
@cache_control(no_store=True)
@require_scope(Scope.WEBHOOKS_READ)
def hooks(request: MemberRequest) -> HttpResponse:
    """Show the webhook endpoints. POST adds one and shows its secret only once."""
    form, secret = EndpointForm(**entries(request)), ""
    if request.method == "POST":
        _may_write(request)
    if form.is_valid():
        try:
            secret = _add(request, form)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
        else:
            form = EndpointForm()
    values = {
        "endpoints": _rows(request).order_by("id"),
        "form": form,
        "secret": secret,
        "may_write": request.actor.may(Scope.WEBHOOKS_WRITE),
        "here": "webhooks",
    }
    return render(request, "integrations/hooks.html", values, status=form.status)


@require_http_methods(["GET", "HEAD", "POST"])
@cache_control(no_store=True)
@require_scope(Scope.WEBHOOKS_READ)
def hook(request: MemberRequest, ref: str) -> HttpResponse:
    """Show one endpoint: its events, its secret and its deliveries."""
    row = find(_rows(request), ref)
    secret, fault, status = "", "", 200
    if request.method == "POST":
        _may_write(request)
        try:
            if request.POST.get("do") == "rotate":
                secret = _rotate(request, row)
            else:
                return _done(request, row)
        except PAGE_ERRORS as refused:
            fault, status = error_text(refused), error_status(refused)
    row.refresh_from_db()
    state = request.GET.get("status", "")
    found = WebhookDelivery.objects.filter(endpoint=row).select_related("event__order").prefetch_related("attempts")
    if state in DeliveryState.values:
        found = found.filter(state=state)
    page = Paginator(found.order_by("-id"), A_PAGE).get_page(request.GET.get("page"))
    values = {
        "hook": row,
        "facts": _facts(row),
        "form": EventTypesForm(initial={"kind": row.event_types}),
        "page": page,
        "state": state,
        "states": DeliveryState.choices,
        "secret": secret,
        "fault": fault,
        "paused": row.state == EndpointState.DISABLED,
        "pending": row.state == EndpointState.PENDING,
        "may_write": request.actor.may(Scope.WEBHOOKS_WRITE),
        "here": "webhooks",
    }
    return render(request, "integrations/hook.html", values, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@cache_control(no_store=True)
@require_scope(Scope.KEYS_WRITE)
def supplier_keys(request: MemberRequest) -> HttpResponse:
    """Show the keys of suppliers' systems. POST creates a key and shows it only once, or revokes one."""
    issued: dict[str, str] = {}
    is_revoked = bool(request.POST.get("end"))
    if is_revoked:
        _revoke(request)
    form = SupplierKeyForm(request.business, **({} if is_revoked else entries(request)))
    if form.is_valid():
        try:
            issued = form.issue(request.actor)
        except PAGE_ERRORS as refused:
            form.refuse(refused)
        else:
            form = SupplierKeyForm(request.business)
    keys = _suppliers_keys(request).select_related("supplier_account").order_by("-id")[:200]
    values = {
        "form": form,
        "issued": issued,
        "keys": [(key, key.supplier_account.name if key.supplier_account else "", request.path) for key in keys],
        "here": "supplier-keys",
    }
    return render(request, "integrations/supplier_keys.html", values, status=form.status)


def _rows(request: MemberRequest) -> QuerySet[WebhookEndpoint]:
    return webhooks.endpoints_of(business=request.business, account=None, test=False)


def _may_write(request: MemberRequest) -> None:
    if not request.actor.may(Scope.WEBHOOKS_WRITE):
        raise PermissionDenied


@transaction.atomic
def _add(request: MemberRequest, form: EndpointForm) -> str:
    """Add an endpoint and return its secret."""
    row = webhooks.add_endpoint(
        business=request.business,
        account=None,
        test=False,
        url=form.cleaned_data["url"],
        event_types=form.cleaned_data["kind"],
        actor=request.actor,
    )
    return str(row.secrets[0]["key"])


def _facts(row: WebhookEndpoint) -> dict[str, str]:
    """Return what the page shows of an endpoint, by label."""
    return {"Status": str(row.get_state_display()), "Event types": ", ".join(row.event_types) or "all"}


def _rotate(request: MemberRequest, row: WebhookEndpoint) -> str:
    with acting_on(request, _rows(request), row.ref, _facts) as locked:
        return webhooks.rotate(endpoint=locked, actor=request.actor)


def _done(request: MemberRequest, row: WebhookEndpoint) -> HttpResponse:
    action = _ACTIONS.get(request.POST.get("do", ""))
    if action is None:
        return redirect("webhook", row.ref)
    with acting_on(request, _rows(request), row.ref, _facts) as locked:
        text = action(request, locked)
    messages.success(request, text)
    return redirect("webhook", row.ref) if locked.pk else redirect("webhooks")


def _kinds_changed(request: MemberRequest, row: WebhookEndpoint) -> str:
    webhooks.change_endpoint(endpoint=row, changes={"event_types": request.POST.getlist("kind")}, actor=request.actor)
    return "Event types saved. They apply to new events."


def _pause(request: MemberRequest, row: WebhookEndpoint) -> str:
    webhooks.change_endpoint(endpoint=row, changes={"enabled": False}, actor=request.actor)
    return "Endpoint paused. No events are sent."


def _resume(request: MemberRequest, row: WebhookEndpoint) -> str:
    webhooks.change_endpoint(endpoint=row, changes={"enabled": True}, actor=request.actor)
    return "The challenge was sent. Events are sent after the endpoint responds."


def _ask(request: MemberRequest, row: WebhookEndpoint) -> str:
    webhooks.challenge(endpoint=row, actor=request.actor)
    return "The challenge was sent again."


def _try(request: MemberRequest, row: WebhookEndpoint) -> str:
    webhooks.send_test(endpoint=row, actor=request.actor)
    return "A test event is being sent."


def _resend(request: MemberRequest, row: WebhookEndpoint) -> str:
    """Send delivery_ref delivery again, or all that failed."""
    events = OrderEvent.objects.of(request.business).select_related("order", "business")
    sent = WebhookDelivery.objects.filter(endpoint=row).exclude(event=None)
    delivery_ref = request.POST.get("delivery", "")
    deliveries = sent.filter(ref=delivery_ref) if delivery_ref else sent.filter(state=DeliveryState.FAILED)
    rows = list(events.filter(pk__in=deliveries.values("event")).order_by("id")[: webhooks.MAX_REPLAYED + 1])
    made = webhooks.replay(endpoint=row, events=rows, actor=request.actor)
    return f"{len(made)} sent again." if made else "There is nothing to send again."


def _remove(request: MemberRequest, row: WebhookEndpoint) -> str:
    webhooks.remove_endpoint(endpoint=row, actor=request.actor)
    return "The endpoint and its log are deleted."


_ACTIONS: Mapping[str, Action] = {
    "kinds": _kinds_changed, "pause": _pause, "resume": _resume, "ask": _ask, "test": _try, "again": _resend, "remove": _remove,
}  # fmt: skip


@transaction.atomic
def _revoke(request: MemberRequest) -> None:
    row = find(_suppliers_keys(request).select_for_update(no_key=True, of=("self",)), request.POST["end"])
    revoke_key(key=row, actor=request.actor, business=request.business)
    messages.success(request, f"The key {row.name} is revoked.")


def _suppliers_keys(request: MemberRequest) -> QuerySet[ApiKey]:
    """Return the keys of suppliers that serve only this business."""
    mine = suppliers(request.business).exclude(account=None).select_related("account")
    accounts = [row.account for row in mine if row.account and not has_other_businesses(row.account, row)]
    return ApiKey.objects.filter(supplier_account__in=accounts)
