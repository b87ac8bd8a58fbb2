"""API of the documents of revisions and orders: status and PDF."""

from __future__ import annotations

from typing import Any

from django.db.models import Case, Value, When
from django.db.models.functions import Concat
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from quotes.documents.kinds import FOR_CREW, KINDS
from quotes.documents.models import Document, DocumentState
from shared.api.endpoint import Endpoint
from shared.api.openapi import page_of
from shared.api.row_serializer import RowSerializer, same_names
from shared.business.roles import Scope
from shared.common.problems import Problem

FIELDS = ("ref", "kind", "party", "order", "status", "size_bytes", "sha256", "created_at")
SCHEMA: dict[str, Any] = {
    "type": "object",
    "required": list(FIELDS),
    "properties": {
        "ref": {"type": "string"},
        "kind": {"type": "string", "enum": list(KINDS)},
        "party": {"type": "string", "description": "Key of the party a quote is for; empty for the others."},
        "order": {"type": "string", "description": "Ref of the order an order list is of; empty for the others."},
        "status": {"type": "string", "enum": DocumentState.values},
        "size_bytes": {"type": "integer", "description": "Bytes of the PDF; 0 while it is queued."},
        "sha256": {"type": "string"},
        "created_at": {"type": ["string", "null"], "format": "date-time"},
        "pdf_url": {"type": ["string", "null"], "description": "Address of the PDF, once it is ready."},
    },
}
_PDF = Concat(Value("/api/v1/documents/"), "ref", Value(".pdf"))
DOCUMENTS = RowSerializer(
    {
        **same_names("ref", "kind", "party", "sha256"),
        "order": "subject",
        "status": "state",
        "size_bytes": "size",
        "created_at": "made_at",
        "pdf_url": Case(When(state=DocumentState.READY, then=_PDF)),
    }
)


class DocumentList(Endpoint):
    """Documents of all revisions and orders, newest first; the crew sees set-out sheets, cut lists and saw sheets only."""

    scopes = {"GET": Scope.JOBS_READ}
    paged = True
    parameters = {
        "revision": "Only documents of this revision.",
        "order": "Only documents of this order.",
        "kind": "Only documents of this kind.",
    }

    @extend_schema(responses={200: page_of(SCHEMA)}, summary="List documents")
    def get(self, request: Request) -> Response:
        rows = seen_by(self)
        if request.query_params.get("revision"):
            rows = rows.filter(revision__ref=request.query_params["revision"])
        for name, column in (("order", "subject"), ("kind", "kind")):
            if request.query_params.get(name):
                rows = rows.filter(**{column: request.query_params[name]})
        return self.page(rows, DOCUMENTS)


class DocumentDetail(Endpoint):
    """The status of a document. Poll it until the document is ready."""

    scopes = {"GET": Scope.JOBS_READ}

    @extend_schema(responses={200: SCHEMA}, summary="Get a document")
    def get(self, request: Request, ref: str) -> Response:
        row = self.find(seen_by(self).defer("pdf"), ref)
        return self.one(DOCUMENTS.of(row), row)


class DocumentPdf(Endpoint):
    """The PDF of a document."""

    scopes = {"GET": Scope.JOBS_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(
        responses={(200, "application/pdf"): {"type": "string", "format": "binary"}},
        summary="Get the PDF of a document",
    )
    def get(self, request: Request, ref: str) -> HttpResponse:
        row = self.find(seen_by(self), ref)
        if row.pdf is None:
            raise Problem("conflict", "This document is still in preparation. Try again in a moment.")
        answer = HttpResponse(bytes(row.pdf), content_type="application/pdf")
        answer["Content-Disposition"] = f'attachment; filename="{KINDS[row.kind].file_name}-{row.ref[:8]}.pdf"'
        answer["ETag"] = f'"{row.sha256}"'
        return answer


def seen_by(endpoint: Endpoint) -> Any:
    """Return the documents an actor may see: all, or those without money."""
    rows = Document.objects.of(endpoint.business)
    return rows if endpoint.actor.may(Scope.DOCUMENTS_READ) else rows.filter(kind__in=FOR_CREW)
