"""API of the audit log."""

from __future__ import annotations

from typing import Any

import orjson
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.business.roles import Scope
from shared.database.audit_log import AuditEntry

_TEXT = {"type": "string"}
ENTRY_SCHEMA = {
    "type": "object",
    "properties": {
        "number": {"type": "integer", "description": "Number of the entry in the business, without gaps."},
        "created_at": {"type": "string", "format": "date-time"},
        "actor": {"type": "object", "properties": dict.fromkeys(("kind", "ref", "name"), _TEXT)},
        "action": {"type": "string", "description": "Action, such as quote.sent."},
        "subject": {"type": "string", "description": "Record that was changed, as kind:ref."},
        "detail": {"type": "object", "additionalProperties": True},
        **dict.fromkeys(("request_id", "previous", "sha256"), _TEXT),
    },
}


def entry_row(entry: AuditEntry) -> dict[str, Any]:
    """Return an entry as the API shows it."""
    return {
        "number": entry.number,
        "created_at": entry.at,
        "actor": {"kind": entry.actor_kind, "ref": entry.actor_ref, "name": entry.actor_name},
        "action": entry.action,
        "subject": entry.subject,
        "detail": orjson.loads(entry.detail),
        "request_id": entry.request_id,
        "previous": entry.previous,
        "sha256": entry.sha256,
    }


class AuditEntries(Endpoint):
    """List of the audit entries of the business, newest first. Each entry contains the hash of the entry before it."""

    scopes = {"GET": Scope.AUDIT_READ}
    paged = True
    parameters = {
        "action": "Only entries of one action, such as quote.sent.",
        "subject": "Only entries of one subject, such as member:2fKq0ZcV7mQe2dPx.",
    }

    @extend_schema(responses={200: page_of(ENTRY_SCHEMA)}, summary="List audit entries")
    def get(self, request: Request) -> Response:
        rows = AuditEntry.objects.filter(business=self.business)
        query = request.query_params
        rows = rows.filter(**{name: query[name] for name in self.parameters if name in query})
        return self.page(rows, entry_row)
