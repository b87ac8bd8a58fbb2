"""Every address that changes something of a business, by API and by page, leaves an entry in its audit trail."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from django.test import Client
from django.urls import get_resolver

from shared.database.audit_log import AuditEntry
from tests.conftest import Cast
from tests.forms import hidden_in
from tests.matrix.addresses import Case, cases
from tests.matrix.changes import API, NOTHING_OF_A_BUSINESS, Scene, Step
from tests.matrix.forms import MORE_FORMS, OTHER_PAGES, PAGES, READ_ONLY, FormStep
from tests.matrix.world import World, world_of

CHANGING = [case for case in cases() if case.method != "GET"]


def test_each_address_that_changes_something_is_called_or_says_why_not() -> None:
    there = {(case.method, case.address) for case in CHANGING}
    assert there == API.keys() | NOTHING_OF_A_BUSINESS.keys()
    assert not API.keys() & NOTHING_OF_A_BUSINESS.keys()


@pytest.fixture
def world(cast: Cast, settings: Any, monkeypatch: pytest.MonkeyPatch) -> World:
    settings.RATE_QUOTA, settings.WEBHOOKS_TO_LOOPBACK = 1_000_000, True
    return world_of(cast.business, cast.supplier)


@pytest.mark.django_db
def test_every_change_by_the_api_leaves_an_entry(
    cast: Cast, world: World, owner_client: Client, key_client: Callable[..., Client]
) -> None:
    theirs, wrong = key_client(supplier=cast.supplier), list[str]()
    for case in CHANGING:
        step = API.get((case.method, case.address))
        if step is None:
            continue
        client = theirs if case.address.startswith("supply/") else owner_client
        with transaction.atomic():
            wrong += _tried(case, step, Scene(cast.business, world, dict(world.refs), dict(world.inner)), client)
            transaction.set_rollback(True)
    assert not wrong, "\n".join(wrong)


def _tried(case: Case, step: Step, scene: Scene, client: Client) -> Iterator[str]:
    named = f"{case.method} {case.address}"
    try:
        with transaction.atomic():
            body = step(scene, client)
    except Exception as fault:  # noqa: BLE001 - every case is tried, and all that fail are named together
        yield f"{named}: not made ready: {fault!r}"
        return
    entries = AuditEntry.objects.filter(business=scene.business)
    before = entries.count()
    ref = scene.refs[case.holder] if case.holder else scene.inner.get("token", "") if case.stem == "links/" else ""
    answer = client.generic(
        case.method,
        case.path(ref, scene.inner),
        json.dumps(body) if body is not None else "",
        content_type="application/json",
        headers={"If-Match": "*", "Idempotency-Key": str(uuid4())},
    )
    if answer.status_code >= 300:
        yield f"{named}: {answer.status_code} {answer.content.decode()[:300]}"
        return
    new = [(entry.action, entry.subject) for entry in entries.order_by("number")[before:]]
    if not new:
        yield f"{named}: no entry"
    if len(new) != len(set(new)):
        yield f"{named}: twice the same entry: {new}"


def test_each_page_is_called_or_says_why_not() -> None:
    named = {name for name in get_resolver().reverse_dict if isinstance(name, str)}
    assert named - PAGES.keys() - OTHER_PAGES.keys() - READ_ONLY == set()


@pytest.mark.django_db
def test_every_change_by_a_page_leaves_an_entry(cast: Cast, world: World, owner_client: Client) -> None:
    wrong = list[str]()
    for name, step in {**PAGES, **MORE_FORMS}.items():
        with transaction.atomic():
            scene = Scene(cast.business, world, dict(world.refs), dict(world.inner))
            wrong += _sent(name, step, scene, owner_client)
            transaction.set_rollback(True)
    assert not wrong, "\n".join(wrong)


def _sent(name: str, step: FormStep, scene: Scene, client: Client) -> Iterator[str]:
    try:
        with transaction.atomic():
            path, form, *pages = step(scene)
    except Exception as fault:  # noqa: BLE001 - as above
        yield f"{name}: not made ready: {fault!r}"
        return
    entries = AuditEntry.objects.filter(business=scene.business)
    before = entries.count()
    shown = client.get(pages[0] if pages else path)
    answer = client.post(path, {**(hidden_in(shown.content.decode()) if shown.status_code == 200 else {}), **form})
    new = [(entry.action, entry.subject) for entry in entries.order_by("number")[before:]]
    if answer.status_code >= 400 or not new:
        yield f"{name}: {answer.status_code}, no entry"
    if len(new) != len(set(new)):
        yield f"{name}: twice the same entry: {new}"
