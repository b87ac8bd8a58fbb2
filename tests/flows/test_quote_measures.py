"""Customers, jobs and measures by HTTP: drafts are kept, versions never change, and each role changes what it may."""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller, draft_quote, estimator, measure, open_job

pytestmark = pytest.mark.django_db


__all__ = ["estimator"]


def test_a_measure_keeps_every_version_it_had(estimator: Caller) -> None:
    _, kept = open_job(estimator, measure(12000))
    estimator.put(f"measures/{kept}", measure(14400))
    estimator.put(f"measures/{kept}", measure(14400))  # the same again is the same version
    versions = estimator.get(f"measures/{kept}/versions")["items"]
    assert [row["number"] for row in versions] == [2, 1]
    first = estimator.get(f"measures/{kept}/versions/1")
    assert first["document"]["runs"][0]["length_mm"] == 12000
    assert estimator.get(f"measures/{kept}")["latest_version"] == 2


def test_an_invalid_measure_is_refused_whole_and_can_be_kept_as_a_draft(estimator: Caller) -> None:
    _, kept = open_job(estimator, measure(12000))
    broken = measure(12000)
    broken["runs"][0]["length_mm"] = -1
    broken["colour"] = "red"
    problem = estimator.put(f"measures/{kept}", broken, status=422)
    assert {error["pointer"] for error in problem["errors"]} >= {"#/runs/0/length_mm", "#/colour"}
    text = json.dumps(broken, indent=3)
    draft = estimator.put(f"measures/{kept}/draft", {"content": text})
    assert draft["draft"] == text
    assert {fault["pointer"] for fault in draft["draft_errors"]} >= {"/runs/0/length_mm", "/colour"}
    assert estimator.get(f"measures/{kept}")["latest_version"] == 1
    estimator.put(f"measures/{kept}/draft", {"content": "{not json yet"})
    assert estimator.get(f"measures/{kept}")["draft"] == "{not json yet"
    estimator.post(f"measures/{kept}/draft/publish", status=422)
    estimator.put(f"measures/{kept}/draft", {"content": json.dumps(measure(9600))})
    assert estimator.get(f"measures/{kept}")["draft_errors"] == []
    adopted = estimator.post(f"measures/{kept}/draft/publish", status=200)
    assert (adopted["latest_version"], adopted["draft"]) == (2, "")


def test_two_who_change_one_measure_do_not_overwrite_each_other(estimator: Caller) -> None:
    _, kept = open_job(estimator, measure(12000))
    seen = estimator.etag(f"measures/{kept}")
    estimator.put(f"measures/{kept}", measure(14400))
    path, body, kind = f"/api/v1/measures/{kept}", json.dumps(measure(9600)), "application/json"
    late = estimator.client.put(path, body, content_type=kind, headers={"If-Match": seen})
    none = estimator.client.put(path, body, content_type=kind)
    assert (late.status_code, none.status_code) == (412, 428)


def test_a_takeoff_is_given_without_storing_anything(estimator: Caller) -> None:
    before = estimator.get("jobs")
    document = estimator.post("take-offs", {"measure": measure(12000)}, status=200)
    assert document["schema"] == "takeoff-2"
    assert len(document["runs"][0]["bays"]) == 6  # 12000 in whole bays of at most 2300 or so, evenly
    for nobodys, code in (("no-such", "system.unknown"), ("no\x00such", "json.character")):
        problem = estimator.post("take-offs", {"measure": {**measure(12000), "system": nobodys}}, status=422)
        assert problem["errors"][0]["code"] == code
    bad = measure(12000)
    bad["runs"][0]["length_mm"] = "12000"
    problem = estimator.post("take-offs", {"measure": bad}, status=422)
    assert problem["errors"][0]["pointer"] == "#/measure/runs/0/length_mm"
    problem = estimator.post("take-offs", {"measure": bad, "system": {"schema": "system-2"}}, status=422)
    pointers = {error["pointer"] for error in problem["errors"]}  # of both documents at once
    assert {"#/measure/runs/0/length_mm", "#/system/pitch_mm"} <= pointers
    assert estimator.get("jobs") == before


