"""The OpenAPI document is made once, all clients are counted, and deprecated addresses say so."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from threading import Barrier
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from drf_spectacular.generators import SchemaGenerator

from shared.api import docs_views
from shared.api.docs_views import document, published_document
from shared.api.endpoint import Deprecation
from shared.members.api import Members
from tests.conftest import Cast


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


@pytest.mark.usefixtures("one_window")
def test_first_callers_at_once_get_one_document_that_was_made_once(made: list[int]) -> None:
    start = Barrier(8)

    def ask(_: int) -> bytes:
        start.wait()
        return published_document().json

    with ThreadPoolExecutor(8) as pool:
        answers = set(pool.map(ask, range(8)))
    assert (len(answers), len(made)) == (1, 1)


@pytest.mark.usefixtures("one_window")
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


@pytest.mark.usefixtures("one_window")
@pytest.mark.django_db
def test_anonymous_callers_are_counted(settings: Any, monkeypatch: pytest.MonkeyPatch, client: Client) -> None:
    settings.RATE_QUOTA = 3
    monkeypatch.setattr(docs_views, "_PAGES", 3)
    assert [client.get("/api/v1/openapi.json").status_code for _ in range(4)] == [200, 200, 200, 429]
    pages = [client.get("/api/docs/") for _ in range(4)]
    assert [page.status_code for page in pages] == [200, 200, 200, 429]
    assert int(pages[-1]["Retry-After"]) > 0


@pytest.mark.usefixtures("one_window")
@pytest.mark.parametrize("header", ["Bearer bwl_" + "0" * 36, "Basic eDp5", ""])
def test_calls_without_a_key_or_with_a_wrong_one_are_counted_by_address(cast: Cast, settings: Any, header: str) -> None:
    settings.RATE_QUOTA = 3
    client = Client(headers={"Authorization": header} if header else {})
    answers = [client.get("/api/v1/business") for _ in range(4)]
    assert [answer.status_code for answer in answers] == [401, 401, 401, 429]
    assert Client(REMOTE_ADDR="10.9.9.9").get("/api/v1/business").status_code == 401


TOLD = datetime(2026, 3, 1, tzinfo=UTC)
ENDS = datetime(2026, 9, 1, tzinfo=UTC)


@pytest.fixture
def leaving(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Members, "deprecated", {"GET": Deprecation(TOLD, ENDS, "/api/v2/people")})


def test_an_answer_says_since_when_until_when_and_what_instead(
    leaving: None, owner_client: Client, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "baywright.deprecation"):
        answer = owner_client.get("/api/v1/members")
    assert answer["Deprecation"] == f"@{int(TOLD.timestamp())}"  # RFC 9745, section 2.1: a Structured Fields Date
    assert parsedate_to_datetime(answer["Sunset"]) == ENDS  # RFC 8594, section 3
    assert f'<{settings.PUBLIC_URL}/api/v2/people>; rel="successor-version"' in answer["Link"].split(", ")
    data = [record.__dict__["path"] for record in caplog.records if record.name == "baywright.deprecation"]
    assert data == ["/api/v1/members"]


def test_a_refusal_says_it_too_and_what_stays_says_nothing(leaving: None, owner_client: Client) -> None:
    assert "Sunset" in owner_client.get("/api/v1/members?page_size=abc")
    assert "Deprecation" not in owner_client.get("/api/v1/business")


def test_the_document_marks_it(leaving: None) -> None:
    document = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]  # ships no types
    assert document["paths"]["/api/v1/members"]["get"]["deprecated"] is True
    assert "deprecated" not in document["paths"]["/api/v1/business"]["get"]


@pytest.mark.parametrize(
    ("since", "ends"), [(TOLD, TOLD + timedelta(days=89)), (TOLD.replace(tzinfo=None), ENDS), (ENDS, TOLD)]
)
def test_an_end_is_announced_ninety_days_before(since: datetime, ends: datetime) -> None:
    with pytest.raises(ValueError, match=r"days|UTC"):
        Deprecation(since, ends)
