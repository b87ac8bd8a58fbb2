"""Malicious requests, and the one answer that each of them gets."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from shared.business.roles import Scope
from shared.models import Business
from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller, draft_quote, estimator, open_job

__all__ = ["estimator"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("one_window")]
JSON = "application/json"


def pointers(problem: Any) -> set[str]:
    return {error["pointer"] for error in problem["errors"]}


@pytest.mark.parametrize("member", ["business", "ref", "version", "number", "created_at"])
def test_what_is_not_for_writing_is_named_and_stays(estimator: Caller, member: str) -> None:
    job, _ = open_job(estimator)
    before = estimator.get(f"jobs/{job}")
    refused = estimator.patch(f"jobs/{job}", {member: "mine"}, status=422)
    assert pointers(refused) == {f"#/{member}"}
    assert estimator.get(f"jobs/{job}") == before


def test_another_businesss_customer_in_our_job_is_as_one_that_is_not(
    estimator: Caller, cast: Cast, signed_in: Callable[..., Client]
) -> None:
    theirs = Caller(signed_in(cast.stranger)).post("customers", {"name": "Not Ours"})["ref"]
    data = []
    for ref in (theirs, "0" * 22):
        body = {"customer": ref, "new_site_address": {"address": "4 Reed Lane"}, "label": "Back fence"}
        data.append({**estimator.post("jobs", body, status=404), "instance": ""})
    assert data[0] == data[1]


@pytest.mark.parametrize(("size", "status"), [("1000000", 200), ("-1", 400), ("0", 400), ("abc", 400), ("1e3", 400)])
def test_a_page_is_as_long_as_it_may_be_and_no_nonsense(estimator: Caller, size: str, status: int) -> None:
    estimator.get(f"jobs?page_size={size}", status=status)


def test_a_cursor_with_one_letter_changed_is_refused(estimator: Caller) -> None:
    for _ in range(2):
        open_job(estimator)
    following = estimator.get("jobs?page_size=1")["next"].split("/api/v1/")[1]
    changed = following[:-1] + ("A" if following[-1] != "A" else "B")
    assert estimator.get(changed, status=400)["code"] == "invalid-cursor"


@pytest.mark.parametrize(
    "body",
    [b"[" * 10_000, b'{"name": 1e400}', b'{"name": NaN}', b'{"a":1,"a":2}', b'{"name":"\\ud800"}', b"\xef\xbb\xbf{}"],
)
def test_json_that_is_none_is_a_400_everywhere(estimator: Caller, body: bytes) -> None:
    for path in ("customers", "jobs", "quotes", "take-offs"):
        answer = estimator.client.post(f"/api/v1/{path}", body, JSON, headers={"Idempotency-Key": str(uuid4())})
        assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json"), path


def test_a_nul_in_a_text_is_pointed_at(estimator: Caller) -> None:
    assert pointers(estimator.post("customers", {"name": "Ada\x00"}, status=422)) == {"#/name"}


@pytest.mark.parametrize("price", ["1.1234567", "1,5", "£3", "1e9", "٣", "NaN", 3])
def test_a_price_that_is_none_is_pointed_at(estimator: Caller, price: object) -> None:
    extra = {"label": "Gate post", "quantity": "1", "net": price}
    job, kept = open_job(estimator)
    body = {"job": job, "measure": kept, "setup": {"extra_items": [extra]}}
    assert "#/setup/extra_items/0/net" in pointers(estimator.post("quotes", body, status=422))


@pytest.mark.parametrize("kind", ["text/plain", "application/xml", "multipart/form-data; boundary=x"])
def test_another_content_type_is_a_415(estimator: Caller, kind: str) -> None:
    assert estimator.client.generic("POST", "/api/v1/customers", "{}", content_type=kind).status_code == 415


def test_a_method_in_a_header_is_passed_over(estimator: Caller) -> None:
    job, _ = open_job(estimator)
    estimator.client.post(f"/api/v1/jobs/{job}", {}, JSON, headers={"X-HTTP-Method-Override": "DELETE"})
    estimator.client.get(f"/api/v1/jobs/{job}", headers={"X-HTTP-Method-Override": "DELETE"})
    estimator.get(f"jobs/{job}")


def test_an_idempotency_key_is_the_callers_own(estimator: Caller, cast: Cast, signed_in: Callable[..., Client]) -> None:
    job, kept = open_job(estimator)
    key: dict[str, Any] = {"Idempotency-Key": "one-key-for-both"}
    first = estimator.post("quotes", {"job": job, "measure": kept}, **key)
    assert estimator.post("quotes", {"job": job, "measure": kept}, **key) == first
    assert estimator.post("quotes", {"job": job, "measure": kept, "label": "x"}, status=422, **key)["code"] == (
        "idempotency-key-reused"
    )
    other = Caller(signed_in(cast.stranger)).post("quotes", {"job": job, "measure": kept}, status=404, **key)
    assert other["code"] == "not-found"


def test_a_read_only_key_writes_nothing_and_learns_the_missing_scope(key_client: Callable[..., Client]) -> None:
    refused = key_client(Scope.JOBS_READ).post("/api/v1/customers", {"name": "Ada"}, JSON)
    assert (refused.status_code, refused.json()["scope"]) == (403, Scope.JOBS_WRITE)


@pytest.mark.parametrize("asked", ["ordering=password", "fields=id", "expand=business.members", "format=api"])
def test_parameters_nobody_offers_are_named(estimator: Caller, asked: str) -> None:
    problem = estimator.get(f"jobs?{asked}", status=400)
    assert [error["parameter"] for error in problem["errors"]] == [asked.split("=")[0]]


def test_wildcards_in_a_search_stand_for_themselves(estimator: Caller) -> None:
    open_job(estimator)
    for asked in ("%25", "_____", "a" * 10_000 + "!"):
        answer = estimator.client.get(f"/api/v1/customers?q={asked}")
        assert answer.status_code == 400 or answer.json()["items"] == [], asked[:10]


def test_a_line_break_in_a_name_breaks_no_log_line(estimator: Caller, capfd: pytest.CaptureFixture[str]) -> None:
    estimator.client.get("/api/v1/jobs/x%0A2026-01-01 ERROR forged")
    for line in filter(None, capfd.readouterr().err.splitlines()):
        assert not line.startswith("2026-01-01 ERROR")


def test_a_suspended_business_reads_and_changes_nothing(estimator: Caller, business: Business) -> None:
    job, draft = draft_quote(estimator)
    Business.objects.filter(pk=business.pk).update(suspended_at="2026-01-01T00:00Z")
    assert estimator.get(f"jobs/{job}")["ref"] == job
    path = f"revisions/{draft['ref']}/send"
    assert estimator.post(path, {}, status=403)["code"] == "suspended"


def test_a_fault_of_ours_tells_the_requests_id_alone(settings: Any) -> None:
    settings.ROOT_URLCONF = "tests.flows.broken_urls"
    answer = Client(raise_request_exception=False).get("/api/v1/broken")
    data = json.loads(answer.content)
    assert (answer.status_code, data["code"]) == (500, "internal")
    assert answer["X-Request-Id"] in data["instance"]
    assert "secret detail" not in answer.content.decode()


def test_no_other_origin_is_let_in(estimator: Caller) -> None:
    answer = estimator.client.get("/api/v1/jobs", headers={"Origin": "https://evil.example"})
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_the_twenty_first_link_that_opens_nothing_has_to_wait(db: None) -> None:
    client = Client()
    statuses = [client.get(f"/api/v1/quote-links/{number:043}").status_code for number in range(21)]
    assert statuses == [410] * 20 + [429]
    # declining by guessing is counted with reading by guessing
    refused = client.post(f"/api/v1/quote-links/{'x' * 43}/decline", {"name": "Ada"}, JSON)
    assert (refused.status_code, refused.json()["code"]) == (429, "quota-exceeded")
    assert int(refused["Retry-After"]) >= 1
