"""The order list and the saw sheet: made once by a job, kept with their digest, and without money for the saw."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable
from typing import Any

import pypdf
import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from pytest_django import DjangoCaptureOnCommitCallbacks

from quotes.documents.kinds.order_list import ORDER_LIST
from quotes.documents.kinds.saw_sheet import SAW_SHEET
from quotes.documents.models import Document
from quotes.documents.services import stored_document
from quotes.purchasing import order_lists, services
from quotes.purchasing.saw_sheets import bought_for, last_agreed, sawn
from shared.business.roles import Scope
from shared.models import Business
from tests.conftest import Cast
from tests.quotes.purchasing.cast import agreed_job, drafted, now, placed
from tests.quotes.quoting.cast import actor_of, new_job

pytestmark = pytest.mark.django_db


def rows(client: Client, **asked: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("/api/v1/documents", asked).json()["items"]
    return found


def test_an_order_list_is_wanted_by_placing_and_is_polled_until_it_is_made(
    yard: Business, owner_client: Client, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        order = placed(yard)
        [wanted] = rows(owner_client, order=order.ref)
        assert (wanted["kind"], wanted["status"], wanted["pdf_url"]) == ("order_list", "queued", None)
    [made] = rows(owner_client, order=order.ref)
    assert (made["ref"], made["status"]) == (wanted["ref"], "ready")
    pdf = owner_client.get(made["pdf_url"]).content
    assert (hashlib.sha256(pdf).hexdigest(), len(pdf)) == (made["sha256"], made["size_bytes"])


def test_an_unchanged_order_is_answered_as_it_was_kept_and_a_changed_one_anew(
    yard: Business, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        order = placed(yard)
    kept_list = bytes(Document.objects.of(yard).get(kind=ORDER_LIST.code).pdf or b"")
    with monkeypatch.context() as watched:
        watched.setattr(order_lists, "order_list_pdf", lambda *args: pytest.fail("it was set again"))
        assert order_lists.order_pdf(now(order)) == kept_list
    services.cancel_outstanding(order=order, actor=actor_of(yard), positions=[1], reason="found some")
    assert order_lists.order_pdf(now(order)) != kept_list
    assert Document.objects.of(yard).get(kind=ORDER_LIST.code).pdf == kept_list


def test_an_order_is_listed_as_it_was_placed_however_late_the_job_runs(yard: Business) -> None:
    order = placed(yard)
    services.cancel_outstanding(order=order, actor=actor_of(yard), positions=[1], reason="found some")
    [document] = Document.objects.of(yard).filter(kind=ORDER_LIST.code)
    lines = [line for group in json.loads(document.content)["sheet"]["groups"] for line in group["lines"]]
    assert sorted(line["quantity"].split()[0] for line in lines) == ["10", "500"]


def test_a_saw_sheet_is_made_when_a_job_is_agreed_and_stays_as_the_crew_first_got_it(
    yard: Business,
    cast: Cast,
    signed_in: Callable[..., Client],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        job = agreed_job(yard, 11300)
    crew = signed_in(cast.crew)
    [made] = rows(crew, kind="saw_sheet")
    assert made["status"] == "ready"
    yard.name = "Renamed since"
    yard.save()
    answer = crew.get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf").content
    assert hashlib.sha256(answer).hexdigest() == made["sha256"]
    assert crew.get(made["pdf_url"]).content == answer


def test_a_saw_sheet_nobody_made_yet_is_made_and_kept_when_it_is_asked_for(yard: Business) -> None:
    revision = last_agreed(agreed_job(yard, 11300))
    Document.objects.of(yard).filter(kind=SAW_SHEET.code).delete()
    first = stored_document(revision=revision, kind=SAW_SHEET)
    [row] = Document.objects.of(yard).filter(kind=SAW_SHEET.code)
    assert (row.state, bytes(row.pdf or b"")) == ("ready", first)


def test_the_crew_sees_no_order_list(
    yard: Business, cast: Cast, signed_in: Callable[..., Client], key_client: Callable[..., Client]
) -> None:
    order = placed(yard)
    assert rows(signed_in(cast.crew), order=order.ref) == []
    assert rows(key_client(Scope.JOBS_READ, Scope.DOCUMENTS_READ), order=order.ref) != []


def test_a_document_is_of_a_revision_or_of_a_subject_and_one_of_each_kind(yard: Business) -> None:
    order = drafted(yard)
    Document.objects.of(yard).create(kind=ORDER_LIST.code, subject=order.ref)
    for subject in (order.ref, ""):
        with pytest.raises(IntegrityError), transaction.atomic():
            Document.objects.of(yard).create(kind=ORDER_LIST.code, subject=subject)


def test_the_crew_reads_every_bar_of_an_agreed_job_and_no_money(
    yard: Business, cast: Cast, signed_in: Callable[..., Client]
) -> None:
    job = agreed_job(yard, 11300)
    answer = signed_in(cast.crew).get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf")
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    text = "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages)
    cuttings = sawn(bought_for(last_agreed(job)))
    assert cuttings
    for length in {piece.length for item in cuttings for bar in item.bars for piece in bar.pieces}:
        assert str(length) in text
    places = {piece.used_at for item in cuttings if item.role == "rail" for bar in item.bars for piece in bar.pieces}
    assert {"A-1 bottom", "A-1 top"} <= places
    assert "A-1 top" in text
    assert job.number in text
    assert yard.currency not in text


def test_nothing_is_cut_for_what_is_not_agreed(yard: Business, owner_client: Client) -> None:
    job, _ = new_job(yard)
    answer = owner_client.get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf")
    assert (answer.status_code, answer.json()["code"]) == (409, "conflict")


def test_a_stranger_finds_no_such_job(yard: Business, cast: Cast, signed_in: Callable[..., Client]) -> None:
    job, _ = new_job(yard)
    assert signed_in(cast.stranger).get(f"/api/v1/jobs/{job.ref}/saw-sheet.pdf").status_code == 404
