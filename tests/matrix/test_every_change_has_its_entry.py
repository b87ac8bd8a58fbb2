"""Every address that changes something of a business, by API and by page, leaves exactly one audit entry."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver

from tests.conftest import Cast
from tests.matrix.addresses import Case
from tests.matrix.calls import CHANGING, call, entries_after, entry_count, open_form, scene_of, tasks_run
from tests.matrix.changes import API, NOTHING_OF_A_BUSINESS, Scene, Step
from tests.matrix.forms import BY_TASK, DRAFTS, MORE_FORMS, OTHER_PAGES, PAGES, READ_ONLY, FormStep
from tests.matrix.world import World, world_of

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


@pytest.fixture
def world(cast: Cast, settings: Any, monkeypatch: pytest.MonkeyPatch) -> World:
    settings.RATE_QUOTA, settings.WEBHOOKS_TO_LOOPBACK = 1_000_000, True
    return world_of(cast.business, cast.supplier)


@pytest.mark.django_db
def test_every_change_by_the_api_leaves_an_entry(
    cast: Cast, world: World, owner_client: Client, key_client: Callable[..., Client]
) -> None:
    supplier_client, wrong = key_client(supplier=cast.supplier), list[str]()
    for case in CHANGING:
        step = API.get((case.method, case.address))
        if step is None:
            continue
        client = supplier_client if case.address.startswith("supply/") else owner_client
        with scene_of(cast, world, client) as scene:
            wrong += _errors_of_call(case, step, scene)
    assert not wrong, "\n".join(wrong)


def _errors_of_call(case: Case, step: Step, scene: Scene) -> Iterator[str]:
    name = f"{case.method} {case.address}"
    try:
        with transaction.atomic():
            body = step(scene, scene.client)
    except Exception as fault:  # noqa: BLE001 - every case is tried, and all that fail are named together
        yield f"{name}: not prepared: {fault!r}"
        return
    before = entry_count(scene.business)
    with tasks_run(name in BY_TASK):
        answer = call(case, body, scene, **{"If-Match": "*"})
    if answer.status_code >= 300:
        yield f"{name}: {answer.status_code} {answer.content.decode()[:300]}"
        return
    yield from _errors_of_entries(name, entries_after(scene.business, before))


def _errors_of_entries(name: str, entries: list[tuple[str, str, str]]) -> Iterator[str]:
    actions = sorted({action for action, _, _ in entries})
    if actions != sorted(SEVERAL.get(name, actions[:1])) or len(entries) != len(set(entries)):
        yield f"{name}: not one entry for each change: {entries}"
    if name not in SEVERAL and len(entries) != 1:
        yield f"{name}: {len(entries)} entries"


def test_each_page_is_called_or_has_a_reason() -> None:
    names = {name for name in get_resolver().reverse_dict if isinstance(name, str)}
    assert names == PAGES.keys() | OTHER_PAGES.keys() | READ_ONLY
    assert not PAGES.keys() & OTHER_PAGES.keys()


@pytest.mark.django_db
def test_every_change_by_a_page_leaves_an_entry(cast: Cast, world: World, owner_client: Client) -> None:
    wrong = list[str]()
    for name, step in {**PAGES, **MORE_FORMS}.items():
        with scene_of(cast, world, owner_client) as scene:
            wrong += _errors_of_form(name, step, scene)
    assert not wrong, "\n".join(wrong)


def _errors_of_form(name: str, step: FormStep, scene: Scene) -> Iterator[str]:
    try:
        with transaction.atomic():
            path, entered, hidden = open_form(step, scene)
    except Exception as fault:  # noqa: BLE001 - as above
        yield f"{name}: not prepared: {fault!r}"
        return
    before = entry_count(scene.business)
    with tasks_run(name in BY_TASK):
        answer = scene.client.post(path, {**hidden, **entered})
    if answer.status_code >= 400:
        yield f"{name}: {answer.status_code} {answer.content.decode()[:2000]}"
        return
    if name in DRAFTS:
        return
    yield from _errors_of_entries(name, entries_after(scene.business, before))


def test_only_services_write_audit_entries() -> None:
    interfaces = re.compile(r"(views|_api|/api/.*|tasks|admin|commands/.*|middleware)\.py$")
    writers = [
        str(path)
        for package in ("shared", "catalogue", "quotes")
        for path in Path(package).rglob("*.py")
        if interfaces.search(path.as_posix()) and re.search(r"\baudit_log\.record|\bAuditEntry\(", path.read_text())
    ]
    assert writers == []
