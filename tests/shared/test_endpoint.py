"""Tests of what all endpoints have in common, with the endpoints of the base package."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from shared.business.models import Business, Person
from shared.business.roles import Scope
from tests.conftest import Cast

JSON = "application/json"


def problem(response: Any) -> dict[str, object]:
    assert response["Content-Type"] == "application/problem+json"
    document: dict[str, object] = json.loads(response.content)
    assert document["status"] == response.status_code
    assert response["X-Request-Id"] in str(document["instance"])
    return document


def test_the_owner_reads_the_business(owner_client: Client) -> None:
    response = owner_client.get("/api/v1/business")
    assert response.status_code == 200
    assert response.json()["name"] == "Tern Bay Fencing"
    assert response["ETag"].startswith('"')
    assert "r=599" in response["RateLimit"]


def test_a_client_without_a_key_gets_a_401_with_the_scheme(db: None) -> None:
    response = Client().get("/api/v1/business")
    assert problem(response)["code"] == "unauthenticated"
    assert response["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize("key", ["bwl_short", "bwl_" + "0" * 36, "nonsense"])
def test_a_wrong_key_is_refused(db: None, key: str) -> None:
    assert Client(headers={"Authorization": f"Bearer {key}"}).get("/api/v1/business").status_code == 401


def test_a_key_in_the_address_is_refused(key_client: Callable[..., Client]) -> None:
    assert key_client(Scope.BUSINESS_READ).get("/api/v1/business?key=bwl_123").status_code == 401


def test_a_key_reads_what_its_scope_allows_and_no_more(key_client: Callable[..., Client]) -> None:
    client = key_client(Scope.BUSINESS_READ)
    assert client.get("/api/v1/business").status_code == 200
    refused = client.get("/api/v1/members")
    assert refused.status_code == 403
    assert problem(refused)["scope"] == "members:read"


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("get", "/api/v1/nowhere", 404),
        ("put", "/api/v1/business", 405),
        ("get", "/api/v1/business?ordering=password", 400),
        ("get", "/api/v1/members?page_size=-1", 400),
        ("get", "/api/v1/members?page_size=abc", 400),
        ("get", "/api/v1/members?cursor=abc", 400),
        ("get", "/api/v1/members/unknown", 404),
    ],
)
def test_every_refusal_is_a_problem_document(owner_client: Client, method: str, path: str, status: int) -> None:
    response = getattr(owner_client, method)(path)
    assert response.status_code == status
    problem(response)


def test_a_change_needs_the_version_that_was_looked_at(owner_client: Client) -> None:
    tag = owner_client.get("/api/v1/business")["ETag"]

    def change(**headers: str) -> Any:
        return owner_client.patch("/api/v1/business", {"phone": "555 0100"}, JSON, headers=headers)

    assert change().status_code == 428
    assert change(**{"If-Match": f"W/{tag}"}).status_code == 412
    assert change(**{"If-Match": tag}).status_code == 200
    assert change(**{"If-Match": tag}).status_code == 412


def test_what_was_not_changed_is_not_sent_again(owner_client: Client) -> None:
    tag = owner_client.get("/api/v1/business")["ETag"]
    again = owner_client.get("/api/v1/business", headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")


def test_head_tells_the_same_as_get_and_is_not_sent_again_either(owner_client: Client) -> None:
    for path in ("/api/v1/business", "/api/v1/members", "/api/v1/openapi.json"):
        get, head = owner_client.get(path), owner_client.head(path)
        assert (head.status_code, head.content, head["ETag"]) == (200, b"", get["ETag"])
        assert owner_client.head(path, headers={"If-None-Match": get["ETag"]}).status_code == 304


def test_reading_on_a_condition_that_fails_is_refused_and_a_day_is_no_condition(owner_client: Client) -> None:
    for path in ("/api/v1/business", "/api/v1/members"):
        refused = owner_client.get(path, headers={"If-Match": '"another"'})
        assert (refused.status_code, problem(refused)["code"]) == (412, "precondition-failed")
        tag = owner_client.get(path)["ETag"]
        assert owner_client.get(path, headers={"If-Match": tag}).status_code == 200
        # no resource has a Last-Modified date, so the header is ignored
        day = {"If-Unmodified-Since": "Wed, 01 Jan 2020 00:00:00 GMT"}
        assert owner_client.get(path, headers=day).status_code == 200


def test_every_fault_of_a_body_is_named_at_once(owner_client: Client) -> None:
    tag = owner_client.get("/api/v1/business")["ETag"]
    body = {"ref": "mine", "colour": "red", "name": "", "email": "no", "currency": "USD"}
    refused = owner_client.patch("/api/v1/business", body, JSON, headers={"If-Match": tag})
    errors = problem(refused)["errors"]
    assert isinstance(errors, list)
    assert {error["pointer"] for error in errors} == {"#/ref", "#/colour", "#/name", "#/email", "#/currency"}


def test_another_businesss_member_looks_like_nobody(owner_client: Client, cast: Cast) -> None:
    theirs = cast.strangers_business.members.get().ref
    foreign = owner_client.get(f"/api/v1/members/{theirs}").json()
    missing = owner_client.get(f"/api/v1/members/{'0' * 22}").json()
    assert {**foreign, "instance": ""} == {**missing, "instance": ""}


def test_a_suspended_business_reads_and_does_not_write(owner_client: Client, business: Business) -> None:
    tag = owner_client.get("/api/v1/business")["ETag"]
    Business.objects.filter(pk=business.pk).update(suspended_at="2026-01-01T00:00Z")
    assert owner_client.get("/api/v1/business").status_code == 200
    refused = owner_client.patch("/api/v1/business", {"phone": "1"}, JSON, headers={"If-Match": tag})
    assert problem(refused)["code"] == "suspended"


def test_a_new_key_is_shown_once_and_works_until_revoked(owner_client: Client) -> None:
    made = owner_client.post("/api/v1/keys", {"name": "till", "scopes": ["business:read"]}, JSON)
    assert made.status_code == 201
    machine = Client(headers={"Authorization": f"Bearer {made.json()['secret']}"})
    assert machine.get("/api/v1/business").status_code == 200
    assert "secret" not in owner_client.get(made["Location"]).json()
    assert owner_client.delete(made["Location"]).status_code == 204
    assert machine.get("/api/v1/business").status_code == 401


def test_a_key_that_would_be_over_already_is_refused(owner_client: Client) -> None:
    body = {"name": "till", "scopes": ["jobs:read"], "expires_at": "2020-01-01T00:00:00Z"}
    [fault] = owner_client.post("/api/v1/keys", body, JSON).json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("#/expires_at", "past")
    assert owner_client.post("/api/v1/keys", {**body, "expires_at": "2999-01-01T00:00:00Z"}, JSON).status_code == 201


def test_a_business_gets_no_test_key_that_would_change_what_is_real(owner_client: Client) -> None:
    body = {"name": "till", "scopes": ["jobs:write"], "sandbox": True}
    [fault] = owner_client.post("/api/v1/keys", body, JSON).json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("#/sandbox", "sandbox")
    made = owner_client.post("/api/v1/keys", {**body, "sandbox": False}, JSON)
    assert (made.status_code, made.json()["secret"][:4]) == (201, "bwl_")


def test_the_last_owner_stays(owner_client: Client, cast: Cast) -> None:
    me = cast.business.members.get(person=cast.owner)
    tag = owner_client.get(f"/api/v1/members/{me.ref}")["ETag"]
    refused = owner_client.delete(f"/api/v1/members/{me.ref}", headers={"If-Match": tag})
    assert refused.status_code == 422


def test_crew_sees_no_members(cast: Cast, signed_in: Callable[[Person], Client]) -> None:
    assert signed_in(cast.crew).get("/api/v1/members").status_code == 403


@pytest.mark.parametrize(
    "body",
    [
        b"\xef\xbb\xbf{}",
        "{}".encode("utf-16"),
        b'{"name": "a", "name": "b"}',
        b'{"name": NaN}',
        b'{"name": 1e400}',
        b'{"name": "\\ud800"}',
        b"[" * 10_000,
        b"{",
        b"\xff",
    ],
)
def test_json_that_parsers_disagree_about_is_malformed(owner_client: Client, body: bytes) -> None:
    response = owner_client.post("/api/v1/keys", body, JSON)
    assert response.status_code == 400
    assert problem(response)["code"] == "malformed"


def test_a_flag_is_true_or_false_and_no_number_or_word_for_it(owner_client: Client) -> None:
    for value in (0, 1, "true", "no", None):
        body = {"name": "till", "scopes": ["business:read"], "test": value}
        response = owner_client.post("/api/v1/keys", body, JSON)
        assert response.status_code == 422, value
        assert [error["pointer"] for error in response.json()["errors"]] == ["#/test"]


def test_xml_is_not_taken_where_json_is_wanted(owner_client: Client) -> None:
    response = owner_client.post("/api/v1/keys", "<a/>", "application/xml")
    assert response.status_code == 415
    assert response["Accept"] == JSON


def test_a_body_beyond_the_limit_is_too_large(owner_client: Client) -> None:
    response = owner_client.post("/api/v1/keys", b" " * (10 * 1024 * 1024 + 1), JSON)
    assert problem(response)["code"] == "too-large"


def test_members_come_in_pages_and_each_once(owner_client: Client) -> None:
    seen: list[str] = []
    address = "/api/v1/members?page_size=3"
    while address:
        answer = owner_client.get(address).json()
        seen += [item["role"] for item in answer["items"]]
        address = answer["next"]
    assert seen == ["owner", "estimator", "crew", "bookkeeper"]


def test_a_cursor_of_somebody_else_is_refused(
    owner_client: Client, cast: Cast, signed_in: Callable[[Person], Client]
) -> None:
    following = owner_client.get("/api/v1/members?page_size=1").json()["next"]
    assert problem(signed_in(cast.stranger).get(following))["code"] == "invalid-cursor"


def test_the_document_of_the_api_is_open(db: None) -> None:
    document = Client().get("/api/v1/openapi.json").json()
    assert document["openapi"].startswith("3.1")
    assert "/api/v1/members" in document["paths"]
    assert Client().get("/api/docs/").status_code == 200
    assert Client().get("/api/docs/problems/invalid").status_code == 200


@pytest.mark.parametrize(
    ("member", "wrong", "right"),
    [("locale", "xx_ZZZZ", "de_CH"), ("time_zone", "Moon/Crater", "Pacific/Auckland"), ("paper_size", "B5", "Letter")],
)
def test_where_a_business_writes_and_counts_days_is_somewhere(
    owner_client: Client, member: str, wrong: str, right: str
) -> None:
    for value, status in ((wrong, 422), (right, 200)):
        tag = owner_client.get("/api/v1/business")["ETag"]
        answer = owner_client.patch("/api/v1/business", {member: value}, JSON, headers={"If-Match": tag})
        assert answer.status_code == status, answer.content


def test_a_business_says_some_things_in_its_own_words_and_takes_them_back(owner_client: Client) -> None:
    def change(body: dict[str, Any]) -> Any:
        tag = owner_client.get("/api/v1/business")["ETag"]
        return owner_client.patch("/api/v1/business", body, JSON, headers={"If-Match": tag})

    assert (
        change(
            {"custom_texts": {"care_sheet": "Hose it.", "how_to_accept": "Ring us."}, "quote_validity_days": 14}
        ).status_code
        == 200
    )
    data = change({"custom_texts": {"care_sheet": ""}}).json()
    assert (data["custom_texts"], data["quote_validity_days"]) == ({"how_to_accept": "Ring us."}, 14)
    refused = change({"custom_texts": {"jokes": "x", "care_sheet": "y" * 10_001}, "quote_validity_days": 0})
    pointers = {error["pointer"] for error in problem(refused)["errors"]}  # type: ignore[attr-defined]  # a list of faults
    assert pointers == {"#/custom_texts/jokes", "#/custom_texts/care_sheet", "#/quote_validity_days"}
    assert owner_client.get("/api/v1/business").json()["custom_texts"] == {"how_to_accept": "Ring us."}
