"""Addresses on their way out."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

import pytest
from django.conf import settings
from django.test import Client
from drf_spectacular.generators import SchemaGenerator

from shared.api.endpoint import Deprecation
from shared.members.api import Members

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
