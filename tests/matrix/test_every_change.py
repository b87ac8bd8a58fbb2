"""Every address that changes something leaves one audit entry, and names the version it was made for or has a reason."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from django.urls import get_resolver

from tests.matrix.addresses import Case
from tests.matrix.calls import (
    CHANGING,
    FORMS,
    STEPS,
    SceneOf,
    call,
    entries_after,
    entry_count,
    open_form,
    stale,
    tasks_run,
)
from tests.matrix.changes import API, NOTHING_OF_A_BUSINESS
from tests.matrix.forms import BY_TASK, DRAFTS, OTHER_PAGES, PAGES, READ_ONLY

_SYSTEM = ["fencesystem.added", "fencesystem.version"]
# calls and forms that change several things, and the entries of those
SEVERAL = {
    "POST fence-systems": _SYSTEM,
    "POST imports": ["import.changed_rows", "import.applied"],
    "POST jobs": ["job.opened", "site.added"],
    "POST jobs/<str:ref>/copy": ["job.opened", "measure.saved"],
    "import-file": ["import.changed_rows", "import.applied"],
    "new-job": ["customer.added", "job.opened", "measure.started", "site.added"],
    "job-details": ["customer.changed", "site.changed"],
    "job-copy": ["job.opened", "measure.saved"],
    "revision": ["quote.changed", "quote.sent"],
    "prices": [
        "finish.added",
        "import.added_rows",
        "import.applied",
        "supplier.added",
        "supplierterms.added",
        *_SYSTEM,
    ],
    "new-fence-system": _SYSTEM,
}


def test_each_address_that_changes_something_is_called_or_has_a_reason() -> None:
    assert {(case.method, case.address) for case in CHANGING} == API.keys() | NOTHING_OF_A_BUSINESS.keys()
    assert not API.keys() & NOTHING_OF_A_BUSINESS.keys()


@pytest.mark.parametrize("case", STEPS, ids=str)
def test_a_change_by_the_api_leaves_an_entry(new_scene: SceneOf, case: Case) -> None:
    scene, name = new_scene(case.address), str(case)
    body = STEPS[case](scene, scene.client)
    before = entry_count(scene.business)
    with tasks_run(name in BY_TASK):
        answer = call(case, body, scene, **{"If-Match": "*"})
    assert answer.status_code < 300, answer.content.decode()[:300]
    check_entries(name, entries_after(scene.business, before))


@pytest.mark.parametrize("name", FORMS)
def test_a_change_by_a_page_leaves_an_entry(new_scene: SceneOf, name: str) -> None:
    scene = new_scene()
    path, entered, hidden = open_form(FORMS[name], scene)
    before = entry_count(scene.business)
    with tasks_run(name in BY_TASK):
        answer = scene.client.post(path, {**hidden, **entered})
    assert answer.status_code < 400, answer.content.decode()[:2000]
    if name not in DRAFTS:
        check_entries(name, entries_after(scene.business, before))


def check_entries(name: str, entries: list[tuple[str, str, str]]) -> None:
    """Check that there is one entry for each change: one, or those of ``SEVERAL``."""
    actions = sorted({action for action, _, _ in entries})
    assert actions == sorted(SEVERAL.get(name, actions[:1])), entries
    assert len(entries) == len(set(entries)), "an entry is there twice"
    assert name in SEVERAL or len(entries) == 1, entries


def test_each_page_is_called_or_has_a_reason() -> None:
    names = {name for name in get_resolver().reverse_dict if isinstance(name, str)}
    assert names == PAGES.keys() | OTHER_PAGES.keys() | READ_ONLY
    assert not PAGES.keys() & OTHER_PAGES.keys()


def test_only_services_write_audit_entries() -> None:
    interfaces = re.compile(r"(views|_api|/api/.*|tasks|admin|commands/.*|middleware)\.py$")
    writers = [
        str(path)
        for package in ("shared", "catalogue", "quotes")
        for path in Path(package).rglob("*.py")
        if interfaces.search(path.as_posix()) and re.search(r"\baudit_log\.record|\bAuditEntry\(", path.read_text())
    ]
    assert writers == []


CREATES, FACT = "creates a record", "states a fact, whatever was seen before"
REVOKES = "ends at once what may be in wrong hands; it never changes before"
SENDS = "sends something again and changes no record"

# changing calls that need no If-Match
CALLS_WITHOUT_VERSION: dict[str, str] = {
    "POST members": CREATES,
    "POST invitations": CREATES,
    "POST keys": CREATES,
    "DELETE keys/<str:ref>": REVOKES,
    **{
        f"POST {address}": CREATES
        for address in (
            "finishes", "components", "suppliers", "supplier-terms", "supplier-prices", "price-rules",
            "fence-systems", "customers",
            "customers/<str:ref>/sites", "jobs", "jobs/<str:ref>/copy", "jobs/<str:ref>/measures", "quotes", "webhooks",
            "quotes/<str:ref>/revisions", "orders", "orders/for-jobs", "stock", "suppliers/<str:ref>/keys", "supply/prices",
        )
    },
    "POST imports": "writes the values of the file; dry_run gives a preview",
    "POST cutting-plans/<str:ref>/cancel": "ends a calculation",
    "POST jobs/<str:ref>/events": CREATES,
    "POST jobs/<str:ref>/as-built": FACT,
    "POST jobs/<str:ref>/returned-materials": "adds each return to stock once",
    "POST deliveries/<str:ref>/receipts": FACT,
    "POST accounting/period-locks": "names the day itself; a lock only moves forward",
    "POST quote-links/<str:token>/accept": "names the digest of the document",
    "POST quote-links/<str:token>/decline": "declines the whole quote",
    "POST quote-links/<str:token>/questions": CREATES,
    "POST questions/<str:ref>/reply": "answers a question, which never changes, once",
    "POST revisions/<str:ref>/parties/<str:key>/link": "gives the party another link to the same document",
    "DELETE revisions/<str:ref>/parties/<str:key>/link": REVOKES,
    "DELETE suppliers/<str:ref>/keys/<str:api_key>": REVOKES,
    "POST webhooks/<str:ref>/send-challenge": SENDS,
    "POST webhooks/<str:ref>/send-test": SENDS,
    "POST webhooks/<str:ref>/replay": SENDS,
    "POST supply/orders/<str:ref>/responses": "states the supplier's response; the buyer decides about it",
    "POST supply/orders/<str:ref>/despatches": FACT,
    "POST supply/prices/bulk": "sets prices by day; each row is created or unchanged",
}  # fmt: skip

# changing forms without a version
FORMS_WITHOUT_VERSION: dict[str, str] = {
    **dict.fromkeys(
        (
            "members", "keys", "webhooks", "supplier-keys", "prices-new", "new-fence-system", "new-job", "job-copy",
            "job-note", "job-measure", "job-price", "job-orders", "stock",
        ),
        CREATES,
    ),
    "key": REVOKES,
    "supplier's key ended": REVOKES,
    "build-record": FACT,
    "accounting": "names the day itself; a lock only moves forward",
    "test-mail": SENDS,
    **dict.fromkeys(("build-ticks",), FACT),
    "letter-again": SENDS,
    "measure": "compares the draft itself: a conflict shows both versions and overwrites nothing",
    "prices": "loads the sample catalogue only where there is none",
    "import-file": "writes the values of the file, after a preview",
    "party-quote": "names the digest of the document",
    "party declined": "declines the whole quote",
    "party asked": CREATES,
}  # fmt: skip


def test_every_exception_names_a_call_or_form_that_exists() -> None:
    calls = {f"{method} {address}" for method, address in API}
    assert CALLS_WITHOUT_VERSION.keys() <= calls, CALLS_WITHOUT_VERSION.keys() - calls
    forms = FORMS.keys()
    assert FORMS_WITHOUT_VERSION.keys() <= forms, FORMS_WITHOUT_VERSION.keys() - forms


def test_the_contract_declares_if_match_for_the_same_calls() -> None:
    paths = json.loads(Path("docs/openapi.json").read_text())["paths"]
    for case in CHANGING:
        if (case.method, case.address) in NOTHING_OF_A_BUSINESS:
            continue
        address = "/api/v1/" + "".join(
            f"{{{part.partition('>')[0].rpartition(':')[2]}}}{part.partition('>')[2]}" if index else part
            for index, part in enumerate(case.address.split("<"))
        )
        operation = paths[address][case.method.lower()]
        names = {parameter["name"] for parameter in operation.get("parameters", ()) if parameter["in"] == "header"}
        needed = f"{case.method} {case.address}" not in CALLS_WITHOUT_VERSION
        assert ("If-Match" in names, {"412", "428"} <= operation["responses"].keys()) == (needed, needed), address


@pytest.mark.parametrize("case", [case for case in STEPS if str(case) not in CALLS_WITHOUT_VERSION], ids=str)
def test_a_call_on_an_old_version_changes_nothing(new_scene: SceneOf, case: Case) -> None:
    scene = new_scene(case.address)
    body = STEPS[case](scene, scene.client)
    before = entry_count(scene.business)
    for headers, status in (({}, 428), ({"If-Match": '"0.0"'}, 412)):
        assert call(case, body, scene, **headers).status_code == status
        assert entries_after(scene.business, before) == []


@pytest.mark.parametrize("name", [name for name in FORMS if name not in FORMS_WITHOUT_VERSION])
def test_a_form_on_an_old_version_changes_nothing(new_scene: SceneOf, name: str) -> None:
    scene = new_scene()
    path, entered, hidden = open_form(FORMS[name], scene)
    assert "version" in hidden
    before = entry_count(scene.business)
    for fields, text in (
        ({}, "does not state which version"),
        (stale(hidden), "has changed since you opened the page"),
    ):
        assert text in scene.client.post(path, {**fields, **entered}, follow=True).content.decode()
        assert entries_after(scene.business, before) == []
