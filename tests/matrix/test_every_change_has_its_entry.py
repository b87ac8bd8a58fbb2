"""Every address that changes something of a business, by API and by page, leaves exactly one audit entry."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.urls import get_resolver

from tests.matrix.addresses import Case
from tests.matrix.calls import CHANGING, FORMS, STEPS, SceneOf, call, entries_after, entry_count, open_form, tasks_run
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
