"""PDF views for members: a preview of the quote, and the stored documents of a revision."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from fencing.model.faults import InvalidDocument
from quotes.documents.kinds import FOR_CREW, KINDS
from quotes.documents.kinds.quote import quote_pdf
from quotes.documents.models import Document
from quotes.quoting import queries
from quotes.quoting.content_document import assemble
from quotes.quoting.models import RevisionState
from quotes.quoting.totals import read_choices
from shared.business.roles import Scope
from shared.common.problems import Problem
from shared.members.access import MemberRequest, require_scope
from shared.web.etags import find
from shared.web.page_errors import error_page


@require_GET
@require_scope(Scope.QUOTES_READ)
def preview(request: MemberRequest, ref: str, key: str) -> HttpResponse:
    """Return a party's PDF: a preview of a draft, or the sent quote."""
    rows = queries.revisions(request.business).select_related(
        "quote__job__customer", "quote__job__site", "measure_version__measure", "base_revision", "business"
    )
    row = find(rows, ref)
    try:
        content = assemble(row, now=timezone.now()) if row.state == RevisionState.DRAFT else queries.content_of(row)
        choices = read_choices(content, row.choices)
    except (InvalidDocument, Problem) as refused:
        texts = [fault.text for fault in refused.faults] if isinstance(refused, InvalidDocument) else [refused.detail]
        return render(request, "documents/no_preview.html", {"texts": texts, "revision": row}, status=422)
    if key not in {party.key for party in content.parties}:
        return render(
            request,
            "documents/no_preview.html",
            {"texts": ["This quote has no party with this name."], "revision": row},
            status=404,
        )
    response = HttpResponse(quote_pdf(content, key, choices), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{row.quote.number}-{row.number}-{key}.pdf"'
    response["Cache-Control"] = "no-store"
    return response


def not_ready(request: HttpRequest, status: int) -> HttpResponse:
    """Show that a PDF is still in preparation."""
    text = "Go back and try again in a minute."
    return error_page(request, status, "PDF not ready", "The PDF is not ready yet", text, is_ours=False)


@require_GET
@require_scope(Scope.JOBS_READ)
def kept_pdf(request: MemberRequest, ref: str) -> HttpResponse:
    """Return a stored PDF; the crew gets only documents without money."""
    rows = Document.objects.of(request.business)
    if not request.actor.may(Scope.DOCUMENTS_READ):
        rows = rows.filter(kind__in=FOR_CREW)
    row = find(rows, ref)
    if row.pdf is None:
        return not_ready(request, 409)
    response = HttpResponse(bytes(row.pdf), content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="{KINDS[row.kind].file_name}-{row.ref[:8]}.pdf"'
    return response
