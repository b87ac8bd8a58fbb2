"""Calls of the changing addresses: one API call or one page form in a scene, and the audit entries it leaves."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any
from uuid import uuid4

from django.test import TestCase

from shared.database.audit_log import AuditEntry
from shared.models import Business
from tests.forms import hidden_in
from tests.matrix.addresses import Case, cases
from tests.matrix.changes import API, Body, Scene
from tests.matrix.forms import MORE_FORMS, PAGES, FormStep

CHANGING = [case for case in cases() if case.method != "GET"]
STEPS = {case: API[case.method, case.address] for case in CHANGING if (case.method, case.address) in API}
"""The changing calls, each with what has to be there first."""
SceneOf = Callable[..., Scene]
FORMS = {**PAGES, **MORE_FORMS}


def call(case: Case, body: Body, scene: Scene, **headers: str) -> Any:
    """Call an address of the API with a fresh Idempotency-Key. A body of text is a file of finishes."""
    ref = (
        scene.refs[case.holder] if case.holder else scene.inner.get("token", "") if case.stem == "quote-links/" else ""
    )
    path, headers = case.path(ref, scene.inner), {"Idempotency-Key": str(uuid4()), **headers}
    if isinstance(body, str):
        return scene.client.generic(case.method, f"{path}?kind=finishes", body, "text/csv", headers=headers)
    sent = json.dumps(body) if body is not None else ""
    return scene.client.generic(case.method, path, sent, "application/json", headers=headers)


def open_form(step: FormStep, scene: Scene) -> tuple[str, dict[str, Any], dict[str, str]]:
    """Open the page of a form. Return the address of the form, its entries, and the version that the page shows."""
    path, entered, *pages = step(scene)
    shown = scene.client.get(pages[0] if pages else path)
    hidden = hidden_in(shown.content.decode(), path) if shown.status_code == 200 else {}
    return path, entered, hidden


@contextmanager
def tasks_run(runs: bool) -> Iterator[None]:
    """Run the tasks that the calls inside start, if ``runs``."""
    if not runs:
        yield
        return
    with TestCase.captureOnCommitCallbacks(execute=True):
        yield


def entries_after(business: Business, count: int) -> list[tuple[str, str, str]]:
    """Return action, subject and detail of the audit entries of a business after the first ``count``."""
    rows = AuditEntry.objects.filter(business=business).order_by("number")
    return [(entry.action, entry.subject, str(entry.detail)) for entry in rows[count:]]


def entry_count(business: Business) -> int:
    """Return how many audit entries a business has."""
    return AuditEntry.objects.filter(business=business).count()


def stale(hidden: Mapping[str, str]) -> dict[str, str]:
    """Return the hidden fields of a form as a page had them that was opened before the last change."""
    return {**hidden, "version": f"{hidden['version'].partition('.')[0]}.0"}
