"""The OpenAPI document tells what webhooks are sent."""

from __future__ import annotations

import re
from pathlib import Path

from jsonschema import Draft202012Validator

from quotes import purchasing
from quotes.integrations.webhook_openapi import describe_webhooks
from quotes.integrations.webhooks import EVENT_TYPES
from shared.api.docs_views import document

HEADERS = ["webhook-id", "webhook-timestamp", "webhook-signature"]  # Standard Webhooks 1.0.0


def test_the_document_has_every_type_of_event_the_challenge_and_the_test() -> None:
    assert set(document()["webhooks"]) == {*EVENT_TYPES, "endpoint.challenge", "endpoint.test"}


def test_every_type_of_event_that_is_noted_is_documented() -> None:
    """Read from the source: the kinds that ``note`` is called with."""
    folder = Path(purchasing.__file__).parent
    noted = {
        found
        for path in folder.glob("*.py")
        for found in re.findall(r"""\bnote\(\s*\w+,\s*"(order\.\w+)\"""", path.read_text(encoding="utf-8"))
    }
    assert "order.drafted" in noted
    assert noted <= set(EVENT_TYPES)


def test_every_webhook_has_its_headers_and_an_example_that_its_schema_allows() -> None:
    for kind, methods in describe_webhooks({})["webhooks"].items():
        media = methods["post"]["requestBody"]["content"]["application/json"]
        Draft202012Validator(media["schema"]).validate(media["example"])
        assert media["example"]["type"] == kind
        assert [parameter["name"] for parameter in methods["post"]["parameters"]] == HEADERS
