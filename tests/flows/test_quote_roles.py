"""Write access by role: crew and bookkeeper change no job, measure or quote; the crew adds as-built entries."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from tests.conftest import Cast
from tests.flows.cast_of_quotes import Caller, draft_quote, estimator

__all__ = ["estimator"]
pytestmark = pytest.mark.django_db

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