def test_a_stored_takeoff_answers_with_its_digest_until_the_measure_changes(estimator: Caller) -> None:
    _, kept = open_job(estimator, measure(12000))
    first = estimator.client.get(f"/api/v1/measures/{kept}/take-off")
    again = estimator.client.get(f"/api/v1/measures/{kept}/take-off", headers={"If-None-Match": first.headers["ETag"]})
    assert (first.status_code, again.status_code, again.content) == (200, 304, b"")
    estimator.put(f"measures/{kept}", measure(14400))
    assert estimator.client.get(f"/api/v1/measures/{kept}/take-off").headers["ETag"] != first.headers["ETag"]
    assert estimator.client.get(f"/api/v1/measures/{kept}/take-off?version=1").headers["ETag"] == first.headers["ETag"]


def test_a_copied_job_has_the_measures_and_none_of_the_history(estimator: Caller) -> None:
    job, _ = open_job(estimator, measure(12000))
    copy = estimator.post(f"jobs/{job}/copy", {"label": "Next plot"})
    assert (copy["copied_from"], copy["number"], copy["label"]) == (job, "J0002", "Next plot")
    kept = estimator.get(f"jobs/{copy['ref']}/measures")["items"]
    assert [row["latest_version"] for row in kept] == [1]
    assert "quote" not in {
        event["type"].partition(".")[0] for event in estimator.get(f"jobs/{copy['ref']}/events")["items"]
    }


def test_a_job_goes_only_where_its_state_allows(estimator: Caller) -> None:
    job, _ = open_job(estimator)
    problem = estimator.post(f"jobs/{job}/status", {"status": "closed"}, status=409)
    assert problem["detail"] == "A job that is open can go to: accepted, cancelled."
    assert estimator.post(f"jobs/{job}/status", {"status": "cancelled"}, status=200)["status"] == "cancelled"


def test_lists_are_filtered_by_what_is_documented_and_nothing_else(estimator: Caller) -> None:
    open_job(estimator)
    assert len(estimator.get("jobs?status=open&q=reed")["items"]) == 1
    assert estimator.get("jobs?q=100%25")["items"] == []  # % is a letter like any other
    estimator.get("jobs?status=lost", status=400)
    estimator.get("jobs?ordering=password", status=400)
    assert len(estimator.get("customers?q=quill")["items"]) == 1


@pytest.mark.parametrize("path", ["jobs", "customers", "revisions", "quotes", "questions"])
def test_a_list_costs_the_same_queries_however_long_it_is(
    estimator: Caller, path: str, django_assert_max_num_queries: Any
) -> None:
    for _ in range(3):
        job, kept = open_job(estimator)
        estimator.post("quotes", {"job": job, "measure": kept})
    estimator.get(path)
    with django_assert_max_num_queries(9):  # session, member, throttle, and at most three of the list itself
        assert "items" in estimator.get(f"{path}?page_size=200")


def test_another_business_finds_nothing_of_ours(estimator: Caller, cast: Cast, signed_in: Any) -> None:
    job, kept = open_job(estimator)
    draft = estimator.post("quotes", {"job": job, "measure": kept})
    theirs = Caller(signed_in(cast.stranger))
    for path in (f"jobs/{job}", f"measures/{kept}", f"revisions/{draft['ref']}", f"jobs/{job}/events"):
        ours, nothing = theirs.get(path, status=404), theirs.get(f"jobs/{'x' * 22}", status=404)
        assert {**ours, "instance": ""} == {**nothing, "instance": ""}
    body = {"job": job, "measure": kept}
    theirs.post("quotes", body, status=404)


ROLES: dict[str, tuple[int, int, int, int]] = {
    # path: owner, estimator, crew, bookkeeper
    "customers": (200, 200, 200, 200),
    "jobs": (200, 200, 200, 200),
    "jobs/{job}": (200, 200, 200, 200),
    "jobs/{job}/events": (200, 200, 200, 200),
    "jobs/{job}/measures": (200, 200, 403, 403),
    "jobs/{job}/as-built": (200, 200, 200, 403),
    "jobs/{job}/set-out": (409, 409, 409, 403),
    "jobs/{job}/material-comparison": (409, 409, 403, 403),
    "measures/{measure}": (200, 200, 403, 403),
    "measures/{measure}/take-off": (200, 200, 403, 403),
    "quotes": (200, 200, 403, 200),
    "revisions": (200, 200, 403, 200),
    "revisions/{revision}": (200, 200, 403, 200),
    "revisions/{revision}/content": (200, 200, 403, 200),
    "questions": (200, 200, 403, 200),
}


