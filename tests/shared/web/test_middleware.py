"""Middlewares: what only browsers need, and bodies that were cut off on their way."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from shared.business.actors import SYSTEM
from shared.business.models import ApiKey, Business
from shared.business.roles import Scope
from shared.members import services
from shared.members.queries import CompiledQuery, live_key
from shared.web.complete_body import CompleteBody, whole


def test_an_answer_to_a_key_may_load_nothing_and_a_page_only_its_own(
    key_client: Callable[..., Client], owner_client: Client
) -> None:
    answer = key_client(Scope.BUSINESS_READ).get("/api/v1/business")
    assert answer["Content-Security-Policy"] == "default-src 'none'; frame-ancestors 'none'"
    assert not answer.cookies
    page = owner_client.get("/", follow=True)
    assert "script-src 'self'" in page["Content-Security-Policy"]
    assert "object-src 'none'" in page["Content-Security-Policy"]


def test_a_session_adds_nothing_to_a_key(owner_client: Client, key_client: Callable[..., Client]) -> None:
    """A request with a key has the scopes of the key, even in the session of an owner."""
    assert owner_client.get("/api/v1/members").status_code == 200
    for sent in ("Bearer bwl_" + "0" * 36, "Bearer ", "Basic b3duZXI6"):
        assert owner_client.get("/api/v1/members", headers={"Authorization": sent}).status_code == 401, sent
    narrow = key_client(Scope.BUSINESS_READ)
    narrow.cookies = owner_client.cookies
    assert narrow.get("/api/v1/members").status_code == 403


def test_an_authorization_header_on_a_page_changes_nothing(owner_client: Client) -> None:
    before, after = (owner_client.get("/settings", follow=True, headers=sent) for sent in ({}, {"Authorization": "x"}))
    assert (before.status_code, before.redirect_chain) == (after.status_code, after.redirect_chain)


@pytest.mark.parametrize(
    "call",
    [
        lambda browser: browser.get("/search", {"q": "a\x00"}),
        lambda browser: browser.get("/jobs", {"\x00": "a"}),
        lambda browser: browser.post("/sign-in", {"username": "\x00@example.test", "password": "x"}),
        lambda browser: browser.post("/settings/supplier-keys", {"name": "yard\x00"}),
        lambda browser: browser.get("/jobs", headers={"Cookie": r'sessionid="aaaaaaaaaaaa\000"'}),
        lambda browser: browser.get("/api/v1/jobs", headers={"Cookie": r'sessionid="aaaaaaaaaaaa\000"'}),
    ],
)
def test_what_a_browser_sends_with_a_nul_in_it_is_refused_before_it_meets_a_database(
    owner_client: Client, call: Callable[[Client], HttpResponse]
) -> None:
    assert call(owner_client).status_code == 400


def test_a_page_of_a_member_is_kept_by_no_shared_cache(owner_client: Client) -> None:
    assert owner_client.get("/", follow=True)["Cache-Control"] == "private, no-cache"


def test_a_key_is_found_with_its_business_in_one_query_and_without_what_is_long(
    business: Business, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    business.terms = "paid in a week"
    business.save()
    _, text = services.issue_key(name="till", scopes=[Scope.JOBS_READ], business=business, actor=SYSTEM)
    assert live_key(text)  # notes when it was used
    with django_assert_num_queries(1):
        key = live_key(text)
        assert key is not None
        assert key.business == business
        assert key.supplier_account is None
        assert (key.scopes, key.business and key.business.currency) == ([Scope.JOBS_READ], business.currency)
    assert key.business
    assert {"logo_png", "terms"} <= key.business.get_deferred_fields()
    assert key.business.terms == "paid in a week"


def test_a_statement_has_one_parameter(business: Business) -> None:
    by_name = CompiledQuery(lambda name: ApiKey.objects.filter(name=name).values_list("name"))
    services.issue_key(name="any", scopes=[Scope.JOBS_READ], business=business, actor=SYSTEM)
    services.issue_key(name="till", scopes=[Scope.JOBS_READ], business=business, actor=SYSTEM)
    assert [list(row) for row in by_name("till")] == [["till"]]
    assert list(by_name("' OR 1 = 1 --")) == []
    with pytest.raises(ValueError, match="one parameter"):
        CompiledQuery(lambda name: ApiKey.objects.filter(name=name, prefix="x").values_list("name"))("till")


FORM = b"username=ada@example.test&password=not+the+one"
PARTS = b'--x\r\nContent-Disposition: form-data; name="username"\r\n\r\nada@example.test\r\n--x--\r\n'


@pytest.mark.parametrize("size", [-1, 3, 100])
def test_reading_raises_where_the_rest_is_missing(size: int) -> None:
    reading = CompleteBody(io.BytesIO(b"abcd"), 4)
    assert b"".join(iter(lambda: reading.read(size), b"")) == b"abcd"
    cut = CompleteBody(io.BytesIO(b"abcd"), 5)
    with pytest.raises(OSError, match="1 bytes too early"):
        list(iter(lambda: cut.read(size), b""))


def test_lines_raise_where_the_rest_is_missing() -> None:
    lines = CompleteBody(io.BytesIO(b"a\nb"), 3)
    assert [lines.readline(), lines.readline(), lines.readline()] == [b"a\n", b"b", b""]
    cut = CompleteBody(io.BytesIO(b"a\nb"), 4)
    assert cut.readline() == b"a\n"
    with pytest.raises(OSError, match="1 bytes too early"):
        cut.readline()


def test_an_application_gets_this_input_if_there_is_a_length() -> None:
    seen: list[Any] = []

    def application(environ: dict[str, Any], _: Any) -> list[bytes]:
        seen.append(environ["wsgi.input"])
        return []

    bare = io.BytesIO()
    whole(application)({"wsgi.input": bare, "CONTENT_LENGTH": "3"}, None)
    whole(application)({"wsgi.input": bare}, None)
    assert isinstance(seen[0], CompleteBody)
    assert seen[1] is bare


def send(client: Client, path: str, body: bytes, kind: str, missing: int) -> int:
    came = CompleteBody(io.BytesIO(body[: len(body) - missing]), len(body))
    data: dict[str, Any] = {"CONTENT_LENGTH": str(len(body)), "wsgi.input": came}
    return client.generic("POST", path, body, content_type=kind, **data).status_code


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("body", "kind"), [(FORM, "application/x-www-form-urlencoded"), (PARTS, "multipart/form-data; boundary=x")]
)
def test_a_form_without_its_end_is_a_400(body: bytes, kind: str) -> None:
    assert send(Client(), "/sign-in", body, kind, missing=0) == 200
    assert send(Client(), "/sign-in", body, kind, missing=9) == 400
    assert send(Client(enforce_csrf_checks=True), "/sign-in", body, kind, missing=9) == 400


@pytest.mark.django_db
def test_so_is_a_call_of_the_api_with_or_without_a_key_for_sending_it_twice(owner_client: Client) -> None:
    for path in ("/api/v1/customers", "/api/v1/quotes"):
        assert send(owner_client, path, b'{"name": "Ada"}', "application/json", missing=1) == 400
