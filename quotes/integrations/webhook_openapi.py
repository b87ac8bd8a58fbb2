"""What webhooks are sent, for the OpenAPI document: every type of event, the challenge and the test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.integrations.webhooks import KINDS

_TEXT = {"type": "string"}
_TIME = "2031-05-06T07:08:09Z"
_HEADERS = {
    "webhook-id": "The same at every try; it has no full stop.",
    "webhook-timestamp": "Seconds since 1970 of this try.",
    "webhook-signature": "One or two signatures, v1,<base64>, parted by a space: two while a secret is being replaced.",
}
_EVENT = {
    "id": {**_TEXT, "description": "The ref of the event in the log."},
    "sequence": {"type": "integer", "minimum": 1, "description": "Counts the order's events without gaps."},
    "order": {**_TEXT, "description": "The ref of the order."},
    "number": {**_TEXT, "description": "The number of the order."},
    "href": {**_TEXT, "format": "uri", "description": "Where to read the order."},
}
_EVENT_EXAMPLE = {
    "id": "4fKq0ZcV7mQe2dPx",
    "sequence": 3,
    "order": "9swzqOmxYXDrem1X",
    "number": "O0012",
    "href": "http://localhost:8000/api/v1/supply/orders/9swzqOmxYXDrem1X",
}
_OTHERS = {
    "endpoint.challenge": (
        "The challenge of a new endpoint: answer 200 with the word",
        {"challenge": _TEXT},
        {"challenge": "pT5sHc1mZ0aXq9vLw3ReUyKd7JfGbN2o"},
    ),
    "endpoint.test": ("A test event that was asked for", {"endpoint": _TEXT}, {"endpoint": "iHJlbozCvtelJWzl"}),
}


def body_schema(kind: str, data: Mapping[str, Any] = _EVENT) -> dict[str, Any]:
    """The JSON Schema of the body sent for a type of event."""
    return {
        "type": "object",
        "required": ["type", "timestamp", "data"],
        "properties": {
            "type": {"type": "string", "enum": [kind]},
            "timestamp": {"type": "string", "format": "date-time"},
            "data": {"type": "object", "required": sorted(data), "properties": dict(data)},
        },
    }


def describe_webhooks(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Adds the ``webhooks`` of OpenAPI 3.1."""
    answer = {kind: _sent(kind, f"The event {kind}", _EVENT, _EVENT_EXAMPLE) for kind in KINDS}
    answer |= {kind: _sent(kind, text, data, example) for kind, (text, data, example) in _OTHERS.items()}
    return {**result, "webhooks": answer}


def _sent(kind: str, summary: str, data: Mapping[str, Any], example: Mapping[str, Any]) -> dict[str, Any]:
    media = {
        "schema": body_schema(kind, data),
        "example": {"type": kind, "timestamp": _TIME, "data": dict(example)},
    }
    return {
        "post": {
            "operationId": f"webhook_{kind.replace('.', '_')}",
            "summary": summary,
            "description": "Signed by Standard Webhooks. Pass over members you don't know.",
            "security": [],
            "parameters": [
                {"name": name, "in": "header", "required": True, "schema": _TEXT, "description": text}
                for name, text in _HEADERS.items()
            ],
            "requestBody": {"required": True, "content": {"application/json": media}},
            "responses": {
                "2XX": {"description": "Taken."},
                "410": {"description": "No more, please: the endpoint is switched off."},
                "429": {"description": "Slower, please; Retry-After is obeyed."},
                "default": {"description": "Tried again: ten times over about 75 hours."},
            },
        }
    }