def test_each_role_reads_what_it_may_and_no_more(estimator: Caller, cast: Cast, signed_in: Any) -> None:
    job, kept = open_job(estimator)
    named = {"job": job, "measure": kept, "revision": estimator.post("quotes", {"job": job, "measure": kept})["ref"]}
    people = (cast.owner, cast.estimator, cast.crew, cast.bookkeeper)
    for path, statuses in ROLES.items():
        found = tuple(signed_in(person).get(f"/api/v1/{path.format(**named)}").status_code for person in people)
        assert found == statuses, path


def test_the_bookkeeper_reads_prices_without_costs(estimator: Caller, cast: Cast, signed_in: Any) -> None:
    job, kept = open_job(estimator)
    ref = estimator.post("quotes", {"job": job, "measure": kept})["ref"]
    path = f"/api/v1/revisions/{ref}/content"
    mine, theirs = (signed_in(person).get(path).content.decode() for person in (cast.owner, cast.bookkeeper))
    for secret in ('"cost"', '"costing"', '"calculation"', '"buying"', "Ostrel"):
        assert secret in mine
        assert secret not in theirs


WRITES: dict[tuple[str, str], tuple[int, int, int]] = {
    # what the estimator, the crew and the bookkeeper are answered for an empty body: 403 is the role's own limit,
    # anything else got past it (422 the body is looked at, 409 the state, 400 a key is missing, 428 If-Match is)
    ("POST", "customers"): (422, 403, 403),
    ("POST", "jobs"): (422, 403, 403),
    ("PATCH", "jobs/{job}"): (428, 403, 403),
    ("POST", "jobs/{job}/status"): (422, 403, 403),
    ("POST", "jobs/{job}/events"): (422, 403, 403),
    ("POST", "jobs/{job}/measures"): (201, 403, 403),
    ("POST", "jobs/{job}/as-built"): (422, 422, 403),
    ("POST", "take-offs"): (422, 403, 403),
    ("PUT", "measures/{measure}"): (428, 403, 403),
    ("PUT", "measures/{measure}/draft"): (428, 403, 403),
    ("POST", "quotes"): (422, 403, 403),
    ("PUT", "revisions/{revision}"): (428, 403, 403),
    ("DELETE", "revisions/{revision}"): (428, 403, 403),
    ("POST", "quotes/{quote}/revisions"): (409, 403, 403),
    ("POST", "revisions/{revision}/parties/owner/link"): (409, 403, 403),
    ("DELETE", "revisions/{revision}/parties/owner/link"): (204, 403, 403),
}


@pytest.fixture
def refs(estimator: Caller) -> dict[str, str]:
    """Refs of a job with a measure and a drafted quote."""
    job, draft = draft_quote(estimator)
    measure = estimator.get(f"jobs/{job}/measures")["items"][0]["ref"]
    return {"job": job, "measure": measure, "revision": draft["ref"], "quote": draft["quote"]["ref"]}


def _write(client: Client, method: str, path: str) -> int:
    headers = {"Idempotency-Key": str(uuid4())}
    return client.generic(method, f"/api/v1/{path}", "{}", content_type="application/json", headers=headers).status_code


def test_each_role_writes_what_it_may_and_no_more(cast: Cast, signed_in: Any, refs: dict[str, str]) -> None:
    people = (cast.estimator, cast.crew, cast.bookkeeper)
    for (method, path), statuses in WRITES.items():
        found = tuple(_write(signed_in(person), method, path.format(**refs)) for person in people)
        assert found == statuses, f"{method} {path}"


def test_a_stranger_and_another_business_get_nowhere(cast: Cast, signed_in: Any, refs: dict[str, str]) -> None:
    stranger, other = Client(), signed_in(cast.stranger)
    for method, path in WRITES:
        assert _write(stranger, method, path.format(**refs)) == 401, path
        if "{" in path:
            # before or after the body is looked at, never a sign that the thing exists
            assert _write(other, method, path.format(**refs)) in {404, 422}, path


def test_an_unknown_member_is_named_and_a_business_can_not_be_smuggled_in(estimator: Caller) -> None:
    problem = estimator.post("customers", {"name": "Ada", "business": "x", "version": 7}, status=422)
    assert {error["pointer"] for error in problem["errors"]} == {"#/business", "#/version"}


def test_a_quote_needs_an_idempotency_key(estimator: Caller, refs: dict[str, str]) -> None:
    for path in ("quotes", f"revisions/{refs['revision']}/send", f"jobs/{refs['job']}/as-built"):
        assert estimator.client.post(f"/api/v1/{path}", {}, content_type="application/json").status_code == 400
