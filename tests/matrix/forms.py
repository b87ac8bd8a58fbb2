"""A form of every page that changes something of a business, with what has to be there first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils import timezone

from quotes.quoting.models import Question
from tests.matrix.changes import NEW, Scene, brought_back, linked, put_an_order, second_draft
from tests.quotes.quoting.cast import new_job, sent

Form = dict[str, Any]
# the address of the form, its fields, and the page that shows it where that has another address
FormStep = Callable[[Scene], tuple[str, Form] | tuple[str, Form, str]]


def _face(s: Scene) -> Form:
    fields = [
        "name",
        "address",
        "city",
        "postcode",
        "phone",
        "email",
        "website",
        "registration_number",
        "tax_name",
        "tax_number",
    ]
    more = ["locale", "time_zone", "paper_size", "tax_rounding", "quote_validity_days", "terms", "payment_details"]
    return {name: str(getattr(s.business, name)) for name in [*fields, *more]}


def _draft_form(s: Scene) -> tuple[str, Form]:
    return f"/revisions/{s.draft().ref}", {"do": "send"}


def _second(s: Scene) -> tuple[str, Form]:
    second_draft(s)
    return f"/revisions/{s.refs['revision']}", {"do": "discard"}


def _at_order(do: str, **form: Any) -> FormStep:
    def step(s: Scene) -> tuple[str, Form]:
        return f"/orders/{s.order().ref}", {"do": do, **form}

    return step


def _link(form: Form) -> FormStep:
    def step(s: Scene) -> tuple[str, Form, str]:
        page = f"/revisions/{linked(s)}"
        return f"{page}/parties/owner/link", form, page

    return step


def _answer(s: Scene) -> tuple[str, Form, str]:
    question = Question.objects.of(s.business).get(ref=s.refs["question"])
    return f"/questions/{question.ref}/reply", {"text": "the street side"}, f"/revisions/{question.revision.ref}"


def _revise(s: Scene) -> tuple[str, Form, str]:
    revision = sent(s.business)
    return f"/quotes/{revision.quote.ref}/revise", {}, f"/revisions/{revision.ref}"


def _counted(s: Scene) -> tuple[str, Form]:
    put_an_order(s)
    received = timezone.localdate().isoformat()
    form = {"do": "receive", "docket": "D8", "received": received, "arrived-1": "1"}
    return f"/deliveries/{s.refs['order']}", form


PAGES: dict[str, FormStep] = {
    "settings": lambda s: ("/settings", {**_face(s), "phone": "555 0109"}),
    "accounts": lambda s: ("/settings/accounts", {"goods": "5000"}),
    "members": lambda s: ("/settings/members", NEW),
    "member": lambda s: (f"/settings/members/{s.refs['member']}", {"do": "remove"}),
    "keys": lambda s: ("/settings/keys", {"name": "desk", "scope": ["jobs:read"]}),
    "key": lambda s: (f"/settings/keys/{s.refs['key']}", {}),
    "webhooks": lambda s: ("/settings/webhooks", {"url": "http://127.0.0.1:9/hook"}),
    "webhook": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "rotate"}),
    "supplier-keys": lambda s: ("/settings/supplier-keys", {"supplier": s.refs["supplier"], "name": "till"}),
    "prices-new": lambda s: ("/prices/finishes/new", {"code": "inkstone", "name": "Inkstone"}),
    "new-job": lambda s: ("/jobs/new", {"name": "Cy Reed", "address": "9 Reed Lane"}),
    "job-details": lambda s: (
        f"/jobs/{s.refs['job']}/details",
        {"label": "Back fence", "name": "Ada Quill", "address": "4 Reed Lane", "access_notes": "by the lane"},
    ),
    "job-copy": lambda s: (f"/jobs/{s.refs['job']}/copy", {}),
    "job-note": lambda s: (f"/jobs/{s.refs['job']}/note", {"text": "rang"}),
    "job-move": lambda s: (f"/jobs/{s.refs['job']}/move", {"to": "built"}),
    "archive-customer": lambda s: (f"/jobs/{s.refs['job']}/customer/archive", {}),
    "job-price": lambda s: (f"/jobs/{new_job(s.business)[0].ref}/price", {}),
    "revision": _draft_form,
    "party-link": _link({}),
    "answer-question": _answer,
    "revise-quote": _revise,
    "build-record": lambda s: (
        f"/jobs/{s.refs['job']}/build/record",
        {"kind": "changed", "note": "a post stands deeper"},
    ),
    "job-orders": lambda s: (f"/jobs/{s.refs['job']}/orders", {"again": "1"}),
    "delivery": _counted,
    "order": _at_order("place", allow_below_minimum="1"),
    "stock": lambda s: ("/stock", {"component": s.sku(), "quantity": "2", "reason": "counted"}),
    "stock-item": lambda s: (f"/stock/{s.refs['stock item']}", {"do": "take", "quantity": "1", "reason": "sold"}),
    "hold": lambda s: (f"/holds/{s.refs['hold']}", {"state": "released"}),
    "job-used": lambda s: (f"/jobs/{brought_back(s)}/used", {}),
    "books": lambda s: ("/books", {"until": "2024-01-31"}),
    "test-mail": lambda s: ("/settings/test-mail", {}),
    "prices-row": lambda s: (f"/prices/finishes/{s.refs['finish']}", {"code": "saltmarl", "name": "Another name"}),
}
MORE_FORMS: dict[str, FormStep] = {
    "member, role": lambda s: (f"/settings/members/{s.refs['member']}", {"do": "role", "role": "crew"}),
    "draft discarded": _second,
    "order cancelled": _at_order("cancel", reason="a mistake"),
    "webhook removed": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "remove"}),
    "webhook paused": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "pause"}),
    "webhook asked": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "ask"}),
    "webhook tried": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "test"}),
    "webhook kinds": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "kinds", "kind": ["order.placed"]}),
    "supplier's key ended": lambda s: ("/settings/supplier-keys", {"end": s.inner["api_key"]}),
    "link ended": _link({"do": "revoke"}),
    "stock kept": lambda s: (
        f"/stock/{s.refs['stock item']}",
        {"do": "keep", "quantity": "1", "job": s.job().number},
    ),
}
OTHER_PAGES = {
    "sign-in": "a person's, see django-axes",
    "sign-out": "a person's",
    "choose-business": "a session's",
    "welcome": "see tests/shared/test_invitations.py",
    "party-quote": "the same services as links/… above",
    "build-ticks": "see tests/quotes/jobs",
    "measure": "what is being typed; saving is PUT measures above, by the same service",
    "measure-version": "what is being typed",
    "letter-again": "see tests/shared/test_undelivered_letters.py",
    "job-measure": "the same service as jobs/…/measures above",
    "take-in": "see tests/catalogue/test_imports_api.py; the same service",
    "prices": "the starter set, see tests/catalogue/spreadsheets/test_sample_catalogue.py",
    "fence-system": "the same service as fence-systems above",
    "new-fence-system": "the same service as fence-systems above",
}
READ_ONLY = {
    "deliveries",
    "healthz", "readyz", "api-docs", "api-problem", "prices-sheet", "prices-list", "quotes", "enter-quote", "party-pdf",
    "party-record",
    "preview-pdf", "kept-pdf", "build-worker", "job-build", "orders", "today", "search", "jobs", "job", "job-takeoff",
    "measure-ways", "measure-more", "measure-versions", "takeoff", "measure-height", "screening-annex", "measure-worker",
}  # fmt: skip
