"""Tests of the OpenAPI document: it is made once, and all clients are counted."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.test import Client

from shared.api import docs_views
from shared.api.docs_views import document, published_document
from tests.conftest import Cast

pytestmark = pytest.mark.usefixtures("one_window")


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """Return a list with an entry each time the document is made. It is not made before the test."""
    calls: list[int] = []

    def counted() -> dict[str, Any]:
        calls.append(1)
        return document()

    monkeypatch.setattr(docs_views, "document", counted)
    docs_views._make_document.cache_clear()
    yield calls
    docs_views._make_document.cache_clear()


def test_first_callers_at_once_get_one_document_that_was_made_once(made: list[int]) -> None:
    start = Barrier(8)

    def ask(_: int) -> bytes:
        start.wait()
        return published_document().json

    with ThreadPoolExecutor(8) as pool:
        answers = set(pool.map(ask, range(8)))
    assert (len(answers), len(made)) == (1, 1)


@pytest.mark.django_db
def test_it_is_not_made_again_for_a_call(made: list[int], client: Client) -> None:
    documents = [client.get("/api/v1/openapi.json") for _ in range(3)]
    page = client.get("/api/docs/")
    assert len(made) == 1
    assert {answer.content for answer in documents} == {published_document().json}
    assert documents[0].json()["openapi"].startswith("3.1")
    assert documents[0]["Content-Type"] == "application/json"
    assert "/api/v1/keys" in page.content.decode()
    again = client.get("/api/v1/openapi.json", headers={"If-None-Match": documents[0]["ETag"]})
    assert again.status_code == 304


@pytest.mark.django_db
def test_anonymous_callers_are_counted(settings: Any, monkeypatch: pytest.MonkeyPatch, client: Client) -> None:
    settings.RATE_QUOTA = 3
    monkeypatch.setattr(docs_views, "_PAGES", 3)
    assert [client.get("/api/v1/openapi.json").status_code for _ in range(4)] == [200, 200, 200, 429]
    pages = [client.get("/api/docs/") for _ in range(4)]
    assert [page.status_code for page in pages] == [200, 200, 200, 429]
    assert int(pages[-1]["Retry-After"]) > 0


@pytest.mark.parametrize("header", ["Bearer bwl_" + "0" * 36, "Basic eDp5", ""])
def test_calls_without_a_key_or_with_a_wrong_one_are_counted_by_address(cast: Cast, settings: Any, header: str) -> None:
    settings.RATE_QUOTA = 3
    client = Client(headers={"Authorization": header} if header else {})
    answers = [client.get("/api/v1/business") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [401, 401, 401, 429]
    assert Client(REMOTE_ADDR="10.9.9.9").get("/api/v1/business").status_code == 401
