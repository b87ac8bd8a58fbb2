"""Everything the API does for people can be done on a page: each address names its page, or the reason why it has none."""

from __future__ import annotations

import re

from django.urls import get_resolver

from tests.matrix.addresses import cases

# the address up to its last fixed part, and the pages where people do the same
ON_PAGES = {
    "business": ("settings", "accounts"),
    "members": ("members", "member"),
    "invitations": ("members", "member", "welcome"),
    "keys": ("keys", "key"),
    "finishes": ("prices-list", "prices-row"),
    "components": ("prices-list", "prices-row"),
    "suppliers": ("prices-list", "prices-row"),
    "suppliers/keys": ("supplier-keys",),
    "supplier-terms": ("prices-list", "prices-row"),
    "supplier-prices": ("prices-list", "prices-row"),
    "price-rules": ("prices-list", "prices-row"),
    "fence-systems": ("prices", "fence-system"),
    "fence-systems/completeness": ("prices",),
    "imports": ("import-file",),
    "exports": ("prices-sheet",),
    "customers": ("new-job", "job-details", "archive-customer"),
    "customers/sites": ("new-job", "job-details"),
    "jobs": ("jobs", "new-job", "job", "job-details"),
    "jobs/status": ("job-move",),
    "jobs/copy": ("job-copy",),
    "jobs/events": ("job", "job-note"),
    "jobs/measures": ("job-measure",),
    "jobs/as-built": ("job-build", "build-record"),
    "jobs/set-out": ("job-build", "takeoff"),
    "jobs/saw-sheet.pdf": ("job-build", "job-orders"),
    "jobs/material-comparison": ("job-materials",),
    "jobs/returned-materials": ("job-materials",),
    "measures": ("measure",),
    "measures/draft": ("measure",),
    "measures/draft/publish": ("measure",),
    "measures/versions": ("measure-versions", "measure-version"),
    "measures/take-off": ("takeoff",),
    "quotes": ("quotes", "job-price"),
    "quotes/revisions": ("revise-quote", "revision"),
    "revisions": ("quotes", "revision"),
    "revisions/content": ("revision",),
    "revisions/send": ("revision",),
    "revisions/parties": ("revision",),
    "revisions/parties/link": ("party-link",),
    "revisions/parties/document": ("preview-pdf",),
    "questions": ("today", "revision"),
    "questions/reply": ("answer-question",),
    "quote-links": ("party-quote",),
    "quote-links/accept": ("party-quote",),
    "quote-links/decline": ("party-quote",),
    "quote-links/questions": ("party-quote",),
    "documents": ("revision", "kept-pdf"),
    "orders": ("orders", "order"),
    "orders/for-jobs": ("job-orders",),
    "orders/place": ("order",),
    "orders/cancel": ("order",),
    "orders/cancel-lines": ("order",),
    "orders/close": ("order",),
    "orders/decide-changes": ("order",),
    "orders/returns": ("order",),
    "orders/events": ("order",),
    "deliveries": ("deliveries", "delivery"),
    "deliveries/receipts": ("delivery",),
    "stock": ("stock",),
    "stock/remove": ("stock-item",),
    "stock/movements": ("stock-item",),
    "stock/reservations": ("stock-item",),
    "reservations": ("stock", "stock-item", "reservation"),
    "accounting/ledger": ("accounting",),
    "accounting/order-totals": ("accounting",),
    "accounting/quotes-and-acceptances": ("accounting",),
    "accounting/margins": ("accounting",),
    "accounting/period-locks": ("accounting",),
    "webhooks": ("webhooks", "webhook"),
    "webhooks/rotate-secret": ("webhook",),
    "webhooks/send-challenge": ("webhook",),
    "webhooks/send-test": ("webhook",),
    "webhooks/deliveries": ("webhook",),
    "webhooks/replay": ("webhook",),
}
FOR_MACHINES = {
    "audit-entries": "lets a program keep a copy of the trail, whose hashes prove that nothing was cut off",
    "openapi.json": "describes the API",
    "schemas": "describe documents",
    "take-offs": "computes without storing; the measure page does it while one types",
    "cutting-plans/cancel": "ends such a plan",
    "cutting-plans": "a plan alone, for other programs; the take-off page draws a job's",
    "orders/plan": "previews an order; the page creates a draft instead, which binds no one",
    "orders/document": "an order for another program",
    "orders/responses": "a reply for another program",
    "orders/despatches": "a despatch for another program",
}


def _name(address: str) -> str:
    fixed = [part.split(".<")[0] for part in address.split("/") if part and not part.startswith("<")]
    return "/".join(fixed)


def test_each_address_of_the_api_has_its_page_or_its_reason() -> None:
    there = {_name(case.address) for case in cases() if not case.address.startswith("supply/")}
    data = ON_PAGES.keys() | FOR_MACHINES.keys()
    assert there - data == set()
    assert data - there == set()


def test_each_of_these_pages_is_there() -> None:
    pages = {name for name in get_resolver().reverse_dict if isinstance(name, str)}
    assert {page for names in ON_PAGES.values() for page in names} <= pages
    assert all(re.match(r"[a-z]", why) for why in FOR_MACHINES.values())
