"""Tests of the middlewares that only browsers need."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.http import HttpResponse
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from shared.business.actors import SYSTEM
from shared.business.models import ApiKey, Business
from shared.business.roles import Scope
from shared.members import services
from shared.members.queries import CompiledQuery, live_key


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
