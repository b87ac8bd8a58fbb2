"""Views of the business's webhooks: endpoints, secrets, deliveries with their attempts, and sending again."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import transaction
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from catalogue.queries import suppliers
from fencing.model.faults import Fault, InvalidDocument
from quotes.integrations import webhooks
from quotes.integrations.models import DeliveryState, EndpointState, WebhookDelivery, WebhookEndpoint
from quotes.integrations.supplier_access import has_other_businesses, issue_supplier_key
from quotes.purchasing.models import OrderEvent
from shared.business.models import ApiKey
from shared.business.roles import Scope
from shared.common.form_fields import FormField
from shared.members.access import MemberRequest, require_scope
from shared.members.services import revoke_key
from shared.web.etags import find
from shared.web.page_errors import PAGE_ERRORS, error_status, error_text, errors_by_field
from shared.web.seen_version import acting_on

A_PAGE = 50
Action = Callable[[MemberRequest, WebhookEndpoint], str]


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.WEBHOOKS_READ)
def hooks(request: MemberRequest) -> HttpResponse:
    """Show the webhook endpoints. POST adds one and shows its secret only once."""
    faults: dict[str, str] = {}
    secret = ""
    if request.method == "POST":
        _may_write(request)
        try:
            secret = _add(request)
        except PAGE_ERRORS as refused:
            faults = errors_by_field(refused)
    typed = request.POST if faults else {}
    url = FormField("url", "Address", typed.get("url", ""), "url", faults.get("/url", ""),
              "https, on the open internet. It is asked first whether it wants our events.", most=500)  # fmt: skip
    values = {
        "endpoints": _rows(request).order_by("id"),
        "url": url,
        "kinds": _kinds(request.POST.getlist("kind") if faults else ()),
        "loose": [text for pointer, text in faults.items() if pointer != "/url"],
        "secret": secret,
        "may_write": request.actor.may(Scope.WEBHOOKS_WRITE),
        "here": "webhooks",
    }
    return _no_store(render(request, "integrations/hooks.html", values, status=422 if faults else 200))


@require_http_methods(["GET", "HEAD", "POST"])
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
        "kinds": _kinds(row.event_types),
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
    return _no_store(render(request, "integrations/hook.html", values, status=status))


@require_http_methods(["GET", "HEAD", "POST"])
@require_scope(Scope.KEYS_WRITE)
def supplier_keys(request: MemberRequest) -> HttpResponse:
    """Show the keys of suppliers' systems. POST creates a key and shows it only once, or revokes one."""
    faults: dict[str, str] = {}
    issued: dict[str, str] = {}
    if request.method == "POST":
        try:
            issued = _let_in(request)
        except PAGE_ERRORS as refused:
            faults = errors_by_field(refused)
    mine = suppliers(request.business).select_related("account").order_by("name")
    typed = request.POST if faults else {}
    chosen = tuple((row.ref, row.name) for row in mine)
    boxes = [
        FormField(
            "supplier", "Supplier", typed.get("supplier", ""), "select", faults.get("/supplier", ""), choices=chosen
        ),
        FormField("name", "Key name", typed.get("name", ""), fault=faults.get("/name", ""), most=120),
        FormField("test", "Test key: it never sees a real order", typed.get("test", ""), "check"),
    ]
    values = {
        "boxes": boxes,
        "suppliers": chosen,
        "issued": issued,
        "keys": _suppliers_keys(request).select_related("supplier_account").order_by("-id")[:200],
        "loose": [text for pointer, text in faults.items() if pointer not in ("/supplier", "/name")],
        "here": "supplier-keys",
    }
    return _no_store(render(request, "integrations/supplier_keys.html", values, status=422 if faults else 200))


def _rows(request: MemberRequest) -> QuerySet[WebhookEndpoint]:
    return webhooks.endpoints_of(business=request.business, account=None, test=False)


def _may_write(request: MemberRequest) -> None:
    if not request.actor.may(Scope.WEBHOOKS_WRITE):
        raise PermissionDenied


def _no_store(response: HttpResponse) -> HttpResponse:
    """Forbid copies of a page that may show a secret."""
    response["Cache-Control"] = "no-store"
    return response


def _kinds(chosen: object) -> list[tuple[str, str, bool]]:
    selected = list(chosen) if isinstance(chosen, list | tuple) else []
    return [(kind, kind.removeprefix("order.").replace("_", " "), kind in selected) for kind in webhooks.EVENT_TYPES]


@transaction.atomic
def _add(request: MemberRequest) -> str:
    row = webhooks.add_endpoint(
        business=request.business,
        account=None,
        test=False,
        url=request.POST.get("url", "").strip()[:500],
        event_types=request.POST.getlist("kind"),
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


def _let_in(request: MemberRequest) -> dict[str, str]:
    if request.POST.get("end"):
        return _end(request)
    name = request.POST.get("name", "").strip()
    supplier = (
        suppliers(request.business).select_related("account").filter(ref=request.POST.get("supplier", "")).first()
    )
    faults = []
    if supplier is None:
        faults.append(Fault("/supplier", "unknown", "Choose one of your suppliers."))
    if not 0 < len(name) <= 120:
        faults.append(Fault("/name", "name", "Enter the use of the key, at most 120 characters."))
    if faults or supplier is None:
        raise InvalidDocument(faults)
    _, text = issue_supplier_key(supplier=supplier, name=name, live=not request.POST.get("test"), actor=request.actor)
    return {"name": f"{name}, for {supplier.name}", "text": text}


@transaction.atomic
def _end(request: MemberRequest) -> dict[str, str]:
    row = find(_suppliers_keys(request).select_for_update(no_key=True, of=("self",)), request.POST["end"])
    revoke_key(key=row, actor=request.actor, business=request.business)
    messages.success(request, f"The key {row.name} is revoked.")
    return {}


def _suppliers_keys(request: MemberRequest) -> QuerySet[ApiKey]:
    """Return the keys of suppliers that serve only this business."""
    mine = suppliers(request.business).exclude(account=None).select_related("account")
    accounts = [row.account for row in mine if row.account and not has_other_businesses(row.account, row)]
    return ApiKey.objects.filter(supplier_account__in=accounts)
