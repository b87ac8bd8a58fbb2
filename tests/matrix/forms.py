"""A form of every page that changes something of a business, with the records it needs."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Callable
from typing import Any

from django.utils import timezone

from catalogue.models import FenceSystem, FenceSystemVersion
from quotes.jobs.measure_services import save_measure
from quotes.jobs.models import Job, StoredMeasure
from quotes.jobs.services import open_job
from quotes.quoting.models import Question, SignedLink
from shared.background.events import publish_event
from shared.background.outgoing_mail import OutgoingMail
from shared.business.actors import SYSTEM
from shared.business.models import Member
from shared.members.services import start_business
from tests.forms import system_entries
from tests.matrix.changes import (
    NEW,
    Scene,
    brought_back,
    finishes_file,
    linked,
    put_an_order,
    second_draft,
    second_system,
    spare,
    system_document,
)
from tests.quotes.quoting.cast import measure, new_job, sent

MEMBERS = "/settings/members"
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


def _at_measure(s: Scene) -> tuple[str, Form]:
    row = StoredMeasure.objects.of(s.business).get(ref=s.refs["measure"])
    entered = {"label": "Back", "system": "corrugated-50", "runs/0/id": "A", "runs/0/length_mm": "8", "page": "first"}
    return f"/measures/{row.ref}", {**entered, "defaults/height_mm": "1800", "version": str(row.version), "do": "keep"}


def _restored(s: Scene) -> tuple[str, Form]:
    row = StoredMeasure.objects.of(s.business).get(ref=s.refs["measure"])
    save_measure(measure=row, document=measure(8000), actor=SYSTEM)
    return f"/measures/{row.ref}/versions/1", {}


def _lowered(s: Scene) -> tuple[str, Form, str]:
    row = StoredMeasure.objects.of(s.business).get(ref=s.refs["measure"])
    document = measure(15600, height_mm=1510)
    wind = {"method": "given_pressure", "pressure_kpa": "0.15", "soil_class": "gravel", "bearing_doubled": True}
    save_measure(measure=row, document={**document, "strength": wind}, actor=SYSTEM)
    return f"/measures/{row.ref}/height", {"run": "A", "height_mm": "1400"}, f"/measures/{row.ref}/take-off"


def _first_measure(s: Scene) -> tuple[str, Form, str]:
    job = Job.objects.of(s.business).get(ref=s.refs["job"])
    customer, site = job.customer, job.site
    opened = open_job(customer=customer, site=site, label="Side fence", actor=SYSTEM)
    return f"/jobs/{opened.ref}/measure", {}, f"/jobs/{opened.ref}"


def _letter(s: Scene) -> tuple[str, Form, str]:
    revision = sent(s.business)
    page = f"/revisions/{revision.ref}"
    link = SignedLink.objects.of(s.business).filter(revision=revision).order_by("id")[0]
    event = publish_event("link.issued", link.ref, business=s.business)
    row = OutgoingMail.objects.create(event=event, name="owner", recipient="ada@example.test")
    return f"{page}/send-again", {"letter": f"{row.event.ref}/{row.name}"}, page


def _ticks(s: Scene) -> tuple[str, Form]:
    return f"/jobs/{s.refs['job']}/build/ticks", {"done": ["A-P1"]}


def _system_form(s: Scene, **changes: str) -> Form:
    system = FenceSystem.objects.of(s.business).get(ref=s.refs["fence system"])
    version = FenceSystemVersion.objects.of(s.business).filter(system=system).order_by("-number")[0]
    return {**system_entries(version.document), **changes, "do": "keep"}


def _sample(s: Scene) -> tuple[str, Form]:
    """Sign the same owner in to a business that has no catalogue."""
    member = Member.objects.get(business=s.business, role="owner")
    s.business = start_business(owner=member.person, name="Reedfield Fencing", country="NZ", currency="NZD")
    s.client.post(f"/businesses/{s.business.ref}/choose")
    return "/prices", {}


def _file(s: Scene) -> tuple[str, Form]:
    carried = base64.b64encode(finishes_file(s).encode()).decode()
    return "/prices/import", {"kind": "finishes", "carried": carried, "file_name": "finishes.csv", "do": "take"}


def _marks(page: str) -> Form:
    """Return the signed marks of a customer page's forms."""
    return dict(re.findall(r'name="(mark|content|agreed)" value="([^"]*)"', page))


def _party(do: str, **entered: str) -> FormStep:
    """Return a form of the customer page, opened by the link of its party."""

    def step(s: Scene) -> tuple[str, Form]:
        linked(s)
        page = s.client.get(f"/q/{s.inner['token']}", follow=True)
        path = str(page.request["PATH_INFO"])
        fields = _marks(page.content.decode())
        if do == "accept":
            fields |= _marks(s.client.post(path, {**fields, "do": "review"}).content.decode())
        return path, {**fields, **entered, "do": do}

    return step


