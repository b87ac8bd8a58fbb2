"""Saw sheet of an accepted job. It is created at acceptance and stored."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from quotes.documents.kinds.saw_sheet import SAW_SHEET
from quotes.documents.services import stored_document
from quotes.jobs.queries import jobs
from quotes.purchasing.saw_sheets import last_agreed
from shared.api.endpoint import Endpoint
from shared.business.roles import Scope


class SawSheet(Endpoint):
    """Each bar to scale with its cuts, for the person at the saw; it names no money, so the crew may have it."""

    scopes = {"GET": Scope.SET_OUT_READ}
    refuses = {"GET": ("409",)}

    @extend_schema(
        responses={(200, "application/pdf"): {"type": "string", "format": "binary"}},
        summary="Get the saw sheet of a job",
    )
    def get(self, request: Request, ref: str) -> HttpResponse:
        job = self.find(jobs(self.business).select_related("business"), ref)
        answer = HttpResponse(
            stored_document(revision=last_agreed(job), kind=SAW_SHEET), content_type="application/pdf"
        )
        answer["Content-Disposition"] = f'attachment; filename="saw-sheet-{job.number}.pdf"'
        return answer
