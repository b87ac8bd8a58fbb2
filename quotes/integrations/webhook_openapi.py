"""Webhook messages in the OpenAPI document: every event type, the challenge and the test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quotes.integrations.webhooks import EVENT_TYPES

_TEXT = {"type": "string"}
_TIME = "2031-05-06T07:08:09Z"
_HEADERS = {
    "webhook-id": "The same for each attempt. It contains no full stop.",
    "webhook-timestamp": "Time of this attempt, in seconds since 1970.",
    "webhook-signature": "One or two signatures, v1,<base64>, separated by a space. There are two while a secret is replaced.",
}
_EVENT = {
    "event": {**_TEXT, "description": "The ref of the event in the log."},
    "sequence": {"type": "integer", "minimum": 1, "description": "Counts the order's events without gaps."},
    "order": {**_TEXT, "description": "The ref of the order."},
    "order_number": {**_TEXT, "description": "The number of the order."},
    "href": {**_TEXT, "format": "uri", "description": "Where to read the order."},
}
_EVENT_EXAMPLE = {
    "event": "4fKq0ZcV7mQe2dPx",
    "sequence": 3,
    "order": "9swzqOmxYXDrem1X",
    "order_number": "O0012",
    "href": "http://localhost:8000/api/v1/supply/orders/9swzqOmxYXDrem1X",
}
_OTHERS = {
    "endpoint.challenge": (
        "The challenge of a new endpoint: respond 200 with its value",
        {"challenge": _TEXT},
        {"challenge": "pT5sHc1mZ0aXq9vLw3ReUyKd7JfGbN2o"},
    ),
    "endpoint.test": ("A requested test event", {"endpoint": _TEXT}, {"endpoint": "iHJlbozCvtelJWzl"}),
}


def body_schema(kind: str, data: Mapping[str, Any] = _EVENT) -> dict[str, Any]:
    """Return the JSON Schema of the body for an event type."""
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
    """Add the ``webhooks`` of OpenAPI 3.1."""
    answer = {kind: _sent(kind, f"The event {kind}", _EVENT, _EVENT_EXAMPLE) for kind in EVENT_TYPES}
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
            "description": "Signed by Standard Webhooks. Ignore fields you do not know.",
            "security": [],
            "parameters": [
                {"name": name, "in": "header", "required": True, "schema": _TEXT, "description": text}
                for name, text in _HEADERS.items()
            ],
            "requestBody": {"required": True, "content": {"application/json": media}},
            "responses": {
                "2XX": {"description": "Received."},
                "410": {"description": "The endpoint is gone: it is disabled."},
                "429": {"description": "Too many requests. We wait for Retry-After."},
                "default": {"description": "We retry ten times in about 75 hours."},
            },
        }
    }