def _counted(s: Scene) -> tuple[str, Form]:
    put_an_order(s)
    received = timezone.localdate().isoformat()
    form = {"do": "receive", "docket": "D8", "received": received, "arrived-1": "1"}
    return f"/deliveries/{s.refs['order']}", form


def _spare_row(s: Scene) -> tuple[str, Form]:
    spare(s, "finish")
    return f"/prices/finishes/{s.refs['finish']}", {"do": "remove"}


PAGES: dict[str, FormStep] = {
    "settings": lambda s: ("/settings", {**_face(s), "phone": "555 0109"}),
    "accounts": lambda s: ("/settings/accounts", {"goods": "5000"}),
    "members": lambda s: ("/settings/members", NEW),
    "member": lambda s: (f"/settings/members/{s.refs['member']}", {"do": "remove"}, MEMBERS),
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
    "job-move": lambda s: (f"/jobs/{s.refs['job']}/move", {"to": "built"}, f"/jobs/{s.refs['job']}"),
    "archive-customer": lambda s: (
        f"/jobs/{s.refs['job']}/customer/archive",
        {},
        f"/jobs/{s.refs['job']}/details",
    ),
    "job-price": lambda s: (f"/jobs/{new_job(s.business)[0].ref}/price", {}),
    "revision": _draft_form,
    "party-link": _link({}),
    "answer-question": _answer,
    "revise-quote": _revise,
    "build-record": lambda s: (
        f"/jobs/{s.refs['job']}/build/record",
        {"kind": "changed", "note": "a post stands deeper"},
    ),
    "job-orders": lambda s: (f"/jobs/{s.refs['job']}/orders", {"allow_reorder": "1"}),
    "delivery": _counted,
    "order": _at_order("place", allow_below_minimum="1"),
    "stock": lambda s: ("/stock", {"component": s.sku(), "quantity": "2", "reason": "counted"}),
    "stock-item": lambda s: (f"/stock/{s.refs['stock item']}", {"do": "take", "quantity": "1", "reason": "sold"}),
    "reservation": lambda s: (f"/reservations/{s.refs['reservation']}", {"status": "released"}, "/stock"),
    "job-materials": lambda s: (f"/jobs/{brought_back(s)}/materials", {}),
    "accounting": lambda s: ("/accounting", {"locked_through": "2024-01-31"}),
    "test-mail": lambda s: ("/settings/test-mail", {}),
    "prices-row": lambda s: (f"/prices/finishes/{s.refs['finish']}", {"code": "saltmarl", "name": "Another name"}),
    "prices": _sample,
    "import-file": _file,
    "fence-system": lambda s: (f"/prices/systems/{s.refs['fence system']}", _system_form(s, label="Another label")),
    "new-fence-system": lambda s: (
        "/prices/systems/new",
        {**_system_form(s, code="another-50"), "model": s.refs["fence system"]},
    ),
    "measure": _at_measure,
    "measure-version": _restored,
    "measure-height": _lowered,
    "job-measure": _first_measure,
    "letter-again": _letter,
    "build-ticks": _ticks,
    "party-quote": _party("accept", name="Ada Quill"),
}
MORE_FORMS: dict[str, FormStep] = {
    "member, role": lambda s: (f"/settings/members/{s.refs['member']}", {"do": "role", "role": "crew"}, MEMBERS),
    "draft discarded": _second,
    "order cancelled": _at_order("cancel", reason="a mistake"),
    "webhook removed": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "remove"}),
    "webhook paused": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "pause"}),
    "webhook asked": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "ask"}),
    "webhook tried": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "test"}),
    "webhook kinds": lambda s: (f"/settings/webhooks/{s.refs['hook']}", {"do": "kinds", "kind": ["order.placed"]}),
    "supplier's key ended": lambda s: ("/settings/supplier-keys", {"end": s.inner["api_key"]}),
    "link ended": _link({"do": "revoke"}),
    "fence system deactivated": lambda s: (f"/prices/systems/{second_system(s)}", {"do": "end"}),
    "fence system as JSON": lambda s: (
        f"/prices/systems/{s.refs['fence system']}",
        {"do": "json", "document": json.dumps({**system_document(s), "label": "Another label"})},
    ),
    "prices-row removed": _spare_row,
    "party declined": _party("decline", decliner="Ada Quill"),
    "party asked": _party("ask", text="How long does it take?"),
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
}
# forms that change only a draft, which its next version records
DRAFTS = {"measure-version"}
# forms and calls whose entry is written by the task that they start
BY_TASK = {"import-file", "POST imports"}
READ_ONLY = {
    "deliveries",
    "healthz", "readyz", "api-docs", "api-problem", "prices-sheet", "prices-list", "quotes", "enter-quote", "party-pdf",
    "party-record",
    "preview-pdf", "kept-pdf", "job-build", "orders", "today", "search", "jobs", "job", "job-takeoff",
    "measure-options", "measure-run-fields", "measure-versions", "takeoff", "screening-annex", "offline-worker",
}  # fmt: skip
