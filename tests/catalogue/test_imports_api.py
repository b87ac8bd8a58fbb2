"""Tests of spreadsheets through the API: preview, import after the request, status, export."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from catalogue.models import Import, SupplierPrice
from catalogue.spreadsheets import import_jobs
from catalogue.tasks import import_file
from shared.background.outbox import Event
from shared.business.actors import SYSTEM
from shared.business.models import Business
from shared.database.audit_log import AuditEntry
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
API = "/api/v1"
CaptureCommits = Callable[..., Any]


def sheet(price: str = "17.00") -> bytes:
    day = (timezone.localdate() + timedelta(days=1)).isoformat()
    return f"supplier,sku,price,valid_from\nostrel,HG-1,{price},{day}\n".encode()


def post(client: Client, content: bytes, query: str, content_type: str = "text/csv") -> Any:
    return client.post(f"{API}/imports?{query}", content, content_type=content_type)


def test_a_trial_answers_what_the_file_would_do_and_writes_nothing(owner_client: Client, stocked: Business) -> None:
    entries = AuditEntry.objects.count()
    answer = post(owner_client, sheet(), "kind=supplier_prices&dry_run=true")
    assert answer.status_code == 200
    assert (answer.json()["added"], answer.json()["rejected"]) == (1, 0)
    assert (Import.objects.of(stocked).count(), Event.objects.count(), AuditEntry.objects.count()) == (0, 0, entries)


def test_a_file_is_taken_in_after_the_request_and_tells_how_far_it_is(
    owner_client: Client, stocked: Business, django_capture_on_commit_callbacks: CaptureCommits
) -> None:
    asked = post(owner_client, sheet(), "kind=supplier_prices&file_name=november.csv")
    assert (asked.status_code, asked.json()["status"]) == (202, "waiting")
    with django_capture_on_commit_callbacks(execute=True):
        asked = post(owner_client, sheet(), "kind=supplier_prices&file_name=november.csv")
    data = owner_client.get(asked["Location"]).json()
    assert (data["status"], data["rows_done"], data["rows_total"], data["report"]["added"]) == ("done", 1, 1, 1)
    assert SupplierPrice.objects.of(stocked).filter(component__sku="HG-1", supplier__code="ostrel").count() == 2
    assert AuditEntry.objects.filter(business=stocked, actor_name="Olive", action="import.applied").count() == 1


def test_the_same_job_run_twice_takes_the_file_in_once(owner_client: Client, stocked: Business) -> None:
    post(owner_client, sheet(), "kind=supplier_prices")
    event = Event.objects.get(kind=import_jobs.ASKED)
    for _ in range(2):
        finish = import_file(event)
        if finish is not None:
            finish()
    assert SupplierPrice.objects.of(stocked).filter(component__sku="HG-1", supplier__code="ostrel").count() == 2
    assert AuditEntry.objects.filter(business=stocked, action="import.applied", actor_name="Olive").count() == 1


def test_a_refused_row_keeps_everything_out_and_says_where(
    owner_client: Client, stocked: Business, django_capture_on_commit_callbacks: CaptureCommits
) -> None:
    offers = SupplierPrice.objects.of(stocked).count()
    with django_capture_on_commit_callbacks(execute=True):
        asked = post(owner_client, sheet() + b"ostrel,NOPE,1.00,2099-01-01\n", "kind=supplier_prices")
    data = owner_client.get(asked["Location"]).json()
    assert data["status"] == "rejected"
    assert data["report"]["errors"] == [{"row": 3, "column": "sku", "reason": "There is no component 'NOPE'."}]
    assert SupplierPrice.objects.of(stocked).count() == offers


def test_what_changed_since_the_plan_is_looked_at_again(owner_client: Client, stocked: Business) -> None:
    post(owner_client, sheet(), "kind=supplier_prices")
    row = Import.objects.of(stocked).get()
    plan = import_jobs.prepare(row)
    day = timezone.localdate() + timedelta(days=1)
    old = SupplierPrice.objects.of(stocked).get(component__sku="HG-1", supplier__code="ostrel")
    SupplierPrice.objects.of(stocked).create(component=old.component, supplier=old.supplier, price="99", valid_from=day)
    done = import_jobs.finish(row, plan, SYSTEM)
    # planned as an addition, it is a change of what came in between
    assert (done.report["added"], done.report["changed"]) == (0, 1)


@pytest.mark.parametrize(
    ("content", "query", "content_type", "status"),
    [
        (b"sku,colour\n", "kind=components", "text/csv", 422),
        (b"MZ\x90", "kind=components", "application/octet-stream", 422),
        (b"x" * 10_200_000, "kind=components", "text/csv", 413),
        (b"sku\n", "kind=gates", "text/csv", 400),
        (b"sku\n", "kind=components&also=1", "text/csv", 400),
        (b"<x/>", "kind=components", "text/xml", 415),
    ],
)
def test_what_is_no_sheet_is_a_problem_at_once(
    owner_client: Client, business: Business, content: bytes, query: str, content_type: str, status: int
) -> None:
    answer = post(owner_client, content, query, content_type)
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert not Import.objects.of(business).exists()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_sheet_is_fetched_and_tried_again_without_a_change(
    owner_client: Client, stocked: Business, form: str
) -> None:
    file = owner_client.get(f"{API}/exports/price_rules.{form}")
    assert 'filename="price_rules.' in file["Content-Disposition"]
    content = b"".join(file.streaming_content)  # type: ignore[attr-defined]  # a streamed answer
    data = post(owner_client, content, "kind=price_rules&dry_run=true", "application/octet-stream").json()
    assert (data["added"], data["changed"], data["rejected"], data["unchanged"]) == (0, 0, 0, 77)


def test_price_rules_come_in_and_go_out_for_the_owner_alone(
    cast: Cast, signed_in: Callable[..., Client], stocked: Business
) -> None:
    estimator = signed_in(cast.estimator)
    content = b"kind,applies_to,valid_from\n"
    assert post(estimator, content, "kind=price_rules&dry_run=true").status_code == 403
    assert post(estimator, b"sku,name\n", "kind=components&dry_run=true").status_code == 200
    assert estimator.get(f"{API}/exports/price_rules.csv").status_code == 200
    assert signed_in(cast.crew).get(f"{API}/exports/price_rules.csv").status_code == 403
    assert owner_404(signed_in(cast.owner))


def owner_404(client: Client) -> bool:
    """Sheets that do not exist are not found."""
    return {client.get(f"{API}/exports/{name}").status_code for name in ("gates.csv", "supplier_prices.doc")} == {404}
