"""Requests, creates and stores documents, each only once."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from quotes.documents.models import Document, DocumentKind, DocumentState
from quotes.documents.quote_pack import (
    acceptance_pdf,
    acceptance_record_pdf,
    crew_pdf,
    is_annexed,
    quote_pdf,
    screening_pdf,
)
from quotes.jobs.document_text import parsed
from quotes.quoting.models import Party, PartyResponse, Revision
from quotes.quoting.totals import Content, read_choices
from shared.background.outbox import load_task_modules, publish_event
from shared.common.dates import dates_by, write_moment
from shared.models import Business

TEMPLATES = {DocumentKind.SET_OUT: "setout", DocumentKind.CUT_LIST: "cutlist", DocumentKind.CARE: "care"}
Maker = Callable[[Document], bytes]
_makers: dict[DocumentKind, Maker] = {}


def makes(*kinds: DocumentKind) -> Callable[[Maker], Maker]:
    """Register a function that creates the PDFs of some kinds (in an app's ``tasks.py``)."""

    def register(maker: Maker) -> Maker:
        _makers.update(dict.fromkeys(kinds, maker))
        return maker

    return register


def make(document: Document) -> bytes:
    """Return the PDF of a document, from its revision's frozen content or its own. Each call gives the same bytes."""
    load_task_modules()
    return _makers[DocumentKind(document.kind)](document)


@transaction.atomic
def want_documents(*, revision: Revision, kinds: tuple[DocumentKind, ...]) -> list[Document]:
    """Queue documents of a revision and return their rows: one for each party if it is the quote. Existing rows do not change."""
    rows = list[Document]()
    for kind in kinds:
        parties = [party.key for party in revision.parties.order_by("position")] if kind is DocumentKind.QUOTE else [""]
        for party in parties:
            row, is_new = Document.objects.of(revision.business).get_or_create(
                revision=revision, kind=kind, party=party
            )
            rows.append(row)
            if is_new:
                publish_event("document.wanted", row.ref, business=revision.business)
    return rows


@transaction.atomic
def want_document(*, business: Business, kind: DocumentKind, subject: str, content: str) -> Document:
    """Queue a document without a revision and return its row with the values it is made from. An existing row does not change."""
    row, is_new = Document.objects.of(business).get_or_create(
        subject=subject, kind=kind, revision=None, defaults={"content": content}
    )
    if is_new:
        publish_event("document.wanted", row.ref, business=business)
    return row


def stored_document(*, revision: Revision, kind: DocumentKind, party: str = "") -> bytes:
    """Return the stored PDF of a revision or of one of its parties; create and store it first if it is missing."""
    row, _ = Document.objects.of(revision.business).get_or_create(revision=revision, kind=kind, party=party)
    if row.pdf is None:
        keep(document=row, pdf=make(row))
        row.refresh_from_db()
    if row.pdf is None:
        raise ValueError("what was kept has its bytes")
    return bytes(row.pdf)


def is_screened(revision: Revision) -> bool:
    """Return whether the accepted revision has a screening annex."""
    return is_annexed(parsed(revision.content), revision.choices)


def quotes_made(revision: Revision) -> dict[str, bytes]:
    """Return the finished quote PDFs of a revision, by the party's key."""
    rows = Document.objects.of(revision.business).filter(
        revision=revision, kind=DocumentKind.QUOTE, state=DocumentState.READY
    )
    return {row.party: bytes(row.pdf) for row in rows if row.pdf is not None}


@makes(DocumentKind.QUOTE, DocumentKind.ACCEPTANCE, DocumentKind.SCREENING, *TEMPLATES)
def of_content(document: Document) -> bytes:
    """Create a PDF from a revision's frozen content."""
    revision, kind = document.revision, DocumentKind(document.kind)
    if revision is None:
        raise ValueError(f"a document of kind {kind} is of a revision")
    content = parsed(revision.content)
    if kind is DocumentKind.QUOTE:
        return quote_pdf(content, document.party)
    if kind is DocumentKind.ACCEPTANCE and document.party:
        return acceptance_record_pdf(content, document.party, _receipt(revision, document.party))
    if kind is DocumentKind.ACCEPTANCE:
        return acceptance_pdf(content, revision.content_sha256, _answers(content, revision), _chosen(content, revision))
    if kind is DocumentKind.SCREENING:
        return screening_pdf(content, revision.choices)
    return crew_pdf(content, TEMPLATES[kind], revision.choices)


@transaction.atomic
def keep(*, document: Document, pdf: bytes) -> None:
    """Store a PDF and publish the event of its kind. A stored PDF does not change."""
    rows = Document.objects.of(document.business).select_related("business")
    row = rows.select_for_update(no_key=True, of=("self",)).get(pk=document.pk)
    if row.state == DocumentState.READY:
        return
    row.pdf, row.size, row.sha256 = pdf, len(pdf), hashlib.sha256(pdf).hexdigest()
    row.state, row.made_at = DocumentState.READY, timezone.now()
    row.save()
    publish_event(f"{row.kind}.made", row.ref, business=row.business)


def _receipt(revision: Revision, party: str) -> dict[str, Any]:
    answer = PartyResponse.objects.of(revision.business).get(party__revision=revision, party__key=party, accepted=True)
    return {name: getattr(answer, name) for name in ("name", "responded_at", "content_sha256", "choices")}


def _answers(content: Content, revision: Revision) -> list[dict[str, str]]:
    names = {party.pk: party.name for party in Party.objects.of(revision.business).filter(revision=revision)}
    rows = PartyResponse.objects.of(revision.business).filter(party__revision=revision).order_by("id")
    business = content["business"]
    with dates_by(business["time_zone"], business["locale"]):
        return [_answer_row(row, names) for row in rows]


def _answer_row(row: PartyResponse, names: Mapping[int, str]) -> dict[str, str]:
    return {
        "party": names[row.party_id],
        "answer": "accepted" if row.accepted else "declined",
        "name": row.name,
        "when": write_moment(row.responded_at, seconds=True),
        "amount": format(row.total.normalize(), "f"),
    }


def _chosen(content: Content, revision: Revision) -> list[str]:
    choices = read_choices(content, revision.choices)
    builds = [build["label"] for build in content["builds"] if build["key"] == choices.build]
    return builds + [option["label"] for option in content["options"] if option["key"] in choices.options]
